package fault

import (
	"math/bits"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// Bounds within which all that a component can do is gone through.
const (
	maxMoved = 12     // inputs of the component
	maxNodes = 70_000 // input levels with a state of the good chip and one of the faulty
	fewNodes = 3_000  // the same where the good chip alone has too many
)

// A space is one component of the chip with all else at rest: its legal moves, and
// where the good chip stands.
type space struct {
	logic.Component
	c     *logic.Circuit
	rules *stimulus.Rules
	moves []part.Pins // one pin each
	drive part.Pins   // levels of all pins
	rest  []logic.Value
	good  uint64                    // state of the component, bit i of Component.State in bit i
	legal map[part.Pins][]part.Pins // moves that are legal from input levels, found so far
	seen  part.Pins                 // outputs that are compared
	most  int                       // nodes that a search goes through
	open  uint64                    // bits of good that are not known
	slice bool                      // a slice, which is followed through states that are not known
}

// spaces gives the components of a circuit where a trail stands, with the levels of
// all pins there; nil for a component that is too large, whose state is not known,
// or that has pins that turn round. The circuit may be spread.
func spaces(c *logic.Circuit, s *stimulus.Sequence, trail *stimulus.Trail, drive part.Pins) (all []*space) {
	for _, k := range c.Components() {
		all = append(all, newSpace(c, k, s, trail, drive, false))
	}
	return all
}

// newSpace gives the space of a component, or of a slice; nil as spaces does.
func newSpace(c *logic.Circuit, k logic.Component, s *stimulus.Sequence, trail *stimulus.Trail, drive part.Pins, slice bool) *space {
	sp := &space{Component: k, c: c, rules: trail.Rules(), drive: drive, slice: slice,
		legal: map[part.Pins][]part.Pins{}, seen: k.Outputs & s.Outputs, most: maxNodes}
	for i := range c.State {
		sp.rest = append(sp.rest, trail.State(i))
	}
	if !sp.fits() {
		return nil
	}
	return sp
}

func (sp *space) fits() bool {
	for pin := range sp.Inputs.All() {
		p := sp.c.Variant.Pins[pin-1]
		if p.Role == part.Bidirectional {
			return false
		}
		if p.Tied == part.NotTied && p.Untested == "" {
			sp.moves = append(sp.moves, part.PinSet(pin))
		}
	}
	for i, bit := range sp.State {
		v := sp.rest[bit]
		if v == logic.X {
			if !sp.slice {
				return false
			}
			sp.open |= 1 << i
			continue
		}
		sp.good |= uint64(v&1) << i
	}
	return len(sp.moves) <= maxMoved && len(sp.State) <= 64
}

// legalMoves lists the changes of one pin that are legal from input levels.
func (sp *space) legalMoves(from part.Pins) []part.Pins {
	moves, ok := sp.legal[from]
	if !ok {
		for _, m := range sp.moves {
			if m = sp.rules.Move(from, m); sp.rules.Allows(from, from^m) {
				moves = append(moves, m)
			}
		}
		sp.legal[from] = moves
	}
	return moves
}

// A breaker puts a fault into the lanes of a mask of a machine of Model.Circuit.
type breaker interface {
	inject(m *logic.Machine, mask uint64)
}

func (l Line) inject(m *logic.Machine, mask uint64) { m.Stick(l.Node, l.Value, mask) }

// A pair is a good chip and a faulty one under the same input levels.
type pair struct {
	drive     part.Pins
	good, bad uint64 // states of the component
	open      uint64 // bits of good that are not known
}

// A walked pair knows how it was come to.
type walked struct {
	pair
	from int // index of the pair before, -1 for the first
	move part.Pins
}

// An outcome says whether a fault can be shown from where the chips stand.
type outcome uint8

const (
	undecided outcome = iota // too much to go through
	never                    // no legal steps show it
	shown
)

// search goes through all legal moves of a good chip and a faulty one until one
// shows a known difference at an output, the shortest way first. It gives the way there.
func (sp *space) search(f breaker, bad uint64) (way []part.Pins, o outcome) {
	return sp.start(f, bad).run()
}

func (sp *space) start(f breaker, bad uint64) *batch {
	b := &batch{sp: sp, good: sp.c.NewMachine(), bad: sp.c.NewMachine()}
	if f != nil {
		f.inject(b.bad, ^uint64(0))
	}
	b.bad.Wake(func(int) uint64 { return 0 }) // a certain chip: what is open stays
	first := pair{sp.drive, sp.good, bad, sp.open}
	b.met = map[pair]bool{first: true}
	b.queue = []walked{{pair: first, from: -1}}
	return b
}

func (b *batch) run() (way []part.Pins, o outcome) {
	for next := 0; next < len(b.queue); {
		b.from, b.moves = b.from[:0], b.moves[:0]
		for next < len(b.queue) {
			moves := b.sp.legalMoves(b.queue[next].drive)
			if len(b.moves)+len(moves) > lanes {
				break
			}
			for _, m := range moves {
				b.from, b.moves = append(b.from, next), append(b.moves, m)
			}
			next++
		}
		if lane := b.step(); lane >= 0 {
			way = append(way, b.moves[lane])
			for at := b.from[lane]; b.queue[at].from >= 0; at = b.queue[at].from {
				way = append(way, b.queue[at].move)
			}
			slices.Reverse(way)
			return way, shown
		}
		if len(b.queue) > b.sp.most {
			return nil, undecided
		}
	}
	return nil, never
}

// A batch takes up to 64 pairs one move on.
type batch struct {
	sp        *space
	good, bad *logic.Machine
	queue     []walked
	met       map[pair]bool
	from      []int       // of each lane, index into queue
	moves     []part.Pins // of each lane
}

// step takes the lanes their moves. It gives a lane that shows a difference, or -1
// and what was met anew in the queue.
func (b *batch) step() int {
	if len(b.moves) == 0 {
		return -1
	}
	b.place(b.good, func(p pair) (uint64, uint64) { return p.good, p.open })
	b.place(b.bad, func(p pair) (uint64, uint64) { return p.bad, 0 })
	wrong := uint64(0)
	for pin := range b.sp.seen.All() {
		g, w := b.good.Out(pin), b.bad.Out(pin)
		one, zero, released := g.Hi&^g.Lo, g.Lo&^g.Hi, ^(g.Hi | g.Lo)
		wrong |= one&^w.Hi | zero&^w.Lo | released&(w.Hi^w.Lo)
	}
	if wrong &= ^uint64(0) >> (lanes - len(b.moves)); wrong != 0 {
		return bits.TrailingZeros64(wrong)
	}
	for lane, move := range b.moves {
		next := pair{drive: b.queue[b.from[lane]].drive ^ move}
		known := true
		for i, bit := range b.sp.State {
			if !known {
				break
			}
			g, w := b.good.State(bit).Lane(lane), b.bad.State(bit).Lane(lane)
			if g == logic.X {
				known = b.sp.slice
				next.open |= 1 << i
			} else {
				next.good |= uint64(g&1) << i
			}
			next.bad |= uint64(w&1) << i
		}
		if known && !b.met[next] {
			b.met[next] = true
			b.queue = append(b.queue, walked{next, b.from[lane], move})
		}
	}
	return -1
}

// place puts a machine into the state of each lane's pair, and makes the moves.
func (b *batch) place(m *logic.Machine, state func(pair) (high, open uint64)) {
	words := make([]logic.Word, len(b.sp.rest))
	for i, v := range b.sp.rest {
		words[i] = logic.Splat(v)
	}
	for i, bit := range b.sp.State {
		w := b.word(func(p pair, _ part.Pins) bool { high, _ := state(p); return high>>i&1 != 0 })
		if b.sp.slice {
			open := b.word(func(p pair, _ part.Pins) bool { _, open := state(p); return open>>i&1 != 0 }).Hi
			w = logic.Word{Hi: w.Hi | open, Lo: w.Lo | open}
		}
		words[bit] = w
	}
	for _, pin := range b.sp.c.InputPins {
		m.Set(pin, b.word(func(p pair, _ part.Pins) bool { return p.drive.Has(pin) }))
	}
	m.Restore(words)
	for _, move := range b.sp.moves {
		for pin := range move.All() {
			m.Set(pin, b.word(func(p pair, to part.Pins) bool { return (p.drive ^ to).Has(pin) }))
		}
	}
	m.Settle()
}

// word makes a word of one level for each lane.
func (b *batch) word(high func(p pair, move part.Pins) bool) (w logic.Word) {
	for lane, at := range b.from {
		if high(b.queue[at].pair, b.moves[lane]) {
			w.Hi |= 1 << lane
		}
	}
	w.Lo = ^w.Hi
	return w
}

// reachable gives the states of the component that the good chip comes into, or nil
// where they are too many to go through.
func (sp *space) reachable() map[uint64]bool {
	b := sp.start(nil, sp.good)
	if _, o := b.run(); o != never {
		return nil
	}
	states := map[uint64]bool{}
	for p := range b.met {
		states[p.good] = true
	}
	return states
}
