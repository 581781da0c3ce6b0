package function

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"

	"chipassay/host/adapter"
	"chipassay/host/assay/levels"
	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A suspect is a reading that was not a good chip's: of a pin, after a step, under a bias.
type suspect struct {
	levels.Point
	want logic.Value
}

// looksAgain is how many readings of one pin under one bias are measured, the first
// of them, before the chip is accused: a level that stands where the adapter reads
// either way does so in all of them.
const looksAgain = 4

// A second look at what the adapter's inputs read.
type secondLook struct {
	v         Vectors
	suspects  map[suspectPin][]suspect
	measured  map[levels.Point]float64 // V
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

// LookAgain measures failing readings before the chip is accused, and says what it found.
// What stands between the adapter's low and high is judged by its converter: by the family's
// own levels, or not at all. Weak says that the supply may be below what the data sheet asks
// for. The powered chip goes through its steps once more.
func (b *Readback) LookAgain(ctx context.Context, meter levels.Meter, v Vectors, weak bool) (findings []string, err error) {
	l := secondLook{v: v, suspects: map[suspectPin][]suspect{}, weak: weak}
	l.suspect(adapter.Span{To: len(b.Observed)}, b.Observed, false)
	for _, span := range b.UnsteadyAt { // it was wrong once, and right then
		span.To = min(span.To, span.From+looksAgain, levels.Reach)
		l.suspect(span, b.Observed, true)
	}
	if len(l.suspects) == 0 || len(b.Observed) != len(v.Sequence.Steps) {
		return nil, nil
	}
	var points []levels.Point
	for _, suspects := range l.suspects {
		for _, s := range firstOf(suspects) {
			points = append(points, s.Point)
		}
	}
	if l.measured, l.rail, err = levels.Volts(ctx, meter, v.Type, v.Sequence.Steps, points); err != nil {
		return nil, err
	}
	for _, at := range slices.SortedFunc(maps.Keys(l.suspects), suspectPin.compare) {
		if words := l.judge(at, b.Observed); words != "" {
			findings = append(findings, words)
			b.Unsteady, b.UnsteadyAt = 0, nil // a reading that goes either way is what was unsteady
		}
	}
	b.Undecided |= l.undecided
	b.Wrong = b.Unsteady > 0
	sensed := meter.Can().Sense
	for i, st := range v.Sequence.Steps {
		b.Wrong = b.Wrong || Wrong(st, b.Observed[i], st.Compared|st.Driven&sensed) != 0
	}
	return findings, nil
}

// Wrong gives those of some pins that do not show in a step what a good chip does, or, driven,
// what they are driven to.
func Wrong(st stimulus.Step, o fault.Observation, of part.Pins) (wrong part.Pins) {
	for pin := range of.All() {
		wrong = wrong.With(pin, o.Value(pin) != Wanted(st, pin))
	}
	return wrong
}

// Wanted is what a pin must show in a step.
func Wanted(st stimulus.Step, pin int) logic.Value {
	if want, compared := st.Expect(pin); compared {
		return want
	}
	return logic.FromBool(st.Drive.Has(pin))
}

// compare orders by pin, the high bias first.
func (a suspectPin) compare(b suspectPin) int {
	switch {
	case a.high == b.high || a.pin != b.pin:
		return a.pin - b.pin
	case a.high:
		return -1
	}
	return 1
}

func (l *secondLook) add(s suspect) {
	at := suspectPin{s.Pin, s.Bias == adapter.High}
	l.suspects[at] = append(l.suspects[at], s)
}

// suspect lists the readings of the steps of a span that are not a good chip's, or all.
func (l *secondLook) suspect(span adapter.Span, observed []fault.Observation, all bool) {
	for i := span.From; i < span.To; i++ {
		st := l.v.Sequence.Steps[i]
		for pin := range st.Compared.All() {
			want, _ := st.Expect(pin)
			if all || observed[i].PulledUp.Has(pin) != (want != logic.Zero) {
				l.add(suspect{levels.Point{Step: i, Pin: pin, Bias: adapter.High}, want})
			}
			if all || observed[i].PulledDown.Has(pin) != (want == logic.One) {
				l.add(suspect{levels.Point{Step: i, Pin: pin, Bias: adapter.Low}, want})
			}
		}
	}
}

// firstOf gives the suspects that are measured: the first, within levels.Reach.
func firstOf(suspects []suspect) []suspect {
	n := 0
	for n < min(len(suspects), looksAgain) && suspects[n].Step < levels.Reach {
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
		v := l.measured[s.Point]
		if !l.drives(s, v) && !(v > levels.ReadsLow*l.rail-levels.ConverterVolts && v < levels.ReadsHigh*l.rail+levels.ConverterVolts) {
			return "" // what was read is what is there
		}
		is := l.level(s, v)
		if l.drives(s, v) {
			is = s.want
		}
		if is != s.want && (is != logic.X || !l.weak) {
			return ""
		}
		right = right && is == s.want
		if math.IsNaN(worst) || s.want == logic.One && v < worst || s.want != logic.One && v > worst {
			worst = v
		}
	}
	for _, s := range suspects {
		o := &observed[s.Step]
		if at.high {
			o.PulledUp = o.PulledUp.With(s.Pin, s.want != logic.Zero)
		} else {
			o.PulledDown = o.PulledDown.With(s.Pin, s.want == logic.One)
		}
	}
	pin := &l.v.Type.Variant.Pins[at.pin-1]
	where := fmt.Sprintf("%v: in step %d it is at %.2f V, where the adapter's inputs may read either way", pin, suspects[0].Step+1, worst)
	if right {
		return where + "; measured, it is as expected"
	}
	l.undecided = l.undecided.With(at.pin, true)
	return where + ": neither a low nor a high; at so low a supply the data sheet guarantees nothing"
}

// drives reports whether an output that reads wrong against the bias gives at least the
// current of its rating, where that is too small to move the bias: a high of the A series is
// rated at 0.12 mA and 2.5 V, and 10 kΩ take 0.3 mA at the least level that reads high.
func (l *secondLook) drives(s suspect, v float64) bool {
	f := l.v.Type.Family
	out := f.Output[l.v.Type.Variant.Pins[s.Pin-1].Drive]
	switch {
	case !f.Series4000() || out.VOH >= f.VIH:
		return false
	case s.want == logic.One && s.Bias == adapter.Low:
		return v/levels.BiasOhms*1000 >= out.IOH
	case s.want == logic.Zero && s.Bias == adapter.High:
		return (l.rail-v)/levels.BiasOhms*1000 >= out.IOL
	}
	return false
}

// level is what a voltage is by the data sheet: high for an input of the family, low for
// one, or neither. A released output is so while it passes no more than it may.
func (l *secondLook) level(s suspect, v float64) logic.Value {
	f, pin := l.v.Type.Family, &l.v.Type.Variant.Pins[s.Pin-1]
	if s.want == logic.Z {
		across := v
		if s.Bias == adapter.High {
			across = l.rail - v
		}
		if across/levels.BiasOhms*1000 <= levels.OffLimit(f, pin) {
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
