package twin

import (
	"maps"
	"slices"
	"strings"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// What an input takes that takes no input of the other part.
const (
	Low  = -1
	High = -2
)

// A Fit says how a part does another's work.
type Fit struct {
	// Takes gives, for each input of the part that is used, the other's input that it takes,
	// Low or High.
	Takes map[int]int
	// Gives gives, for each of the other's outputs, the part's that stands there.
	Gives map[int]int
	// Units is how many of the other's units the part gives, and Missing are the outputs of
	// those that it does not have: complements of others.
	Units   int
	Missing part.Pins
	// Breaches are what the part's data sheet has against what the other's allows.
	Breaches []Breach
}

// A Breach is what the part's data sheet has against a step.
type Breach = stimulus.Breach

// A Tie holds an input at a level, or joins it to another.
type Tie struct {
	Pin  int
	High bool // the level, where To is 0
	To   int
}

// In writes a tie as it is typed: "1D=L", "1B=1A".
func (t Tie) In(v *part.Variant) string {
	to := "L"
	switch {
	case t.To != 0:
		to = v.Pins[t.To-1].Name
	case t.High:
		to = "H"
	}
	return v.Pins[t.Pin-1].Name + "=" + to
}

// Ties are the inputs of the part that are held, or take what another takes, by name.
func (f Fit) Ties(v *part.Variant) (ties []Tie) {
	first := map[int]int{}
	for _, pin := range byName(v, slices.Sorted(maps.Keys(f.Takes))) {
		switch to, joined := first[f.Takes[pin]], first[f.Takes[pin]] != 0; {
		case f.Takes[pin] < 0:
			ties = append(ties, Tie{Pin: pin, High: f.Takes[pin] == High})
		case joined:
			ties = append(ties, Tie{Pin: pin, To: to})
		default:
			first[f.Takes[pin]] = pin
		}
	}
	return ties
}

// Bounds of the search for one unit: the assignments that are simulated, and the inputs
// that are held or joined.
const (
	maxAssignments = 4096
	maxSpare       = 4
	maxOrdered     = 4 // inputs of one kind of which all orders are tried
)

// A Test is a part with its whole test, and what of the test concerns each unit.
type Test struct {
	*Chip
	Family   *part.Family // whose rules a walk obeys; nil for those of any
	sequence *stimulus.Sequence
	steps    [][]stimulus.Step // by unit
	shown    []bool            // by unit: the test wants every output at both levels
}

// TestOf prepares a part's test.
func TestOf(chip *Chip, s *stimulus.Sequence) *Test {
	t := &Test{Chip: chip, sequence: s}
	for _, u := range chip.Units {
		var outputs part.Pins
		for _, o := range u.Outputs {
			outputs = outputs.With(o.Pin, true)
		}
		var steps []stimulus.Step
		var high, low part.Pins
		for _, st := range s.Steps {
			of := stimulus.Step{Driven: st.Driven & u.Inputs, Drive: st.Drive & u.Inputs,
				Compared: st.Compared & outputs, High: st.High & outputs, Z: st.Z & outputs}
			if n := len(steps); n == 0 || steps[n-1] != of {
				steps = append(steps, of)
			}
			high, low = high|st.High|st.Z, low|st.Compared&^st.High&^st.Z
		}
		t.steps, t.shown = append(t.steps, steps), append(t.shown, high&low&outputs == outputs)
	}
	return t
}

// Find looks for a way in which a chip does the work of the tested part, with half or more
// of each kind of its units, inputs held or joined where that makes it so.
func (t *Test) Find(chip *Chip) (Fit, bool) {
	f := finder{test: t, chip: chip, fit: Fit{Takes: map[int]int{}, Gives: map[int]int{}}, used: make([]bool, len(chip.Units))}
	failed := map[[2]string]bool{} // shapes that do not fit
	given, wanted := map[string]int{}, map[string]int{}
	for i, u := range t.Units {
		if !t.usable(u) || !t.shown[i] {
			return Fit{}, false
		}
		shape := t.shape(u)
		wanted[shape]++
		for _, j := range f.likeliest(u) {
			w := chip.Units[j]
			shapes := [2]string{shape, chip.shape(w)}
			if f.used[j] || w.Remember != u.Remember || !chip.usable(w) || f.fit.Units == 0 && failed[shapes] {
				continue
			}
			if f.unit(i, j) {
				f.used[j] = true
				f.fit.Units++
				given[shape]++
				break
			}
			failed[shapes] = true
		}
		if given[shape] == 0 {
			return Fit{}, false // what is alike does not fit either
		}
	}
	for shape, n := range wanted {
		if 2*given[shape] < n {
			return Fit{}, false
		}
	}
	if f.fit.Units < len(t.Units) && f.fit.Missing != 0 || !t.Answers(chip.Circuit, f.fit) {
		return Fit{}, false
	}
	var ok bool
	f.fit.Breaches, ok = t.Walk(chip.Circuit, f.fit)
	return f.fit, ok
}

// Same gives the outputs of a unit of a chip, with the ties that it was made with, that are
// those of a unit of the tested part: each of its inputs and outputs has its own there
// under no name that is another's, it acts at the same edges, and its data sheet forbids
// no more. What the chip has more is complements.
func (t *Test) Same(i int, chip *Chip, j int) (outputs part.Pins) {
	u, w := t.Units[i], chip.Units[j]
	if !t.usable(u) || !t.shown[i] || !chip.usable(w) || !t.Alike(i, chip, j) {
		return 0
	}
	f := finder{test: t, chip: chip, exact: true, fit: Fit{Takes: map[int]int{}, Gives: map[int]int{}}}
	if !f.unit(i, j) || f.crosses(u, w) {
		return 0
	}
	f.tie()
	if !t.Answers(chip.Circuit, f.fit) {
		return 0
	}
	if breaches, ok := t.Walk(chip.Circuit, f.fit); !ok || len(breaches) > 0 {
		return 0
	}
	for _, pin := range f.fit.Gives {
		outputs = outputs.With(pin, true)
	}
	return outputs
}

// crosses reports whether a pin of a unit has the name of one of the chip's that it is not
// paired with, the numbers of sections apart.
func (f *finder) crosses(u, w Unit) bool {
	name := func(chip *Chip, pin int) string { return plain(chip.Circuit.Variant.Pins[pin-1].Name) }
	var there []string
	for _, n := range f.chip.names(w) {
		there = append(there, plain(n))
	}
	differ := func(of, to int) bool {
		n := name(f.test.Chip, of)
		return n != name(f.chip, to) && slices.Contains(there, n)
	}
	for pin, takes := range f.fit.Takes {
		if takes > 0 && differ(takes, pin) {
			return true
		}
	}
	for of, to := range f.fit.Gives {
		if differ(of, to) {
			return true
		}
	}
	return false
}

// tie adds the chip's own ties to a fit.
func (f *finder) tie() {
	for _, t := range f.chip.ties {
		switch takes, used := f.fit.Takes[t.To]; {
		case used:
			f.fit.Takes[t.Pin] = takes
		case t.To == 0 && t.High:
			f.fit.Takes[t.Pin] = High
		case t.To == 0:
			f.fit.Takes[t.Pin] = Low
		}
	}
}

// likeliest gives the chip's units, those with most of a unit's names first.
func (f *finder) likeliest(u Unit) (order []int) {
	names := map[string]bool{}
	for _, name := range f.test.names(u) {
		names[name] = true
	}
	common := make([]int, len(f.chip.Units))
	for j, w := range f.chip.Units {
		order = append(order, j)
		for _, name := range f.chip.names(w) {
			if names[name] {
				common[j]++
			}
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return common[b] - common[a] })
	return order
}

// names are those of a unit's pins.
func (chip *Chip) names(u Unit) (names []string) {
	pins := u.Inputs
	for _, o := range u.Outputs {
		pins = pins.With(o.Pin, true)
	}
	for pin := range pins.All() {
		names = append(names, chip.Circuit.Variant.Pins[pin-1].Name)
	}
	return names
}

// shape is the same for units of a part that are alike: the names of their pins without digits.
func (chip *Chip) shape(u Unit) string {
	names := chip.names(u)
	for i, name := range names {
		names[i] = plain(name)
	}
	slices.Sort(names)
	return strings.Join(names, " ")
}

// plain is a pin's name without digits.
func plain(name string) string {
	return strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return -1
		}
		return r
	}, name)
}

