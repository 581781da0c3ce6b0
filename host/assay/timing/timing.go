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
	"slices"
	"strings"
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
	Moved      bool // from another section of the same chip
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
	Undivided  int // an output of an oscillator whose frequency is divided to that of Output
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
	Least      float64 // limits on the time with all tolerances, s, the widest of all makers'; 0 where it is not judged
	Most       float64
	Limits     []Limit // by the formula of each maker; none where the time is not judged
	Fits       []int   // by which of them the time may be
	Checks     []Check
	Wrong      []string // what is wrong, in sentences
	NotJudged  []string
	PinsWrong  part.Pins
	NoPulses   bool // no trigger showed any pulse
}

// A Limit is what one maker's formula gives for a time, with all tolerances, s.
type Limit struct {
	Least  float64 `json:"least_s"`
	Most   float64 `json:"most_s"`
	Source string  `json:"source"`
	// Apart is how many times as long one section's may be as another's of the same chip, with the same capacitor.
	Apart float64 `json:"-"`
}

// holds reports whether a time may be in the limits.
func (l Limit) holds(t Time) bool {
	return t.Seconds+t.Uncertainty >= l.Least && t.Seconds-t.Uncertainty <= l.Most
}

// LimitWords are the limits in words: "382 µs to 517 µs or 850 µs to 1.15 ms".
func (s *Section) LimitWords() string {
	var words []string
	for _, l := range s.Limits {
		words = append(words, quantity.Seconds(l.Least)+" to "+quantity.Seconds(l.Most))
	}
	return strings.Join(words, " or ")
}

// Sources are where the formulas come from: those that the time fits, or all.
func (s *Section) Sources() (sources []string) {
	for i, l := range s.Limits {
		if len(s.Fits) == 0 || slices.Contains(s.Fits, i) {
			sources = append(sources, l.Source)
		}
	}
	return sources
}

// A Result is what was found of a chip.
type Result struct {
	Farads   float64
	Sections []Section
	Untimed  []string // sections that were not asked for
}

// spread gives the pulses of all sections in words, and the shortest and the longest that they may be, s; no
// words where one was not timed or has no limits.
func (r *Result) spread(v *part.Variant) (names []string, short, long float64) {
	short = math.Inf(1)
	for _, s := range r.Sections {
		if s.Pulse == nil || s.Oscillates || len(s.Limits) == 0 {
			return nil, 0, 0
		}
		names = append(names, v.Pins[s.Output-1].Name+" "+quantity.Seconds(s.Pulse.Seconds))
		short, long = min(short, s.Pulse.Seconds+s.Pulse.Uncertainty), max(long, s.Pulse.Seconds-s.Pulse.Uncertainty)
	}
	return names, short, long
}

// Unlike says of the sections of one die, timed by one capacitor, that no maker's formula and tolerance give all their pulses;
// empty where one does, and where only one section was timed.
func (r *Result) Unlike(v *part.Variant) string {
	names, short, long := r.spread(v)
	if len(names) < 2 {
		return ""
	}
	var makers []Limit
	for i, l := range r.Sections[0].Limits {
		all := !slices.ContainsFunc(r.Sections, func(s Section) bool { return len(s.Fits) > 0 && !slices.Contains(s.Fits, i) })
		if all && long <= l.Apart*short {
			makers = append(makers, l)
		}
	}
	if len(makers) > 0 {
		return ""
	}
	return fmt.Sprintf("the pulses %s are of one chip and one capacitor, and no maker's tolerance lets them differ so", strings.Join(names, " and "))
}

// evenWithin is by how much of the shorter the pulses of one chip's sections, with one capacitor, differ as a rule at most
// (common practice; the data sheets' tolerances are those between chips).
const evenWithin = 0.10

// Uneven says of sections whose pulses are in the limits that they differ more than those of one die do; empty where they do not.
func (r *Result) Uneven(v *part.Variant) string {
	names, short, long := r.spread(v)
	if len(names) < 2 || long <= (1+evenWithin)*short {
		return ""
	}
	return fmt.Sprintf("the pulses %s are in the limits, but %.0f %% apart, with one capacitor: those of one chip are within some %.0f %%", strings.Join(names, " and "),
		100*(long/short-1), 100*evenWithin)
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

// Limits on a resistor that is clipped on, Ω: the 4060's and the 4541's sheets have 10 kΩ and more, the 555's 5 kΩ.
const LeastOhms, MostOhms = 5e3, 100e3

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
		if x.Resistor[0] != 0 && (p.Ohms < LeastOhms || p.Ohms > MostOhms) {
			return fmt.Errorf("the timing resistor is from 5 to 100 kΩ, not %s", part.Ohms(p.Ohms))
		}
		if period := mostPeriod(&x, t.Family, p); x.Oscillates && leastPeriods*period > longestWatch.Seconds() {
			return fmt.Errorf("with %s and %s a period of a %s may take %s, which is too long to be watched: give a lesser capacitor or resistor",
				quantity.Farads(p.Farads), part.Ohms(p.Ohms), t.Name(), quantity.Seconds(period))
		}
		if period := leastPeriod(&x, t.Family, p); x.Oscillates && period < shortestPeriod {
			return fmt.Errorf("with %s and %s a %s may run at %s, which the adapter does not follow: give a greater resistor, up to 100k, or capacitor",
				quantity.Farads(p.Farads), part.Ohms(p.Ohms), t.Name(), quantity.Hertz(1/period))
		}
	}
	if !found {
		var names []string
		for _, x := range timings {
			names = append(names, x.Name)
		}
		if len(names) == 1 {
			return fmt.Errorf("a %s has one section, without a name: leave --section out", t.Name())
		}
		return fmt.Errorf("a %s has no section %s: its sections are %s", t.Name(), p.Section, strings.Join(names, " and "))
	}
	return nil
}

// shortestPeriod, s, of an oscillation: of a shorter one edges fall into the gaps of the adapter's looks, most of which are 1 µs.
const shortestPeriod = 8e-6

// longestWatch is what one watch may take, and leastPeriods how many periods it must show.
const longestWatch, leastPeriods = 900 * time.Millisecond, 5

// mostPeriod is the longest that an output may have by the formulas, s.
func mostPeriod(x *part.Timing, f *part.Family, p Plan) (period float64) {
	for _, formula := range x.In(f) {
		_, most := formula.Range(p.Ohms, p.Farads)
		period = max(period, most)
	}
	return period
}

// leastPeriod is the shortest that an output may have by the formulas, s.
func leastPeriod(x *part.Timing, f *part.Family, p Plan) float64 {
	period := math.Inf(1)
	for _, formula := range x.In(f) {
		least, _ := formula.Range(p.Ohms, p.Farads)
		period = min(period, least/float64(max(1, x.Divisor)))
	}
	return period
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
