package timing

import (
	"fmt"
	"math"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/quantity"
	"chipassay/protocol"
	"chipassay/vectors/part"
)

type adapterAction = adapter.WatchAction

// periods are how many are timed: few of an oscillation that is divided by so much that one is averaged already.
func (b *bench) periods() int {
	if b.typical > 10*b.r.Ohms*b.r.Farads {
		return 4
	}
	return 20
}

// oscillator sees that it runs, how fast, at all its outputs, and that what gates it stops and starts it.
func (b *bench) oscillator() error {
	on, ok := b.running()
	if !ok {
		return fmt.Errorf("the definition lets %s never oscillate", b.name(b.x.Output))
	}
	pin := b.x.Output
	until := min(dur(margin*float64(b.periods()+2)*b.most), b.longest())
	check := Check{What: "oscillation", Wants: "it runs", Saw: "it does not run"}
	period, duty, edges, err := b.run(pin, on, until)
	if err != nil {
		return err
	}
	if period == nil {
		if edges > 0 {
			check.Saw = fmt.Sprintf("%s in %s", count(edges), quantity.Seconds(until.Seconds()))
		}
		b.r.Checks = append(b.r.Checks, check)
		b.r.NoPulses = edges < 2
		if !b.r.NoPulses {
			b.fails(part.PinSet(pin), "%s: %s", b.name(pin), check.Saw)
		}
		return nil
	}
	b.r.Pulse, b.r.Duty = period, duty
	check.Pulse, check.Right = period, true
	check.Saw = fmt.Sprintf("%s, %.0f %% of it high", quantity.Hertz(1/period.Seconds), 100*duty)
	if b.fit(*period) {
		check.Right = false
		b.fails(part.PinSet(pin), "%s: period %s, the data sheet's formula gives %s", b.name(pin), quantity.Seconds(period.Seconds), b.r.LimitWords())
	} else {
		b.betweenMakers(*period, "the period")
	}
	if limits := b.x.In(b.t.Family)[0].Duty; duty < limits[0]-dutyWithin || duty > limits[1]+dutyWithin {
		check.Right = false
		b.fails(part.PinSet(pin), "%s: high for %.0f %% of the period, the data sheet gives %.0f to %.0f %%", b.name(pin), 100*duty, 100*limits[0], 100*limits[1])
	}
	b.r.Checks = append(b.r.Checks, check)
	if err := b.otherOutputs(on, *period, until); err != nil {
		return err
	}
	if err := b.faster(on, *period); err != nil {
		return err
	}
	return b.gates(on, *period)
}

// dutyWithin is by how much the share may be off of what 20 periods are high for, each edge being known to 1 µs.
const dutyWithin = 0.01

// running are levels at which it runs, as fast as it can.
func (b *bench) running() (on part.Pins, ok bool) {
	for n := range 1 << len(b.pins) {
		if on = b.levels(n); b.x.Runs.Holds(on) && (b.x.Faster == 0 || on.Has(b.x.Faster)) {
			return on, true
		}
	}
	return 0, false
}

// run lets it run and times one output; the period is nil where it does not.
func (b *bench) run(pin int, on part.Pins, until time.Duration) (period *Time, duty float64, edges int, err error) {
	w, err := b.watch(pin, until, min(2*b.periods()+3, protocol.MostEdges), b.act(0, on))
	if err != nil {
		return nil, 0, 0, err
	}
	p, duty, whole := periodOf(w.Edges)
	if !whole {
		return nil, 0, len(w.Edges), nil
	}
	return &p, duty, len(w.Edges), nil
}

// otherOutputs times the complement, and the output that is not divided.
func (b *bench) otherOutputs(on part.Pins, period Time, until time.Duration) error {
	for _, o := range []struct {
		pin   int
		times float64
		what  string
	}{
		{b.x.Complement, 1, "the same period"},
		{b.x.Undivided, float64(max(1, b.x.Divisor)), fmt.Sprintf("%d times the frequency", b.x.Divisor)},
	} {
		if o.pin == 0 {
			continue
		}
		got, _, edges, err := b.run(o.pin, on, until)
		if err != nil {
			return err
		}
		want := period.Seconds / o.times
		check := Check{What: "oscillation at " + b.name(o.pin), Wants: o.what, Saw: count(edges), Pulse: got}
		if got != nil {
			check.Saw = quantity.Hertz(1 / got.Seconds)
			check.Right = math.Abs(got.Seconds-want) <= 0.05*want+got.Uncertainty+period.Uncertainty
		}
		if !check.Right {
			b.fails(part.PinSet(o.pin), "%s: %s, and should run at %s", b.name(o.pin), check.Saw, quantity.Hertz(1/want))
		}
		b.r.Checks = append(b.r.Checks, check)
	}
	return nil
}

// slowest is the most that a control voltage of 0 V leaves of the frequency at the supply's: the sheets
// of the 4046 have it near 0.
const slowest = 0.5