type finder struct {
	test  *Test
	chip  *Chip
	exact bool
	fit   Fit
	used  []bool
}

// unit lets unit j of the chip do the work of unit i of the test; without outputs that
// are complements of others only where there is no way that has them.
func (f *finder) unit(i, j int) bool {
	u, w := f.test.Units[i], f.chip.Units[j]
	all := f.assignments(u, w)
	required := len(u.Outputs)
	if !f.exact {
		required -= f.inverses(u)
	}
	for _, whole := range []bool{true, false} {
		if least := map[bool]int{true: len(u.Outputs), false: required}[whole]; least > len(w.Outputs) || !whole && required == len(u.Outputs) {
			continue
		}
		for some := range slices.Chunk(all, 64) {
			if f.some(i, j, some, whole) {
				return true
			}
		}
	}
	return false
}

// An assignment gives each input of a unit, by pin, an input of the other, Low or High; 0
// for what is none of its inputs.
type assignment [part.MaxPins + 1]int8

// assignments lists the ways to give a unit's inputs those of another, the likeliest first.
func (f *finder) assignments(u, w Unit) []assignment {
	spare := w.Inputs.Len() - u.Inputs.Len()
	if spare < 0 || spare > maxSpare || f.exact && spare > 0 {
		return nil
	}
	all := []assignment{{}}
	for _, k := range []kind{clocks, acts, loads, gates} {
		some := f.ofKind(f.test.inputs(u, k), f.chip.inputs(w, k))
		if len(some)*len(all) > maxAssignments {
			return nil
		}
		var more []assignment
		for _, a := range some {
			for _, before := range all {
				for pin, takes := range before {
					a[pin] |= takes // each pin is of one kind
				}
				more = append(more, a)
				for pin, takes := range before {
					if takes != 0 {
						a[pin] = 0
					}
				}
			}
		}
		all = more
	}
	return slices.DeleteFunc(all, func(a assignment) bool { return !f.agrees(a) })
}

