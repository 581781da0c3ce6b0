package timing

import (
	"fmt"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/quantity"
	"chipassay/protocol"
	"chipassay/vectors/part"
)

type adapterAction = adapter.WatchAction

// periods are how many are timed: few of an oscillation that is divided by so much that one is averaged already.
func (b *bench) periods() int {
	if b.formula.Least > 10 {
		return 4
	}
	return 20
}

// oscillator sees that it runs, how fast, and that what gates it stops and starts it.
func (b *bench) oscillator() error {
	running := -1
	for n := range 1 << len(b.pins) {
		if b.x.Runs.Holds(b.levels(n)) {
			running = n
			break
		}
	}
	if running < 0 {
		return fmt.Errorf("the definition lets %s never oscillate", b.name(b.x.Output))
	}
	pin, on := b.x.Output, b.levels(running)
	until := min(dur(margin*float64(b.periods()+2)*b.most), b.longest())
	w, err := b.watch(pin, until, 2*b.periods()+3, b.act(0, on))
	if err != nil {
		return err
	}
	check := Check{What: "oscillation", Wants: "it runs", Saw: "it does not run"}
	period, duty, whole := periodOf(w.Edges)
	if !whole {
		if len(w.Edges) > 0 {
			check.Saw = fmt.Sprintf("%d edges in %s", len(w.Edges), quantity.Seconds(until.Seconds()))
		}
		b.r.Checks = append(b.r.Checks, check)
		b.r.NoPulses = len(w.Edges) < 2
		if !b.r.NoPulses {
			b.fails(part.PinSet(pin), "%s: %s", b.name(pin), check.Saw)
		}
		return nil
	}
	b.r.Pulse, b.r.Duty = &period, duty
	check.Pulse, check.Right = &period, true
	check.Saw = fmt.Sprintf("%s, %.0f %% of it high", quantity.Hertz(1/period.Seconds), 100*duty)
	if !b.within(period) {
		check.Right = false
		b.fails(part.PinSet(pin), "%s: period %s, the data sheet's formula gives %s to %s", b.name(pin), quantity.Seconds(period.Seconds), quantity.Seconds(b.least), quantity.Seconds(b.most))
	}
	if f := b.formula; duty < f.Duty[0]-0.01 || duty > f.Duty[1]+0.01 {
		check.Right = false
		b.fails(part.PinSet(pin), "%s: high for %.0f %% of the period, the data sheet gives %.0f to %.0f %%", b.name(pin), 100*duty, 100*f.Duty[0], 100*f.Duty[1])
	}
	b.r.Checks = append(b.r.Checks, check)
	for i := range b.pins {
		if off := b.levels(running ^ 1<<i); !b.x.Runs.Holds(off) {
			if err := b.gated(on, off, b.pins[i], period.Seconds); err != nil {
				return err
			}
		}
	}
	return nil
}

// longest is what one watch may take.
func (b *bench) longest() time.Duration { return 900 * time.Millisecond }

// gated stops the oscillation and starts it again.
func (b *bench) gated(on, off part.Pins, gate int, period float64) error {
	stop, start := dur(1.5*period), dur(4*period)
	w, err := b.watch(b.x.Output, dur(7*period), protocol.MostEdges, b.act(0, on), b.act(stop, off), b.act(start, on))
	if err != nil {
		return err
	}
	still := 0
	for _, e := range w.Edges {
		if e.At > w.Acted[1]+dur(0.6*period) && e.At < w.Acted[2] {
			still++
		}
	}
	again := len(after(w, w.Acted[2]))
	check := Check{What: b.describe(on, off), Wants: "it stops, and runs again after", Right: still == 0 && again > 1,
		Saw: fmt.Sprintf("%d edges while it should stand, %d after", still, again)}
	if !check.Right {
		b.fails(part.PinSet(b.x.Output, gate), "%s: at the %s it should stop, and run again after: %s", b.name(b.x.Output), check.What, check.Saw)
	}
	b.r.Checks = append(b.r.Checks, check)
	return nil
}

// periodOf gives the mean period, the first two edges left out, and how much of it is high; whole is false with too few edges.
func periodOf(edges []adapter.Edge) (period Time, duty float64, whole bool) {
	if len(edges) < 8 {
		return period, 0, false
	}
	edges = edges[2:]
	n := (len(edges) - 1) / 2
	first, last := edges[0], edges[2*n]
	all := width(first, last)
	high := 0.0
	for i := 0; i < 2*n; i++ {
		if edges[i].High {
			high += width(edges[i], edges[i+1]).Seconds
		}
	}
	return Time{all.Seconds / float64(n), all.Uncertainty / float64(n)}, high / all.Seconds, true
}