// faster sees that a low control voltage makes it slower, or stops it.
func (b *bench) faster(on part.Pins, period Time) error {
	pin := b.x.Faster
	if pin == 0 {
		return nil
	}
	until := min(dur(30*period.Seconds), b.longest())
	low := on.With(pin, false)
	settle := dur(10 * period.Seconds)
	w, err := b.watch(b.x.Output, until+settle, protocol.MostEdges, b.act(0, low))
	if err != nil {
		return err
	}
	edges := 0
	for _, e := range w.Edges {
		if e.At > settle {
			edges++
		}
	}
	high := 2 * until.Seconds() / period.Seconds
	check := Check{What: b.name(pin) + " low", Wants: "it is slower, or stops", Right: len(w.Edges) < protocol.MostEdges && float64(edges) <= slowest*high,
		Saw: fmt.Sprintf("%s in %s; %.0f with %s high", count(edges), quantity.Seconds(until.Seconds()), high, b.name(pin))}
	if !check.Right {
		b.fails(part.PinSet(b.x.Output, pin), "%s: with %s low it should be slower than with it high: %s", b.name(b.x.Output), b.name(pin), check.Saw)
	}
	b.r.Checks = append(b.r.Checks, check)
	return nil
}

func (b *bench) longest() time.Duration { return longestWatch }

// gates stops and starts it by each input that can.
func (b *bench) gates(on part.Pins, period Time) error {
	for i, pin := range b.pins {
		tried := append([]part.Pins{on}, b.combinations()...)
		at := slices.IndexFunc(tried, func(high part.Pins) bool {
			return b.x.Runs.Holds(high) && !b.x.Runs.Holds(high^part.PinSet(pin)) && (b.x.Faster == 0 || high.Has(b.x.Faster))
		})
		if at < 0 {
			continue
		}
		if err := b.gated(tried[at], tried[at]^part.PinSet(pin), b.pins[i], period.Seconds); err != nil {
			return err
		}
	}
	return nil
}

// combinations are the levels of all inputs, the section's own in every combination.
func (b *bench) combinations() (all []part.Pins) {
	for n := range 1 << len(b.pins) {
		all = append(all, b.levels(n))
	}
	return all
}

// gated stops the oscillation and starts it again.
func (b *bench) gated(on, off part.Pins, gate int, period float64) error {
	stop, start := dur(1.5*period), dur(4*period)
	w, err := b.watch(b.x.Output, dur(7*period)+50*time.Microsecond, protocol.MostEdges, b.act(0, on), b.act(stop, off), b.act(start, on))
	if err != nil {
		return err
	}
	still := 0
	for _, e := range w.Edges {
		if e.At > w.Acted[1]+dur(0.6*period) && e.At < w.Acted[2]-sameInstant {
			still++
		}
	}
	again := len(after(w, w.Acted[2]))
	check := Check{What: b.describe(on, off), Wants: "it stops, and runs again after", Right: still == 0 && again > 1,
		Saw: fmt.Sprintf("%s while it should stand, %d after", count(still), again)}
	if !check.Right {
		b.fails(part.PinSet(b.x.Output, gate), "%s: at the %s it should stop, and run again after: %s", b.name(b.x.Output), check.What, check.Saw)
	}
	b.r.Checks = append(b.r.Checks, check)
	return nil
}

// count is a number of edges in words.
func count(edges int) string {
	switch edges {
	case 0:
		return "no edge"
	case 1:
		return "one edge"
	}
	return fmt.Sprintf("%d edges", edges)
}

// periodOf gives the mean period, the first two edges left out, and how much of it is high; whole is false with too few
// edges. A period with two edges more than the others' has lost them in a gap of the adapter's looks, and does not count.
func periodOf(edges []adapter.Edge) (period Time, duty float64, whole bool) {
	if len(edges) < 8 {
		return period, 0, false
	}
	edges = edges[2:]
	var lengths []float64
	for i := 0; i+2 < len(edges); i += 2 {
		lengths = append(lengths, width(edges[i], edges[i+2]).Seconds)
	}
	usual := median(lengths)
	n, all, high, uncertain := 0, 0.0, 0.0, 0.0
	for i := 0; i+2 < len(edges); i += 2 {
		one := width(edges[i], edges[i+2])
		if math.Abs(one.Seconds-usual) > 0.5*usual {
			continue
		}
		up := width(edges[i], edges[i+1])
		if !edges[i].High {
			up = width(edges[i+1], edges[i+2])
		}
		n, all, high, uncertain = n+1, all+one.Seconds, high+up.Seconds, max(uncertain, one.Uncertainty)
	}
	// the ends of neighbours are the same edges: what one is too long by, the next is too short by
	return Time{all / float64(n), uncertain / float64(n)}, high / all, true
}

// median is the middle one of some values, or the upper of the two in the middle.
func median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	return sorted[len(sorted)/2]
}