func (f *finder) inverses(u Unit) (n int) {
	for _, o := range u.Outputs {
		if f.test.inverse(u, o) {
			n++
		}
	}
	return n
}

// agrees reports whether an assignment leaves inputs that units share what they take already.
func (f *finder) agrees(a assignment) bool {
	for pin, takes := range a {
		if before, ok := f.fit.Takes[pin]; ok && takes != 0 && before != int(takes) {
			return false
		}
	}
	return true
}

// ofKind lists the ways to give some inputs of one kind to those of the other: all orders
// of a few, else by name up and down. What is left over is held low or high, or joined.
func (f *finder) ofKind(of, to []int) (all []assignment) {
	if len(of) > len(to) || len(of) > maxOrdered && len(of) != len(to) {
		return nil
	}
	if len(of) > maxOrdered {
		up, down := assignment{}, assignment{}
		for i, pin := range to {
			up[pin], down[pin] = int8(of[i]), int8(of[len(of)-1-i])
		}
		return []assignment{up, down}
	}
	takes := make([]int, len(to))
	var from func(i int)
	from = func(i int) {
		if len(all) > maxAssignments {
			return
		}
		missing := 0
		for _, pin := range of {
			if !slices.Contains(takes[:i], pin) {
				missing++
			}
		}
		switch {
		case missing > len(to)-i:
			return
		case i == len(to):
			a := assignment{}
			for j, pin := range to {
				a[pin] = int8(takes[j])
			}
			all = append(all, a)
			return
		}
		for _, choice := range f.choices(of, to[i], len(to) > len(of)) {
			takes[i] = choice
			if again := choice > 0 && slices.Contains(takes[:i], choice); again && (f.exact || len(to) == len(of)) {
				continue
			}
			from(i + 1)
		}
	}
	from(0)
	return all
}

