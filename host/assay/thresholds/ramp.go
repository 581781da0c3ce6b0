package thresholds

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

const (
	ramps      = 5 // each way; their median counts
	longRamp   = 4 // time constants
	mostRamp   = 450 * time.Millisecond
	averaging  = 3    // 2^3 conversions, by which the droop shows
	capacitors = 0.05 // what the value may be off
)

// A bench measures one input of a powered chip.
type bench struct {
	Socket
	ctx    context.Context
	k      adapter.Constants
	probe  Probe
	farads float64
	driven bool    // down through the drive
	ground float64 // V, of the chip's own ground
}

// Measure measures an input that has a capacitor, of the powered chip. Then the capacitor is
// discharged.
func Measure(ctx context.Context, s Socket, t part.Type, p Probe, farads float64) (in Input, err error) {
	b := bench{Socket: s, ctx: ctx, probe: p, farads: farads, driven: t.Family.Technology.Bipolar() || t.Family.Technology == part.Darlington}
	if b.k, err = s.Constants(ctx); err != nil {
		return Input{}, err
	}
	v := t.Variant
	shown := p.rises
	in = Input{Pin: p.Pin, Output: p.Output, Schmitt: v.Pins[p.Pin-1].Schmitt, Farads: farads, Ramps: ramps}
	switch {
	case p.falls.none():
		in.Only = OnlyRising
	case p.rises.none():
		in.Only, shown = OnlyFalling, p.falls
	}
	in.Inverts = shownHigh(shown.from, p.Output) != (in.Only == OnlyFalling)
	supplies := adapter.MeasureStep{Step: shown.from, Bias: b.bias(false), Settle: b.hold(), Pins: part.PinSet(v.VCC(), v.GND()), Averaging: 4}
	m, err := s.Measure(ctx, []adapter.MeasureStep{supplies})
	if err != nil {
		return Input{}, err
	}
	b.ground = m[0].Volts[v.GND()]
	in.SupplyVolts = m[0].Volts[v.VCC()] - b.ground
	if math.IsNaN(b.ground) {
		b.ground, in.SupplyVolts = 0, b.k.SupplyVolts
	}
	if in.Only != OnlyFalling {
		if in.Rising, err = b.threshold(true); err != nil {
			return Input{}, err
		}
	}
	if in.Only != OnlyRising {
		if in.Falling, err = b.threshold(false); err != nil {
			return Input{}, err
		}
	}
	in.Limits, in.Limited = t.Schmitt(in.SupplyVolts)
	in.Limited = in.Limited && in.Schmitt
	low := shown.from
	low.Drive = low.Drive.With(p.Pin, false)
	_, err = s.Measure(ctx, []adapter.MeasureStep{{Step: low, Bias: adapter.Low, Settle: b.hold()}})
	return in, err
}

// hold is how long the drive takes to charge or discharge the capacitor.
func (b *bench) hold() time.Duration { return settled(b.k.DriveOhms * b.farads) }

// bias is the bias of a ramp: the output is pulled up, should it only pull low.
func (b *bench) bias(up bool) adapter.Pull {
	return adapter.PullUp(part.PinSet(b.probe.Output).With(b.probe.Pin, up))
}

// threshold measures where the output follows, as the input rises or falls.
func (b *bench) threshold(up bool) (Value, error) {
	averaged, err := b.ramp(up, averaging)
	if errors.Is(err, errUnmoved) && !up && !b.driven { // another family than marked: its input holds it up
		b.driven = true
		averaged, err = b.ramp(up, averaging)
	}
	if err != nil {
		return Value{}, err
	}
	var once []ramped
	for range ramps {
		r, err := b.ramp(up, 0)
		if err != nil {
			return Value{}, err
		}
		once = append(once, r)
	}
	return b.value(once, averaged, up), nil
}

// value is the threshold by ramps that were measured once each, and by one that was averaged.
func (b *bench) value(once []ramped, averaged ramped, up bool) Value {
	slices.SortFunc(once, func(a, b ramped) int { return int(math.Copysign(1, a.volts-b.volts)) })
	middle := once[len(once)/2]
	// Droop: the mean of eight conversions is three and a half of them later than the first.
	later := 3.5 * b.ConversionTime(b.probe.Pin).Seconds()
	without, _ := b.atEdge(middle, up, 0)
	longer, _ := b.atEdge(averaged, up, 0)
	droop := (longer - without) / later // V/s
	var volts []float64
	for _, r := range once {
		v, _ := b.atEdge(r, up, droop)
		volts = append(volts, v)
	}
	_, slope := b.atEdge(middle, up, droop)
	slices.Sort(volts)
	v := volts[len(volts)/2]
	after := measuredAfter(b, b.probe.Pin).Seconds()
	return Value{
		Volts: v - b.ground,
		Uncertainty: converterVolts + math.Abs(droop)*after/2 + capacitors*math.Abs(v-middle.volts) +
			slope*middle.off.Seconds() + (volts[len(volts)-1]-volts[0])/2,
	}
}

