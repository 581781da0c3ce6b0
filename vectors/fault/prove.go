package fault

import (
	"math/bits"
	"slices"
	"sync"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// proveIdle proves of the faults that the sequence does not show which never act.
func (x *Examination) proveIdle() {
	reachable := sync.OnceValue(x.reachable)
	c := x.model.Circuit
	for i, e := range x.lines {
		if e.Once == 0 {
			line := x.model.Classes[i][0]
			x.lineProven[i] = redundant(c, line, line.Node, reachable())
		}
	}
	var open []Cell
	var at []int
	for i, e := range x.cell {
		switch f := x.cells[i]; {
		case e.Once > 0:
		case f.Inverted != 0:
			x.cellProven[i] = redundant(c, f, f.Inverted, reachable())
		default:
			open, at = append(open, f), append(at, i)
		}
	}
	if len(open) == 0 {
		return
	}
	for i, p := range idle(x.Circuit, open, reachable()) {
		x.cellProven[at[i]] = p
	}
}

// reachable gives for each register the states that it comes into, its most
// significant bit first; nil where they are not known.
func (x *Examination) reachable() []map[uint64]bool {
	all := make([]map[uint64]bool, len(x.Circuit.Registers))
	if len(all) == 0 {
		return nil
	}
	end := x.stage()
	for _, sp := range end.spaces {
		if sp == nil {
			continue
		}
		states := sp.reachable()
		for i, r := range x.Circuit.Registers {
			at := slices.Index(sp.State, r.Bits[0])
			if states == nil || at < 0 {
				continue
			}
			all[i] = map[uint64]bool{}
			for state := range states {
				n := uint64(0)
				for _, b := range r.Bits {
					n = n<<1 | state>>slices.Index(sp.State, b)&1
				}
				all[i][n] = true
			}
		}
	}
	for i := range x.Circuit.Registers {
		if r := &x.Circuit.Registers[i]; all[i] == nil && len(r.Bits) <= mostCounted {
			all[i] = closure(x.Circuit, r, end.trail)
		}
	}
	return all
}

// proveRest looks for the shortest way to show each fault that is left, and proves
// those undetectable for which there is none.
func (x *Examination) proveRest(where func(*space) bool) {
	if len(x.Circuit.Registers) == 0 {
		x.proveSwept()
		return
	}
	var open []*suspect
	for i := range x.lines {
		if e := &x.lines[i]; e.Once == 0 && !x.lineProven[i] {
			line := x.model.Classes[i][0]
			open = append(open, &suspect{breaker: line, node: line.Node, evidence: e, proven: &x.lineProven[i]})
		}
	}
	for i := range x.cells {
		if e := &x.cell[i]; e.Once == 0 && !x.cellProven[i] {
			cell := x.cells[i]
			node, whole := cell.Inverted, false
			if node == 0 {
				whole = cell.Bit == logic.AllBits
				bits := x.Circuit.Registers[cell.Register].Bits
				node = x.model.Circuit.State[bits[max(cell.Bit, 0)]].Node
			}
			open = append(open, &suspect{breaker: cell, node: node, whole: whole, evidence: e, proven: &x.cellProven[i]})
		}
	}
	x.corner(open, where)
}

// anywhere and inSlice choose the suspects of a round by the space that they are in.
func anywhere(sp *space) bool { return sp != nil }
func inSlice(sp *space) bool  { return sp != nil && sp.slice }

// A suspect is a fault that nothing has shown yet.
type suspect struct {
	breaker
	node     int32 // of Model.Circuit: the line, or the bit of state, that is wrong
	whole    bool  // so are other bits: no slice by that one has them all
	evidence *Evidence
	proven   *bool
}

// A stage is where the good chip stands at the end of the sequence.
type stage struct {
	spaces []*space
	trail  *stimulus.Trail
	drive  part.Pins
	of     *Examination
	slices map[part.Pins]*space // by their outputs; nil for one that is too large
}

// corner shows each suspect, from every state at power-up, by the shortest ways
// there are, which go to the end of the sequence; or it proves that there are none.
func (x *Examination) corner(open []*suspect, where func(*space) bool) {
	c := x.model.Circuit
	at := x.stage()
	open = slices.DeleteFunc(open, func(s *suspect) bool { return !where(at.space(s)) }) // too large to go through
	per := perFault(c)
	for group := range slices.Chunk(open, lanes/per) {
		machine := c.NewMachine()
		q := &quarry{panel: chips{machine, c}, per: per}
		for i, s := range group {
			s.inject(machine, share(i, per))
			q.found = append(q.found, s.evidence)
		}
		wake(machine)
		q.follow(x.Sequence.Steps)
		q.note(len(x.Sequence.Steps))
		for i, s := range group {
			at = x.cornerOne(s, i, q, machine, at)
		}
	}
}

// mostLost is after how many searches without an end no more are begun.
const mostLost = 24

// longestWay is how many steps are worth one fault.
const longestWay = 4000

// cornerOne shows suspect i of a quarry, or proves that it cannot be shown.
func (x *Examination) cornerOne(s *suspect, i int, q *quarry, machine *logic.Machine, at *stage) *stage {
	mask := share(i, q.per)
	for tries := 0; tries < 2*q.per && q.twice&mask != mask; tries++ {
		missing := ^q.once & mask
		if missing == 0 {
			missing = ^q.twice & mask
		}
		lane := bits.TrailingZeros64(missing)
		sp := at.space(s)
		if sp == nil {
			return at
		}
		bad := uint64(0)
		for bit, st := range sp.State {
			bad |= uint64(machine.State(st).Lane(lane)&1) << bit
		}
		way, o := sp.search(s.breaker, bad)
		if o == undecided {
			if x.lost++; x.lost >= mostLost { // it is not that kind of part
				at.spaces = nil
			}
		}
		if o == never && q.once>>lane&1 == 0 {
			*s.proven = true // from that state at power-up, at least
			return at
		}
		if o != shown || len(way) > longestWay {
			return at
		}
		leg := Leg{Way: way}
		trail := leg.take(at.trail)
		x.Recipe.Legs = append(x.Recipe.Legs, leg)
		q.follow(trail.Steps())
		x.Sequence.Steps = append(x.Sequence.Steps, trail.Steps()...)
		q.note(len(x.Sequence.Steps))
		at = x.stageAt(trail)
	}
	return at
}

// proveSwept proves lines of a circuit without memory of which the sequence holds
// every combination.
func (x *Examination) proveSwept() {
	if slices.ContainsFunc(x.lines, func(e Evidence) bool { return e.Once == 0 }) && exhaustive(x.Circuit, x.Sequence) {
		for i, e := range x.lines {
			x.lineProven[i] = e.Once == 0
		}
	}
}

// stage goes to the end of the sequence.
func (x *Examination) stage() *stage { return x.stageAt(stimulus.Resume(x.Circuit, x.Sequence)) }

// vast reports whether the good chip alone has too many states in a component.
func (x *Examination) vast(i int, sp *space) bool {
	if x.tooMany == nil {
		x.tooMany = map[int]bool{}
	}
	if _, ok := x.tooMany[i]; !ok {
		x.tooMany[i] = sp.reachable() == nil
	}
	return x.tooMany[i]
}

// vastSlice reports whether the good chip alone has too many states in a slice.
func (x *Examination) vastSlice(sp *space) bool {
	if x.tooManyIn == nil {
		x.tooManyIn = map[part.Pins]bool{}
	}
	if _, ok := x.tooManyIn[sp.Outputs]; !ok {
		x.tooManyIn[sp.Outputs] = sp.reachable() == nil
	}
	return x.tooManyIn[sp.Outputs]
}

// stageAt takes a trail that stands at the end of the sequence.
func (x *Examination) stageAt(trail *stimulus.Trail) *stage {
	last := x.Sequence.Steps[len(x.Sequence.Steps)-1]
	at := &stage{trail: trail, drive: last.Drive, of: x, slices: map[part.Pins]*space{},
		spaces: spaces(x.model.Circuit, x.Sequence, trail, last.Drive)}
	if x.lost >= mostLost {
		at.spaces = nil
	}
	for i, sp := range at.spaces {
		if sp != nil && x.vast(i, sp) {
			sp.most = fewNodes
		}
	}
	return at
}

// space gives the space that a suspect is in, the smallest there is; nil where it is
// too large.
func (s *stage) space(f *suspect) *space {
	var whole *space
	for _, sp := range s.spaces {
		if sp == nil {
			continue
		}
		if _, in := slices.BinarySearch(sp.Nodes, f.node); in {
			whole = sp
		}
	}
	if slice := s.slice(f); slice != nil && (whole == nil || len(slice.Nodes) < len(whole.Nodes)) {
		return slice
	}
	return whole
}

// slice gives the slice of a component that a suspect is in; nil where that is too
// large as well, or where the data sheet binds pins to each other that may lie in
// different slices.
func (s *stage) slice(f *suspect) *space {
	c := s.of.Circuit
	if len(c.Never)+len(c.Stable)+len(c.Together) > 0 {
		return nil
	}
	k := s.of.model.Circuit.Slice(f.node)
	sp, known := s.slices[k.Outputs]
	if known {
		return sp
	}
	sp = newSpace(s.of.model.Circuit, k, s.of.Sequence, s.trail, s.drive, true)
	if sp != nil && s.of.vastSlice(sp) {
		sp = nil
	}
	s.slices[k.Outputs] = sp
	return sp
}

// exhaustive reports whether a sequence holds every combination of the inputs that
// are not tied.
func exhaustive(c *logic.Circuit, s *stimulus.Sequence) bool {
	free := 0
	for pin := range c.Inputs {
		if p := c.Variant.Pins[pin-1]; p.Tied == part.NotTied && p.Untested == "" {
			free++
		}
	}
	if free > 24 || len(s.Steps) < 1<<free {
		return false
	}
	seen := map[part.Pins]bool{}
	for _, st := range s.Steps {
		seen[st.Drive] = true
	}
	return len(seen) >= 1<<free
}
