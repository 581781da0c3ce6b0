package virtual

import (
	"fmt"
	"math"
	"slices"
	"time"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// timed is the die of a part that times with a capacitor at pins of its own: the logic, and what
// the definition's timing statements say. It charges and discharges real nodes. Without a
// capacitor a pulse is over in a nanosecond, so that every level read is that of the rest.
//
// Four circuits are modelled, of the data books' schematics (from memory):
//   - a comparator's: the capacitor is discharged to a low voltage at the trigger and charged through
//     the resistor up to a threshold, which the formula gives;
//   - that of the 74121, whose pulse lets the capacitor's far end fall: the node at the resistor, which
//     rests at a base's 0.7 V, is carried below ground and charged back to 0.7 V;
//   - the ring of the 4047: resistor and capacitor meet at an input, and the two outputs behind
//     them turn over when it crosses half the supply;
//   - that of the 4046: the control voltage less a transistor's threshold stands at the resistor, whose current charges
//     one end of the capacitor, the other being held at ground, up to half the supply; then the ends change places.
type timed struct {
	*logic.Machine
	v            *part.Variant
	levels, were part.Pins // of its inputs
	vcc, gnd     float64
	sections     []*section
	passed       time.Duration
	since        time.Duration // the last change of a phase
	changed      bool
}

// section is one timing of a timed die.
type section struct {
	*part.Timing
	circuit   circuitKind
	factor    float64 // the pulse as a multiple of R C, of the comparator's circuit
	below     bool
	node      int // pin at which it looks
	drives    [2]int
	ends      [2]int // of the capacitor, of a controlled oscillator
	sets      int    // the pin whose current charges it
	amps      float64
	gain      float64 // of the current mirror between the two
	phase     phase
	high      bool // the output, of a ring
	dead      bool // no pulse
	holds     bool // not retriggered though it should be
	uncleared bool
}

type circuitKind uint8

const (
	comparator circuitKind = iota
	falling                // of the 74121
	ring                   // of the 4047
	controlled             // of the 4046
)

// phase is what a section does.
type phase uint8

const (
	idle phase = iota
	emptying
	filling
)

// The chips' transistors at the timing pins, Ω, and what they switch at.
const (
	emptyOhms  = 60   // discharges the capacitor
	groundOhms = 10   // from the capacitor's negative pin to ground inside
	fallOhms   = 40   // pulls the far end of a 74121's capacitor low
	riseOhms   = 1200 // and back
	baseVolts  = 0.7
	ringOhms   = 500 // an output of a ring
	// of a controlled oscillator: the transistor that holds an end, the source follower at the resistor,
	// its threshold, and what is left of the current for the low end of its range
	holdOhms, followOhms, followVolts = 200, 500, 1.2
	leastAmps                         = 1e-9
	lowShare                          = 0.1 // of the supply, to which the comparator's circuit discharges
)

// newTimed makes the die of a variant with timings at external pins; nil where it has none.
func newTimed(t part.Type, m *logic.Machine, defects []Defect) (*timed, error) {
	d := &timed{Machine: m, v: t.Variant, vcc: curveSupply}
	for i := range t.Variant.Timings {
		x := &t.Variant.Timings[i]
		if t.Variant.Pins[x.Positive-1].Role != part.External {
			continue // its logic is all there is to it
		}
		s := &section{Timing: x, node: x.Positive, below: x.BelowGround(t.Family) != ""}
		s.factor = x.In(t.Family)[0].Typical(10_000, 1e-4) // of one maker, where they differ
		switch {
		case x.Faster != 0:
			s.circuit = controlled
			s.ends = [2]int{x.Positive, x.Negative}
			s.gain = 2 * (curveSupply/2 + mcuClampVolts) / (curveSupply - followVolts) / s.factor
			s.sets = x.Resistor[0]
			if t.Variant.Pins[s.sets-1].Role != part.External {
				s.sets = x.Resistor[1]
			}
		case x.Supplied == 0:
			s.circuit = ring
			s.node = x.Negative
			far := x.Resistor[0]
			if far == s.node {
				far = x.Resistor[1]
			}
			s.drives = [2]int{x.Positive, far}
		case s.below:
			s.circuit = falling
		}
		d.sections = append(d.sections, s)
	}
	if d.sections == nil {
		return nil, nil
	}
	for _, x := range defects {
		if err := d.damage(x); err != nil {
			return nil, fmt.Errorf("defect %q: %w", x, err)
		}
	}
	return d, nil
}

// damage applies a defect of a timing; one of how long a pulse is lies with the capacitor: see stretched.
func (d *timed) damage(x Defect) error {
	switch x.Kind {
	case NoPulse, NoRetrigger, NoClear:
		found := false
		for _, s := range d.sections {
			if !isOutput(d.v, s.Timing, x.Name) {
				continue
			}
			found = true
			switch x.Kind {
			case NoPulse:
				s.dead = true
			case NoRetrigger:
				if !s.Retriggerable {
					return fmt.Errorf("a good %s is not retriggered either", d.v.Part.Number)
				}
				s.holds = true
			case NoClear:
				s.uncleared = true
			}
		}
		if !found {
			return fmt.Errorf("%s is the output of no pulse of a %s", x.Name, d.v.Part.Number)
		}
	case DeadTrigger:
		found := false
		for _, s := range d.sections {
			triggers := slices.DeleteFunc(slices.Clone(s.Triggers), func(t part.Trigger) bool { return d.v.Pins[t.Pin-1].Name == x.Name })
			if len(triggers) < len(s.Triggers) {
				found = true
				changed := *s.Timing
				changed.Triggers = triggers
				s.Timing = &changed
			}
		}
		if !found {
			return fmt.Errorf("%s triggers nothing in a %s", x.Name, d.v.Part.Number)
		}
	}
	return nil
}

// isOutput reports whether a name is that of an output of a timing, or of its complement.
func isOutput(v *part.Variant, x *part.Timing, name string) bool {
	return v.Pins[x.Output-1].Name == name || x.Complement != 0 && v.Pins[x.Complement-1].Name == name
}

// stretched is by how much a chip's capacitors act larger than they are, by the pin of their
// positive end, where it times too long or too short.
func stretched(t part.Type, defects []Defect) (map[int]float64, error) {
	var by map[int]float64
	for _, d := range defects {
		times := d.Amount
		switch d.Kind {
		case PulseLong:
		case PulseShort:
			times = 1 / d.Amount
		default:
			continue
		}
		found := false
		for _, x := range t.Variant.Timings {
			if isOutput(t.Variant, &x, d.Name) {
				found = true
				if by == nil {
					by = map[int]float64{}
				}
				by[x.Positive] = times
			}
		}
		if !found {
			return nil, fmt.Errorf("defect %q: %s is the output of no pulse of a %s", d, d.Name, t.Name())
		}
	}
	return by, nil
}

// Set notes what the triggers see.
func (d *timed) Set(pin int, w logic.Word) {
	d.levels = d.levels.With(pin, w.Lane(0) == logic.One)
	d.Machine.Set(pin, w)
}

// PowerUp brings it up at rest.
func (d *timed) PowerUp(seed uint64) {
	d.Machine.PowerUp(seed)
	for _, s := range d.sections {
		s.phase, s.high = idle, false
	}
	d.were = d.levels
}

// Settle starts and ends pulses by the edges since it last settled.
func (d *timed) Settle() {
	d.Machine.Settle()
	for _, s := range d.sections {
		was := s.phase
		switch {
		case s.Clears && s.Clear.Holds(d.levels) && !s.uncleared:
			s.phase = idle
		case s.Oscillates:
			d.gate(s)
		case s.triggered(d.were, d.levels) && !s.dead && (s.phase == idle || d.again(s)):
			s.phase = emptying
		}
		d.changed = d.changed || s.phase != was
	}
	d.were = d.levels
}

// again reports whether a trigger prolongs a pulse.
func (d *timed) again(s *section) bool {
	if s.Retrigger != 0 && !d.levels.Has(s.Retrigger) {
		return false
	}
	return s.Retriggerable && !s.holds
}

// gate starts and stops an oscillation. It shares its pins with a monostable's timing, which has its own pulse.
func (d *timed) gate(s *section) {
	switch runs := s.Runs.Holds(d.levels) && !s.dead; {
	case runs && s.phase == idle:
		s.phase, s.high = emptying, true
	case !runs:
		s.phase, s.high = idle, false
	}
}

func (s *section) triggered(were, now part.Pins) bool {
	return slices.ContainsFunc(s.Triggers, func(t part.Trigger) bool {
		return were.Has(t.Pin) != t.Rise && now.Has(t.Pin) == t.Rise && t.When.Holds(now)
	})
}

// Out is what the machine gives, but for the outputs of the timings.
func (d *timed) Out(pin int) logic.Word {
	on, found, inverted := false, false, false
	for _, s := range d.sections {
		if pin == s.Undivided {
			return logic.Splat(logic.FromBool(s.phase == emptying)) // low at rest
		}
		if pin == s.Output || pin == s.Complement {
			found, on, inverted = true, on || s.on(), pin == s.Complement
		}
	}
	if !found {
		return d.Machine.Out(pin)
	}
	if w := d.Machine.Out(pin); !slices.ContainsFunc(d.sections, func(s *section) bool { return s.phase != idle }) && (w.Lane(0) == logic.Zero || w.Lane(0) == logic.One) {
		return w // what the definition says of the rest
	}
	return logic.Splat(logic.FromBool(on != inverted))
}

func (s *section) on() bool {
	if s.Oscillates {
		return s.high
	}
	return s.phase != idle
}

func (d *timed) supplied(vcc, gnd float64) { d.vcc, d.gnd = vcc, gnd }

func (d *timed) timing() (pins []int) {
	add := func(pin int) {
		if !slices.Contains(pins, pin) && d.v.Pins[pin-1].Role == part.External {
			pins = append(pins, pin)
		}
	}
	for _, s := range d.sections {
		add(s.Positive)
		add(s.Negative)
		switch s.circuit {
		case ring:
			add(s.drives[1])
		case controlled:
			add(s.sets)
		}
	}
	return pins
}

func (d *timed) elements(pin int) (all []element) {
	for i, s := range d.sections {
		if s.circuit == ring {
			if s.Oscillates == d.ringing() && (pin == s.drives[0] || pin == s.drives[1]) {
				up := (s.phase == emptying) == (pin == s.drives[0])
				all = append(all, resistor(d.rail(up), ringOhms))
			}
			continue
		}
		if s.circuit == controlled {
			all = append(all, d.controls(s, pin)...)
			continue
		}
		switch pin {
		case s.Positive:
			if s.circuit == falling {
				base := resistor(d.gnd+baseVolts, emptyOhms)
				base.source = false
				all = append(all, base)
			} else if s.phase == emptying {
				all = append(all, resistor(d.gnd, emptyOhms))
			}
		case s.Negative:
			switch {
			case s.circuit == falling && s.phase == idle:
				all = append(all, resistor(d.vcc-baseVolts, riseOhms))
			case s.circuit == falling:
				all = append(all, resistor(d.gnd+0.2, fallOhms))
			case i == 0 || d.sections[i-1].Negative != pin:
				all = append(all, resistor(d.gnd, groundOhms))
			}
		}
	}
	return all
}

// controls is what a controlled oscillator connects to a pin: the follower to the resistor, its current to the end that it
// charges, and ground to the other.
func (d *timed) controls(s *section, pin int) []element {
	if s.phase == idle {
		return nil
	}
	charged, held := s.ends[0], s.ends[1]
	if s.high {
		charged, held = held, charged
	}
	switch pin {
	case s.sets:
		e := resistor(d.set(s), followOhms)
		e.sink = false
		return []element{e}
	case charged:
		e := resistor(d.vcc, holdOhms)
		e.sink, e.limit = false, max(s.amps, leastAmps)
		return []element{e}
	case held:
		return []element{resistor(d.gnd, holdOhms)}
	}
	return nil
}

// set is the voltage that the follower would give, with nothing to drive.
func (d *timed) set(s *section) float64 {
	if !d.levels.Has(s.Faster) {
		return d.gnd
	}
	return d.vcc - followVolts
}

// ringing reports whether the ring oscillates, rather than being a monostable's.
func (d *timed) ringing() bool {
	return slices.ContainsFunc(d.sections, func(s *section) bool { return s.Oscillates && s.phase != idle })
}

func (d *timed) rail(up bool) float64 {
	if up {
		return d.vcc
	}
	return d.gnd
}

// limits are the voltages at a section's node that it empties to and fills to.
func (d *timed) limits(s *section) (low, high float64) {
	supply := d.vcc - d.gnd
	switch s.circuit {
	case falling:
		return d.gnd + baseVolts - 0.1, d.gnd + baseVolts - 0.01
	case ring, controlled:
		return d.gnd + supply/2, d.gnd + supply/2
	}
	return d.gnd + lowShare*supply, d.gnd + supply*(1-(1-lowShare)*math.Exp(-s.factor))
}

func (d *timed) thresholds(pin int) (all []float64) {
	for _, s := range d.sections {
		if pin == s.node || s.circuit == controlled && (pin == s.ends[0] || pin == s.ends[1]) {
			low, high := d.limits(s)
			all = append(all, low, high)
		}
	}
	return all
}

func (d *timed) pass(now time.Duration, volts func(pin int) float64) (changed bool) {
	changed = d.changed
	d.changed = false
	if now > d.passed && !changed { // what it drives has had an effect
		for _, s := range d.sections {
			low, high := d.limits(s)
			v, was := volts(s.node), s.phase
			switch {
			case s.circuit == controlled:
				changed = d.charge(s, volts) || changed
			case s.phase == emptying && s.circuit == falling:
				s.phase = filling
			case s.phase == emptying && v <= low:
				s.phase = filling
			case s.phase == filling && v >= high && s.Oscillates:
				s.phase, s.high = emptying, !s.high
			case s.phase == filling && v >= high:
				s.phase = idle
			}
			changed = changed || s.phase != was
		}
	}
	if changed {
		d.since = now
	}
	d.passed = now
	return changed
}

// charge looks at a controlled oscillator, and turns it over when the end that is charged is there.
func (d *timed) charge(s *section, volts func(pin int) float64) (changed bool) {
	if s.phase == idle {
		return false
	}
	amps := s.gain * max(0, d.set(s)-volts(s.sets)) / followOhms
	if changed = math.Abs(amps-s.amps) > 0.002*math.Abs(s.amps)+leastAmps; changed {
		s.amps = amps
	}
	charged := s.ends[0]
	if s.high {
		charged = s.ends[1]
	}
	if _, high := d.limits(s); volts(charged) >= high {
		s.high, changed = !s.high, true
	}
	return changed
}

// next: without a capacitor what it has just changed shows at its pins at once, and nothing else
// would look at them. A capacitor's voltage is looked at when it reaches a threshold.
func (d *timed) next() (time.Duration, bool) {
	for _, s := range d.sections {
		if s.phase != idle {
			return d.passed + max(soon, d.passed-d.since), true
		}
	}
	return 0, false
}

// soon is when a section that times is looked at first where no capacitor slows its node.
const soon = 30 * time.Nanosecond
