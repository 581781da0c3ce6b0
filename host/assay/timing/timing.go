// Package timing times what a monostable or an oscillator does with a capacitor that a person
// clips to the side header: that every trigger of the function table starts a pulse and nothing
// else does, how long it is, and whether it can be prolonged and cleared; and whether an oscillator runs, how fast and evenly, and
// stops. The capacitor is measured first, before power.
//
// The timing resistor is the bias resistor of the pin, 10 kΩ to the adapter's 5 V rail, which is higher than
// the chip's supply by what the supply switch and its shunt take, some 3 %: pulses are shorter by that, and
// the formula's limits are corrected for it.
package timing

import (
	"context"
	"fmt"
	"math"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/quantity"
	"chipassay/vectors/part"
)

// A Socket is what is asked of the chip's place.
type Socket interface {
	Watch(ctx context.Context, w adapter.Watch) (adapter.Watched, error)
	ProbeWatch(ctx context.Context, w adapter.Watch) (adapter.Watched, error)
	ProbeMeasure(ctx context.Context, steps []adapter.MeasureStep) ([]adapter.Measured, error)
	Constants(ctx context.Context) (adapter.Constants, error)
	SupplyVolts(ctx context.Context) (float64, error)
	Can() adapter.Abilities
}

// A Plan is what was asked for.
type Plan struct {
	Farads  float64 // as marked on the capacitor
	Ohms    float64 // of the resistor that is clipped between two pins; 0 for none
	Section string  // the only one to be timed; empty for all
	// Clip asks for what a section needs to be clipped on, and returns when it is.
	Clip func(ctx context.Context, c Clips) error
}

// Clips is what a section needs on the side header, by the chip's pins.
type Clips struct {
	Section    string
	Positive   int // pin of the capacitor's positive end
	Negative   int
	Farads     float64
	Resistor   [2]int // zero for none
	Ohms       float64
	Wires      [][2]int
	SameAsLast bool // nothing has to be moved
}

// A Time is one that was measured, s.
type Time struct {
	Seconds     float64 `json:"seconds"`
	Uncertainty float64 `json:"uncertainty"` // either way
}

// A Check is one thing that was tried.
type Check struct {
	What  string `json:"what"`
	Wants string `json:"wants"`
	Saw   string `json:"saw"`
	Right bool   `json:"right"`
	Pulse *Time  `json:"pulse,omitempty"`
}

// A Section is what was found of one timing.
type Section struct {
	Name       string
	Output     int // pins
	Complement int
	Inputs     []int
	Positive   int
	Negative   int
	Farads     float64 // as measured, else as named
	Present    bool    // the capacitor was found before power
	Measured   bool    // and its value is better known than as it is marked
	Tolerance  float64 // of that, as a part
	Ohms       float64
	OhmsWithin float64 // as a part
	ByBias     bool    // the resistor is that of the adapter's bias
	Oscillates bool
	Pulse      *Time // the pulse by the first trigger, or the period
	Duty       float64
	Least      float64 // limits on the time with all tolerances, s; 0 where it is not judged
	Most       float64
	Source     string // of the formula
	Checks     []Check
	Wrong      []string // what is wrong, in sentences
	NotJudged  []string
	PinsWrong  part.Pins
	NoPulses   bool // no trigger showed any pulse
}

// A Result is what was found of a chip.
type Result struct {
	Farads   float64
	Sections []Section
	Untimed  []string // sections that were not asked for
}

// A ClipError says what is wrong with what is clipped on.
type ClipError struct{ Words string }

func (e *ClipError) Error() string { return e.Words }

// Values that hold where nothing better is known, as parts.
const (
	asMarked   = 0.20 // of a capacitor: the usual tolerance of ceramic and film ones
	biasWithin = 0.01 // of the adapter's resistor, at 1 %
	clipWithin = 0.05 // of a resistor that is clipped on
)

// LeastMeasured, F, is the least capacitor that is measured: the shortest charge, half a µs, carries a smaller
// one past the junctions' voltage, as it does a pin without any.
const LeastMeasured = 0.9e-9

// Refuse says why a type cannot be timed with a capacitor, or with what is there; nil if it can.
func Refuse(t part.Type, p Plan) error {
	timings := t.Variant.Timings
	if len(timings) == 0 {
		return fmt.Errorf("a %s times nothing by a capacitor that its definition states", t.Name())
	}
	found := false
	for _, x := range timings {
		if p.Section != "" && p.Section != x.Name {
			continue
		}
		found = true
		least, most := part.LeastFarads, part.MostFarads
		why := ""
		if below := x.BelowGround(t.Family); below != "" {
			least, most, why = part.LeastBelowGround, part.MostBelowGround, ": "+below
		}
		if p.Farads < least*0.999 || p.Farads > most*1.001 {
			return fmt.Errorf("the capacitor for a %s is from %s to %s, not %s%s", t.Name(), quantity.Farads(least), quantity.Farads(most), quantity.Farads(p.Farads), why)
		}
		if x.Resistor[0] != 0 && p.Ohms == 0 {
			v := t.Variant
			without := ""
			for _, o := range timings {
				if o.Supplied != 0 {
					without = ", or time without one: --section " + o.Name
				}
			}
			return fmt.Errorf("the timing resistor of a %s is between its pins %s and %s: add --resistor 10k, and clip one there too%s",
				t.Name(), v.Pins[x.Resistor[0]-1].Name, v.Pins[x.Resistor[1]-1].Name, without)
		}
		if x.Resistor[0] != 0 && (p.Ohms < 5e3 || p.Ohms > 100e3) {
			return fmt.Errorf("the timing resistor is from 5 to 100 kΩ, not %s", part.Ohms(p.Ohms))
		}
	}
	if !found {
		var names []string
		for _, x := range timings {
			names = append(names, x.Name)
		}
		return fmt.Errorf("a %s has no section %s: its sections are %v", t.Name(), p.Section, names)
	}
	return nil
}

// Wanted are the timings that a plan asks for, by number.
func (p Plan) Wanted(v *part.Variant) (wanted []int) {
	for i, x := range v.Timings {
		if p.Section == "" || p.Section == x.Name {
			wanted = append(wanted, i)
		}
	}
	return wanted
}

// ClipsOf is what a timing needs clipped on.
func (p Plan) ClipsOf(x *part.Timing) Clips {
	c := Clips{Section: x.Name, Positive: x.Positive, Negative: x.Negative, Farads: p.Farads, Wires: x.Wires}
	if x.Resistor[0] != 0 {
		c.Resistor, c.Ohms = x.Resistor, p.Ohms
	}
	return c
}

// Same reports whether two sections need the same things clipped on.
func (c Clips) Same(o Clips) bool {
	return c.Positive == o.Positive && c.Negative == o.Negative && c.Resistor == o.Resistor && len(c.Wires) == len(o.Wires)
}

// String is a time with its uncertainty: "1.02 ms ± 1 µs".
func (t Time) String() string {
	return quantity.Seconds(t.Seconds) + " ± " + quantity.Seconds(max(t.Uncertainty, 1e-7))
}

// dur is a time of so many seconds, in whole µs and at least one.
func dur(seconds float64) time.Duration {
	return max(time.Microsecond, time.Duration(math.Ceil(seconds*1e6))*time.Microsecond)
}
