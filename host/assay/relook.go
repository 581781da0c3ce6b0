package assay

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"slices"

	"chipassay/host/adapter"
	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// The adapter's inputs take a level below 0.3 of the rail for low and one above 0.6 for
// high; between them they read either way (ATmega2560 data sheet, from memory).
const (
	readsLow  = 0.3
	readsHigh = 0.6
)

// A suspect is a reading that was not a good chip's: of a pin, after a step, under a bias.
type suspect struct {
	step, pin int
	bias      adapter.Pull
	want      logic.Value
}

// station is where it is measured.
func (s suspect) station() station { return station{step: s.step, bias: s.bias} }

// looksAgain is how many readings of one pin under one bias are measured, the first
// of them, before the chip is accused: a level that stands where the adapter reads
// either way does so in all of them.
const looksAgain = 4

// A second look at what the adapter's inputs read.
type secondLook struct {
	p         Plan
	suspects  map[suspectPin][]suspect
	measured  map[suspect]float64 // V
	rail      float64
	undecided part.Pins // whose level is neither a low nor a high
	// weak: the supply may be below what the data sheet asks for. Else a good chip's output
	// stands well outside where the adapter reads either way, or its converter calls
	// it what it is.
	weak bool
}

type suspectPin struct {
	pin  int
	high bool // the bias
}

// lookAgain measures failing readings before the chip is accused. What stands between
// the adapter's low and high is judged by its converter: by the family's own levels, or
// not at all. The powered chip goes through its steps once more.
func (r *Result) lookAgain(ctx context.Context, meter LevelMeter, p Plan, sensed part.Pins, observed []fault.Observation) error {
	l := secondLook{p: p, suspects: map[suspectPin][]suspect{}, measured: map[suspect]float64{}, weak: r.supplyMayBeLow()}
	l.suspect(observed)
	for _, span := range r.unsteadyAt {
		l.suspectAll(span)
	}
	if len(l.suspects) == 0 || len(observed) != len(p.Sequence.Steps) {
		return nil
	}
	if err := l.measure(ctx, meter); err != nil {
		return err
	}
	for _, at := range slices.SortedFunc(maps.Keys(l.suspects), suspectPin.compare) {
		if words := l.judge(at, observed); words != "" {
			r.Findings = append(r.Findings, words)
			r.Unsteady, r.unsteadyAt = 0, nil // a reading that goes either way is what was unsteady
		}
	}
	r.undecided |= l.undecided
	r.wrong = r.Unsteady > 0 || l.wrong(observed, sensed)
	return nil
}

func (a suspectPin) compare(b suspectPin) int {
	return cmp.Or(a.pin-b.pin, first(b.high, a.high))
}

func (l *secondLook) add(s suspect) {
	at := suspectPin{s.pin, s.bias == adapter.High}
	l.suspects[at] = append(l.suspects[at], s)
}

// suspect lists the readings that are not a good chip's.
func (l *secondLook) suspect(observed []fault.Observation) {
	for i, st := range l.p.Sequence.Steps[:len(observed)] {
		for pin := range st.Compared.All() {
			want, _ := st.Expect(pin)
			if up := want != logic.Zero; observed[i].PulledUp.Has(pin) != up {
				l.add(suspect{i, pin, adapter.High, want})
			}
			if down := want == logic.One; observed[i].PulledDown.Has(pin) != down {
				l.add(suspect{i, pin, adapter.Low, want})
			}
		}
	}
}

// wrong tells whether a reading is still not a good chip's.
func (l *secondLook) wrong(observed []fault.Observation, sensed part.Pins) bool {
	for i, st := range l.p.Sequence.Steps {
		for pin := range st.Compared.All() {
			if want, _ := st.Expect(pin); observed[i].Value(pin) != want {
				return true
			}
		}
		for pin := range (st.Driven & sensed).All() {
			if observed[i].Value(pin) != logic.FromBool(st.Drive.Has(pin)) {
				return true
			}
		}
	}
	return false
}