// converterVolts are two steps of the converter.
const converterVolts = 0.01

// errUnmoved is the error of an output that did not follow.
var errUnmoved = errors.New("does not change")

// A ramped is one ramp.
type ramped struct {
	volts    float64
	lag, off time.Duration // from the edge to the release, and how far off that may be
}

// releasedBefore is how long before the halt's reported time a driven pin is released, and how far
// off that is: the program of the MCU releases it 3 to 6 cycles before the time that it gives
// (firmware/board/atmega2560/acts.c), the virtual adapter at that time.
const releasedBefore = 200 * time.Nanosecond

// ramp makes the input rise or fall until the output changes.
func (b *bench) ramp(up bool, averaging int) (ramped, error) {
	p, way := b.probe.rises, "rises"
	if !up {
		p, way = b.probe.falls, "falls"
	}
	if err := b.lead(p, b.bias(up)); err != nil {
		return ramped{}, err
	}
	released := p.to
	released.Driven = p.to.Driven.With(b.probe.Pin, false)
	action := adapter.WatchAction{Step: released, Bias: b.bias(up)}
	if !up && b.driven {
		action.Step = p.to
	}
	until := time.Duration(longRamp * b.k.BiasOhms * b.farads * float64(time.Second)).Round(time.Microsecond)
	w, err := b.Watch(b.ctx, adapter.Watch{
		Pin: b.probe.Output, Until: min(until, mostRamp), Measure: b.probe.Pin, Averaging: averaging,
		Actions: []adapter.WatchAction{action}, Halt: &adapter.WatchAction{Step: released},
	})
	switch {
	case err != nil:
		return ramped{}, err
	case w.Begin != shownHigh(p.from, b.probe.Output):
		return ramped{}, fmt.Errorf("the output at pin %d is not at its level before pin %d %s", b.probe.Output, b.probe.Pin, way)
	case len(w.Edges) == 0 || len(w.Acted) < 2:
		return ramped{}, fmt.Errorf("the output at pin %d %w while pin %d %s, to %.2f V", b.probe.Output, errUnmoved, b.probe.Pin, way, w.Volts)
	}
	edge := w.Edges[len(w.Edges)-1]
	r := ramped{w.Volts, w.Acted[len(w.Acted)-1] - edge.At + edge.Gap/2, edge.Gap / 2}
	if !up && b.driven {
		r.lag, r.off = r.lag-releasedBefore, r.off+releasedBefore
	}
	return r, nil
}

// lead takes the chip to where a passage begins, each time that the input changes until the drive has
// charged the capacitor.
func (b *bench) lead(p passage, bias adapter.Pull) error {
	stretch, level := 0, false
	flush := func(to int, settle time.Duration) error {
		if to == stretch {
			return nil
		}
		_, err := b.ApplySettling(b.ctx, p.before[stretch:to], bias, settle)
		stretch = to
		return err
	}
	for i, st := range p.before {
		if high := st.Drive.Has(b.probe.Pin); i == 0 || high != level || !st.Driven.Has(b.probe.Pin) {
			if err := errors.Join(flush(i, adapter.DefaultSettle), flush(i+1, b.hold())); err != nil {
				return err
			}
			level = high
		}
	}
	if err := flush(len(p.before), adapter.DefaultSettle); err != nil {
		return err
	}
	_, err := b.Measure(b.ctx, []adapter.MeasureStep{{Step: p.from, Bias: bias, Settle: b.hold()}})
	return err
}

// atEdge is the voltage when the output changed, by that which was measured later: the capacitor
// went on to charge until the release, and then drooped, V/s, by what the input itself draws. The slope is that of the ramp there, V/s.
func (b *bench) atEdge(r ramped, up bool, droop float64) (volts, slope float64) {
	released := r.volts - droop*measuredAfter(b, b.probe.Pin).Seconds()
	ohms, end := b.k.BiasOhms, 0.0
	switch {
	case up:
		end = b.k.SupplyVolts
	case b.driven: // against the bias, which is weak
		ohms = b.k.DriveOhms
	}
	constant := ohms * b.farads
	end += droop * constant
	volts = end + (released-end)*math.Exp(r.lag.Seconds()/constant)
	return volts, math.Abs(volts-end) / constant
}