// choices are what an input may take: first the one of its name, then the others, then a level.
func (f *finder) choices(of []int, pin int, level bool) []int {
	name := func(pin int, v *part.Variant) string { return bare(v.Pins[pin-1].Name) }
	choices := slices.Clone(of)
	own := name(pin, f.chip.Circuit.Variant)
	slices.SortStableFunc(choices, func(a, b int) int {
		rank := map[bool]int{true: 0, false: 1}
		return rank[name(a, f.test.Circuit.Variant) == own] - rank[name(b, f.test.Circuit.Variant) == own]
	})
	if level && !f.exact {
		choices = append(choices, Low, High)
	}
	return choices
}

// some tries up to 64 assignments at once, one a lane, and takes the first that gives what
// the test expects of the unit: of all its outputs, or of those that are no complements.
func (f *finder) some(i, j int, all []assignment, whole bool) bool {
	u, w := f.test.Units[i], f.chip.Units[j]
	m := f.chip.Circuit.NewMachine()
	heldAt(m, f.chip.Circuit.Variant)
	m.PowerUp(1)
	for _, t := range f.chip.ties {
		m.Set(t.Pin, logic.Splat(logic.FromBool(t.High)))
	}
	inputs := lanesOf(w, all)
	alive := make([][]uint64, len(u.Outputs)) // by output of the one, and of the other
	for k := range alive {
		alive[k] = slices.Repeat([]uint64{^uint64(0) >> (64 - len(all))}, len(w.Outputs))
	}
	v := f.test.Circuit.Variant
	for _, st := range f.test.steps[i] {
		for _, l := range inputs {
			high := l.high
			for pin := range (st.Drive & l.from).All() {
				high |= l.takes[pin]
			}
			m.Set(l.pin, logic.Word{Hi: high, Lo: ^high})
			for _, t := range f.chip.ties {
				if t.To == l.pin {
					m.Set(t.Pin, logic.Word{Hi: high, Lo: ^high})
				}
			}
		}
		m.Settle()
		left := ^uint64(0)
		for k, o := range u.Outputs {
			if want, compared := st.Expect(o.Pin); compared {
				for l, p := range w.Outputs {
					alive[k][l] &= Agree(m.Node(p.Node), want, v.Pins[o.Pin-1].Stage)
				}
			}
			if whole || !f.test.inverse(u, o) {
				left &= or(alive[k])
			}
		}
		if left == 0 {
			return false
		}
	}
	for lane, a := range all {
		if f.take(u, w, alive, lane, a, whole) {
			return true
		}
	}
	return false
}

// lanes are those in which an input takes what.
type lanes struct {
	pin   int
	high  uint64 // in which it is held high
	from  part.Pins
	takes [part.MaxPins + 1]uint64 // by the pin of the other that it takes
}

// lanesOf gives the lanes of each input of a unit, an assignment a lane.
func lanesOf(w Unit, all []assignment) (inputs []lanes) {
	for pin := range w.Inputs.All() {
		l := lanes{pin: pin}
		for lane, a := range all {
			switch takes := int(a[pin]); {
			case takes == High:
				l.high |= 1 << lane
			case takes > 0:
				l.takes[takes] |= 1 << lane
				l.from = l.from.With(takes, true)
			}
		}
		inputs = append(inputs, l)
	}
	return inputs
}

// take takes the assignment of a lane, if each output of the unit has one of its own.
func (f *finder) take(u, w Unit, alive [][]uint64, lane int, a assignment, whole bool) bool {
	gives, taken := map[int]int{}, part.Pins(0)
	var missing part.Pins
	for k, o := range u.Outputs {
		for l, p := range w.Outputs {
			if alive[k][l]>>lane&1 != 0 && !taken.Has(p.Pin) {
				gives[o.Pin], taken = p.Pin, taken.With(p.Pin, true)
				break
			}
		}
		if gives[o.Pin] == 0 {
			if whole || !f.test.inverse(u, o) {
				return false
			}
			missing = missing.With(o.Pin, true)
		}
	}
	for pin := range w.Inputs.All() {
		f.fit.Takes[pin] = int(a[pin])
	}
	for pin, gives := range gives {
		f.fit.Gives[pin] = gives
	}
	f.fit.Missing |= missing
	return true
}

func or(words []uint64) (all uint64) {
	for _, w := range words {
		all |= w
	}
	return all
}