// suspectAll takes the readings of a span that was wrong once and right then.
func (l *secondLook) suspectAll(span adapter.Span) {
	for i := span.From; i < min(span.To, span.From+looksAgain, reach); i++ {
		st := l.p.Sequence.Steps[i]
		for pin := range st.Compared.All() {
			want, _ := st.Expect(pin)
			l.add(suspect{i, pin, adapter.High, want})
			l.add(suspect{i, pin, adapter.Low, want})
		}
	}
}

// measure measures the first suspects of each pin.
func (l *secondLook) measure(ctx context.Context, meter LevelMeter) error {
	m := walkOf(ctx, meter, l.p)
	var err error
	if m.k, err = constantsOf(ctx, meter); err != nil {
		return err
	}
	for _, suspects := range l.suspects {
		for _, s := range firstOf(suspects) {
			m.ask(s.station(), &l.p.Type.Variant.Pins[s.pin-1])
		}
	}
	if err := m.pass(); err != nil {
		return err
	}
	l.rail = m.k.SupplyVolts
	for _, suspects := range l.suspects {
		for _, s := range firstOf(suspects) {
			l.measured[s] = m.volts(s.station(), &l.p.Type.Variant.Pins[s.pin-1])
		}
	}
	return nil
}

// firstOf gives the suspects that are measured: the first, within reach.
func firstOf(suspects []suspect) []suspect {
	n := 0
	for n < min(len(suspects), looksAgain) && suspects[n].step < reach {
		n++
	}
	return suspects[:n]
}

// judge judges a pin's readings under one bias, where they stand between the adapter's
// low and high, and says how; nothing where they do not.
func (l *secondLook) judge(at suspectPin, observed []fault.Observation) string {
	suspects := l.suspects[at]
	worst := math.NaN() // V, the one farthest from what is expected
	right := len(firstOf(suspects)) > 0
	if !right {
		return ""
	}
	for _, s := range firstOf(suspects) {
		v := l.measured[s]
		if !(v > readsLow*l.rail-converterVolts && v < readsHigh*l.rail+converterVolts) {
			return "" // what was read is what is there
		}
		is := l.level(s, v)
		if is != s.want && (is != logic.X || !l.weak) {
			return ""
		}
		right = right && is == s.want
		if math.IsNaN(worst) || s.want == logic.One && v < worst || s.want != logic.One && v > worst {
			worst = v
		}
	}
	for _, s := range suspects {
		o := &observed[s.step]
		if at.high {
			o.PulledUp = o.PulledUp.With(s.pin, s.want != logic.Zero)
		} else {
			o.PulledDown = o.PulledDown.With(s.pin, s.want == logic.One)
		}
	}
	pin := &l.p.Type.Variant.Pins[at.pin-1]
	where := fmt.Sprintf("pin %d (%s): in step %d it stands at %.2f V, which the adapter's inputs read either way", at.pin, pin.Name, suspects[0].step+1, worst)
	if right {
		return where + "; by its converter it is what is expected"
	}
	l.undecided = l.undecided.With(at.pin, true)
	return where + ", and which is neither a low nor a high; with so low a supply the data sheet promises nothing"
}

// level is what a voltage is by the data sheet: high for an input of the family, low for
// one, or neither. A released output is so while it passes no more than it may.
func (l *secondLook) level(s suspect, v float64) logic.Value {
	f, pin := l.p.Type.Family, &l.p.Type.Variant.Pins[s.pin-1]
	if s.want == logic.Z {
		across := v
		if s.bias == adapter.High {
			across = l.rail - v
		}
		if across/biasOhms*1000 <= offLimit(f, pin) {
			return logic.Z
		}
		return logic.X
	}
	switch {
	case v >= f.VIH:
		return logic.One
	case v <= f.VIL:
		return logic.Zero
	}
	return logic.X
}

// walkOf is a walk through a plan's sequence, with nothing planned yet.
func walkOf(ctx context.Context, meter LevelMeter, p Plan) levelWalk {
	steps := p.Sequence.Steps
	return levelWalk{
		ctx: ctx, meter: meter, t: p.Type, steps: steps[:min(len(steps), reach)],
		jumps:  len(p.Circuit.Registers) == 0 && !turns(p.Type.Variant),
		wanted: map[station]part.Pins{}, measured: map[station]adapter.Measured{}, found: &Levels{}, loads: meter.Loads(),
	}
}
