package fault

import (
	"cmp"
	"math/bits"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// An Observation is what the pins read in one step: once with the adapter
// pulling them up and once with it pulling them down.
type Observation struct {
	PulledUp, PulledDown part.Pins // pins that read high
}

// Value is the level that a pin showed: a pin that follows the pull is released,
// and one that goes against it is unstable.
func (o Observation) Value(pin int) logic.Value {
	return logic.FromPulls(o.PulledUp.Has(pin), o.PulledDown.Has(pin))
}

// A Cause is one fault, or two together, under which the chip would have shown
// everything that was observed.
type Cause struct {
	Faults    []Fault
	Sometimes bool // the fault comes and goes: each level was that of a good chip or that of the faulty one
	Unknown   int  // levels that the faults do not predict, and so cannot contradict
	wrong     int  // levels that contradict them
	absent    int  // levels that show the good chip where the faulty one would differ
}

// Held are the driven pins that were seen at the other level than they were
// driven to: something holds each of them, which only a short explains.
type Held struct {
	Low  part.Pins // seen low whenever they were driven high
	High part.Pins // seen high whenever they were driven low
	Now  part.Pins // now and then
}

func (h Held) any() part.Pins { return h.Low | h.High | h.Now }

// Pins gives the pins that the cause is about.
func (c Cause) Pins() (pins part.Pins) {
	for _, f := range c.Faults {
		pins |= f.Pins()
	}
	return pins
}

// maxWrong is how many contradictions show that a fault is far off.
const maxWrong = 400

// holds gives the pins that the cause may hold against the adapter: those that
// its shorts join, and those that are stuck hard at the level at which they were seen.
func (c Cause) holds(held Held) (pins part.Pins) {
	for _, f := range c.Faults {
		switch f.Kind {
		case Short:
			pins |= f.Pins()
		case StuckLow:
			pins |= f.Pins() & held.Low
		case StuckHigh:
			pins |= f.Pins() & held.High
		}
	}
	return pins
}

// pairsOf is how many of the single faults that come nearest are tried in pairs.
const pairsOf = 48

// Diagnose finds the pin faults under which the chip would have shown exactly
// what was observed, those that predict most first; where no single one does,
// faults that come and go, and pairs of faults. Of a part that remembers, only what
// comes and goes at its outputs can be followed. The
// observations belong to the first steps of the sequence.
func Diagnose(c *logic.Circuit, f *part.Family, s *stimulus.Sequence, observed []Observation, held Held) []Cause {
	d := diagnosis{c: c, f: f, s: s, observed: observed}
	singles := alone(c)
	causes := d.fromSomeState(explained(d.try(singles, 1), held))
	if len(causes) > 0 && causes[0].Unknown == 0 {
		return causes
	}
	// where a short leaves levels open, a fault that comes and goes may explain as much
	if passing := d.sometimes(singles, held); len(causes) > 0 && causes[0].Faults[0].Kind == Short && len(passing) > 0 && d.unstable() {
		return append(causes, passing...)
	}
	if len(causes) > 0 {
		return causes
	}
	if causes := d.sometimes(singles, held); len(causes) > 0 && d.unstable() {
		return causes
	}
	near := d.try(singles, maxWrong)
	// what comes nearest alone is what two causes are made of
	slices.SortStableFunc(near, func(a, b Cause) int { return a.wrong - b.wrong })
	near = near[:min(len(near), pairsOf)]
	var pairs [][]Fault
	for i, a := range near {
		for _, b := range near[:i] {
			pairs = append(pairs, []Fault{b.Faults[0], a.Faults[0]})
		}
	}
	if causes := explained(d.try(pairs, 1), held); len(causes) > 0 {
		return causes
	}
	return d.sometimes(singles, held)
}

// Singles finds the single pin faults that explain what was observed, those that predict
// most first: Diagnose without all that comes after.
func Singles(c *logic.Circuit, f *part.Family, s *stimulus.Sequence, observed []Observation, held Held) []Cause {
	d := diagnosis{c: c, f: f, s: s, observed: observed}
	return d.fromSomeState(explained(d.try(alone(c), 1), held))
}

// LeftOpen counts the compared levels of a sequence that a good chip's definition leaves open.
func LeftOpen(c *logic.Circuit, f *part.Family, s *stimulus.Sequence) int {
	d := diagnosis{c: c, f: f, s: s, observed: make([]Observation, len(s.Steps))}
	return d.try([][]Fault{nil}, len(s.Steps)*part.MaxPins)[0].Unknown
}

// Passing finds the single pin faults that explain what was observed if they come and
// go, or are too weak to show always; as Diagnose does, but whatever else explains it.
func Passing(c *logic.Circuit, f *part.Family, s *stimulus.Sequence, observed []Observation, held Held) []Cause {
	return diagnosis{c: c, f: f, s: s, observed: observed}.sometimes(alone(c), held)
}

// alone gives the faults of single pins, a set each.
func alone(c *logic.Circuit) (singles [][]Fault) {
	for _, fault := range PinFaults(c.Variant) {
		singles = append(singles, []Fault{fault})
	}
	return singles
}

// unstable reports whether any pin read differently in two readings of one step
// that cannot both be true.
func (d diagnosis) unstable() bool {
	for i, o := range d.observed {
		for pin := range d.s.Steps[i].Compared.All() {
			if o.Value(pin) == logic.X {
				return true
			}
		}
	}
	return false
}

// sometimes finds faults that explain every error if they come and go, those
// that were present most of the time first.
func (d diagnosis) sometimes(singles [][]Fault, held Held) []Cause {
	d.forgiving = true
	if len(d.c.Registers) > 0 {
		// what a passing fault leaves behind in a register cannot be followed: only those of outputs are
		singles = slices.DeleteFunc(slices.Clone(singles), func(fs []Fault) bool {
			_, read := d.c.Inputs[fs[0].Pin]
			return fs[0].Kind == Short || read || !d.c.Variant.Pins[fs[0].Pin-1].Observable()
		})
	}
	// what comes and goes is a bond or a contact; a short does so rarely, and explains almost anything
	lone := slices.DeleteFunc(slices.Clone(singles), func(fs []Fault) bool { return fs[0].Kind == Short })
	causes := explained(d.try(lone, 1), held)
	if len(causes) == 0 {
		causes = explained(d.try(singles, 1), held)
	}
	slices.SortStableFunc(causes, func(a, b Cause) int { return cmp.Compare(a.absent, b.absent) })
	for i := range causes {
		causes[i].Sometimes = true
		if causes[i].absent > causes[0].absent {
			return causes[:i]
		}
	}
	return causes
}

// explained keeps the causes that nothing contradicts, those that predict most first.
func explained(all []Cause, held Held) []Cause {
	all = slices.DeleteFunc(slices.Clone(all), func(c Cause) bool { return c.wrong > 0 || held.any()&^c.holds(held) != 0 })
	slices.SortStableFunc(all, func(a, b Cause) int { return cmp.Compare(a.Unknown, b.Unknown) })
	return all
}

type diagnosis struct {
	c        *logic.Circuit
	f        *part.Family
	s        *stimulus.Sequence
	observed []Observation
	// forgiving takes the level of a good chip for no contradiction.
	forgiving bool
}

// try simulates sets of faults, each in a lane of its own, and counts what
// contradicts them, up to as many as are enough to drop all of a group.
func (d diagnosis) try(sets [][]Fault, enough int) []Cause {
	var causes []Cause
	for group := range slices.Chunk(sets, lanes) {
		sim := simulate(d.c, d.f)
		for lane, faults := range group {
			for _, f := range faults {
				sim.inject(f, 1<<lane)
			}
		}
		causes = append(causes, d.compare(sim, group, enough)...)
	}
	return causes
}

func (d diagnosis) compare(sim *simulation, group [][]Fault, enough int) []Cause {
	wrong, unknown, absent := make([]int, lanes), make([]int, lanes), make([]int, lanes)
	open := ^uint64(0) >> (lanes - len(group)) // lanes with few contradictions yet
	for i, o := range d.observed {
		st := d.s.Steps[i]
		sim.apply(st)
		for pin := range st.Compared.All() {
			w := sim.shown[pin]
			allowed := agrees(w, o.Value(pin))
			if want, _ := st.Expect(pin); d.forgiving {
				if o.Value(pin) == want {
					for rest := open &^ allowed; rest != 0; rest &= rest - 1 {
						absent[bits.TrailingZeros64(rest)]++
					}
					continue
				}
				allowed = o.either(pin, want, w)
			}
			for rest := open &^ allowed; rest != 0; rest &= rest - 1 {
				lane := bits.TrailingZeros64(rest)
				if wrong[lane]++; wrong[lane] >= enough {
					open &^= 1 << lane
				}
			}
			for rest := open & w.Hi & w.Lo; rest != 0; rest &= rest - 1 {
				unknown[bits.TrailingZeros64(rest)]++
			}
		}
		if open == 0 {
			break
		}
	}
	var causes []Cause
	for lane, faults := range group {
		causes = append(causes, Cause{Faults: faults, Unknown: unknown[lane], wrong: wrong[lane], absent: absent[lane]})
	}
	return causes
}

// either gives the lanes in which each of a pin's two readings is that of the good
// chip, which shows want, or that of the faulty one.
func (o Observation) either(pin int, want logic.Value, w logic.Word) uint64 {
	allowed := ^uint64(0)
	released := ^(w.Hi | w.Lo)
	for _, reading := range []struct {
		high, pulledUp bool
	}{{o.PulledUp.Has(pin), true}, {o.PulledDown.Has(pin), false}} {
		good := want == logic.One && reading.high || want == logic.Zero && !reading.high || want == logic.Z && reading.high == reading.pulledUp
		if good {
			continue
		}
		faulty := w.Lo
		if reading.high {
			faulty = w.Hi
		}
		if reading.high == reading.pulledUp {
			faulty |= released
		}
		allowed &= faulty
	}
	return allowed
}

// agrees gives the lanes whose level does not contradict an observed value.
func agrees(w logic.Word, v logic.Value) uint64 {
	switch v {
	case logic.One:
		return w.Hi
	case logic.Zero:
		return w.Lo
	case logic.Z:
		return ^(w.Hi ^ w.Lo)
	}
	return ^uint64(0)
}

// Good is what a good chip shows in each step.
func Good(s *stimulus.Sequence) []Observation {
	observed := make([]Observation, len(s.Steps))
	for i, st := range s.Steps {
		observed[i] = Observation{PulledUp: st.High | st.Z, PulledDown: st.High &^ st.Z}
	}
	return observed
}

// Impostors lists the parts among others that behave exactly as observed: another
// part in the socket, or one that was marked anew.
func Impostors(s *stimulus.Sequence, observed []Observation, others []*logic.Circuit) []string {
	var numbers []string
	for _, o := range others {
		number := o.Variant.Part.Number
		if o.Variant != s.Variant && sameSupply(s.Variant, o.Variant) && !slices.Contains(numbers, number) && behaves(o, s, observed) {
			numbers = append(numbers, number)
		}
	}
	return numbers
}

// behaves reports whether a good part, from some state at power-up, would have
// shown what was observed, and could have been distinguished from any other by it: a part
// that is driven against its outputs, or whose inputs are open, may show anything.
func behaves(o *logic.Circuit, s *stimulus.Sequence, observed []Observation) bool {
	m := o.NewMachine()
	m.PowerUp(1)
	alive := ^uint64(0)
	compared := 0
	for _, st := range s.Steps[:len(observed)] {
		compared += st.Compared.Len()
	}
	known, left := 0, compared // most parts leave open what most of the pins show
	for i, seen := range observed {
		drive(m, o, s.Steps[i])
		for pin := range s.Steps[i].Compared.All() {
			left--
			w := m.Out(pin)
			alive &= agrees(w, seen.Value(pin))
			if v := w.Lane(0); v == logic.One || v == logic.Zero {
				known++
			}
		}
		if alive == 0 || 2*(known+left) < compared {
			return false
		}
	}
	return true
}
