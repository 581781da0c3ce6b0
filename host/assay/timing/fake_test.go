package timing

import (
	"context"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// A fakeChip is section 1 of a 74123, by its function table (SN74123, Texas Instruments) and nothing else: what times it is a number. Positions
// are pins here. Nothing of the virtual adapter is in it.
type fakeChip struct {
	pulse             float64       // s
	holds             bool          // not retriggered
	clearLate         float64       // s
	deadTrigger       int           // pin
	alsoOnRise        int           // pin whose other edge triggers too
	stuck             int           // output
	complementFactor  float64       // of the complement's pulse; 0 for 1
	late              time.Duration // of each action after its time
	gap               time.Duration // of each edge
	supply            float64       // V; 0 for the rail's
	watched           []adapter.Watch
	period, highShare float64 // of an oscillator that runs while pin 3 is high, at 1Q
	slow              float64 // its period with pin 2 low, as a factor; 0: it stops
	ungated           bool
	dead              bool // no trigger does anything
	missed            int  // so many watches that would show a pulse show none
	stuckInput        int  // pin that the chip takes as always high, or low
	stuckHigh         bool
	lateOutput        int     // pin that follows so late, both ways
	lateBy            float64 // s
	oldFirmware       bool    // what an action changes may be some 10 µs apart
}

const (
	pinA, pinB, pinCLR, pinNotQ, pinQ = 1, 2, 3, 4, 13
)

func (f *fakeChip) Constants(context.Context) (adapter.Constants, error) {
	return adapter.Constants{BiasOhms: 10e3, DriveOhms: 140, SupplyVolts: 5}, nil
}

func (f *fakeChip) SupplyVolts(context.Context) (float64, error) {
	if f.supply == 0 {
		return 5, nil
	}
	return f.supply, nil
}

func (f *fakeChip) Can() adapter.Abilities { return adapter.Abilities{} }

func (f *fakeChip) ProbeWatch(context.Context, adapter.Watch) (adapter.Watched, error) {
	panic("the capacitor is not measured here")
}

func (f *fakeChip) ProbeMeasure(context.Context, []adapter.MeasureStep) ([]adapter.Measured, error) {
	panic("the capacitor is not measured here")
}

// Watch makes the actions and gives the edges of one output.
func (f *fakeChip) Watch(_ context.Context, w adapter.Watch) (adapter.Watched, error) {
	f.watched = append(f.watched, w)
	got := adapter.Watched{Within: time.Microsecond}
	if f.oldFirmware {
		got.Within = 0
	}
	for _, a := range w.Actions {
		at := a.At
		if len(got.Acted) > 0 {
			at = max(a.At+f.late, got.Acted[len(got.Acted)-1]+f.late)
		}
		got.Acted = append(got.Acted, at)
	}
	var changes []change
	if f.period > 0 {
		changes = f.oscillation(w, got.Acted)
	} else {
		changes = f.pulses(w, got.Acted)
	}
	if w.Pin == pinNotQ {
		for i := range changes {
			changes[i].high = !changes[i].high
		}
	}
	for _, c := range changes {
		if w.Pin == f.lateOutput {
			c.at += f.lateBy
		}
		if at := time.Duration(c.at * 1e9); at < w.Until && len(got.Edges) < w.Edges && w.Pin != f.stuck {
			got.Edges = append(got.Edges, adapter.Edge{At: at + f.gap, Gap: f.gap, High: c.high})
			got.End = c.high
		}
	}
	if len(got.Edges) == w.Edges { // which ends it
		got.Acted = slices.DeleteFunc(got.Acted, func(at time.Duration) bool { return at > got.Edges[w.Edges-1].At })
	}
	if len(got.Edges) == 0 {
		got.End = w.Pin == pinNotQ
	}
	return got, nil
}

type change struct {
	at   float64 // s
	high bool
}

// pulses is 1Q of the monostable.
func (f *fakeChip) pulses(w adapter.Watch, acted []time.Duration) (changes []change) {
	begin, end := -1.0, -1.0
	level := func(i, pin int) bool {
		if pin == f.stuckInput {
			return f.stuckHigh
		}
		return w.Actions[i].Step.Drive.Has(pin)
	}
	length := f.pulse
	if w.Pin == pinNotQ && f.complementFactor != 0 {
		length *= f.complementFactor
	}
	for i := 1; i < len(acted); i++ {
		at := acted[i].Seconds()
		edge := func(pin int, rise bool) bool {
			return level(i, pin) == rise && level(i-1, pin) != rise && (pin != f.deadTrigger)
		}
		a, b, clr := level(i, pinA), level(i, pinB), level(i, pinCLR)
		fires := edge(pinA, false) && b && clr || edge(pinB, true) && !a && clr || edge(pinCLR, true) && !a && b
		if f.alsoOnRise != 0 && edge(f.alsoOnRise, true) && b && clr {
			fires = true
		}
		switch on := begin >= 0 && at < end; {
		case !clr && on:
			end = min(end, at+f.clearLate)
		case fires && on && !f.holds:
			end = at + length
		case fires && !on:
			if begin >= 0 {
				changes = append(changes, change{begin, true}, change{end, false})
			}
			begin, end = at, at+length
		}
	}
	if begin >= 0 {
		changes = append(changes, change{begin, true}, change{end, false})
	}
	switch {
	case f.dead:
		return nil
	case len(changes) > 0 && f.missed > 0:
		f.missed--
		return nil
	}
	return changes
}

// oscillation is 1Q of an oscillator that runs while CLR is high.
func (f *fakeChip) oscillation(w adapter.Watch, acted []time.Duration) (changes []change) {
	for i, a := range w.Actions {
		until := w.Until.Seconds()
		if i+1 < len(acted) {
			until = acted[i+1].Seconds()
		}
		period := f.period
		if w.Pin == pinNotQ && f.complementFactor != 0 {
			period *= f.complementFactor
		}
		if !a.Step.Drive.Has(pinB) {
			period *= f.slow
		}
		if !a.Step.Drive.Has(pinCLR) && !f.ungated || period == 0 {
			if n := len(changes); n > 0 && changes[n-1].high {
				changes = append(changes, change{acted[i].Seconds(), false})
			}
			continue
		}
		for at := acted[i].Seconds(); at < until && len(changes) < 200; at += period {
			changes = append(changes, change{at, true})
			if at+f.highShare*period < until {
				changes = append(changes, change{at + f.highShare*period, false})
			}
		}
	}
	return slices.CompactFunc(changes, func(a, b change) bool { return a.high == b.high })
}

var _ Socket = (*fakeChip)(nil)

// pins123 are the pins of a 74123's section that the fake knows.
var pins123 = part.PinSet(pinA, pinB, pinCLR)
