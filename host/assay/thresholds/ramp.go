package thresholds

import (
	"cmp"
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
	mostRamps  = 3 // times as many, where their edges were seen late
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
	after  float64 // s, from the release to the sample of the converter; 0 where it was not measured
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
	if b.k, err = s.Constants(ctx); err != nil { // what is measured is by the reference from now on, and the rail too
		return Input{}, err
	}
	b.ground = m[0].Volts[v.GND()]
	in.SupplyVolts = m[0].Volts[v.VCC()] - b.ground
	if math.IsNaN(b.ground) {
		b.ground, in.SupplyVolts = 0, b.k.SupplyVolts
	}
	// Falling first: that shows how long after a release the converter samples.
	if in.Only != OnlyRising {
		if in.Falling, err = b.threshold(false); err != nil {
			return Input{}, err
		}
	}
	if in.Only != OnlyFalling {
		if in.Rising, err = b.threshold(true); err != nil {
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
	averaged, err := b.several(up, 1, ramping{averaging: averaging})
	if errors.Is(err, errUnmoved) && !up && !b.driven { // another family than marked: its input holds it up
		b.driven = true
		averaged, err = b.several(up, 1, ramping{averaging: averaging})
	}
	if err != nil {
		return Value{}, err
	}
	once, err := b.several(up, ramps, ramping{})
	if err != nil {
		return Value{}, err
	}
	if !up && b.driven {
		onward, err := b.several(up, ramps, ramping{onward: true})
		if err != nil {
			return Value{}, err
		}
		b.after = b.sampledAfter(middle(once), middle(onward), b.droop(middle(once), averaged[0], up))
	}
	return b.value(once, averaged[0], up), nil
}

// several makes some ramps whose edges were seen in time, and of more those that were seen best.
func (b *bench) several(up bool, count int, how ramping) (all []ramped, err error) {
	for n, seen := 0, 0; n < count*mostRamps && seen < count; n++ {
		r, err := b.ramp(up, how)
		if err != nil {
			return nil, err
		}
		all = append(all, r)
		if r.gap <= 2*adapter.WatchGap {
			seen++
		}
	}
	slices.SortStableFunc(all, func(a, b ramped) int { return cmp.Compare(a.gap, b.gap) })
	return all[:count], nil
}

// middle is the ramp of the median voltage.
func middle(all []ramped) ramped {
	all = slices.SortedStableFunc(slices.Values(all), func(a, b ramped) int { return cmp.Compare(a.volts, b.volts) })
	return all[len(all)/2]
}

// droop is what the input itself does to the released capacitor, V/s: the mean of eight conversions is three and a
// half of them later than the first.
func (b *bench) droop(once, averaged ramped, up bool) float64 {
	without, _ := b.atEdge(once, up, 0)
	longer, _ := b.atEdge(averaged, up, 0)
	return (longer - without) / (3.5 * b.ConversionTime(b.probe.Pin).Seconds())
}

// sampledAfter finds how long after the release the converter samples, s, which hangs on the adapter's program: a ramp that
// is not released goes on until then, and what it has gone further by than one that is says for how long. 0 where nothing
// fits.
func (b *bench) sampledAfter(released, onward ramped, droop float64) (after float64) {
	further := func(after float64) float64 {
		edge, _ := b.along(released.volts-droop*after, released.lag.Seconds(), false, droop)
		edgeOnward, _ := b.along(onward.volts, onward.lag.Seconds()+after, false, droop)
		return edge - edgeOnward
	}
	least, most := 0.0, mostAfter
	if further(least) < 0 || further(most) > 0 {
		return 0
	}
	for range 40 {
		if half := (least + most) / 2; further(half) > 0 {
			least = half
		} else {
			most = half
		}
	}
	return least
}

// mostAfter, s, is longer than any adapter takes from a halt to the sample.
const mostAfter = 150e-6

// untilSample is how long after the release the converter samples, and how far off that may be, s.
func (b *bench) untilSample() (after, off float64) {
	if b.after == 0 {
		after = usuallyAfter(b, b.probe.Pin).Seconds()
		return after, after
	}
	return b.after, 2e-6
}

// value is the threshold by ramps that were measured once each, and by one that was averaged.
func (b *bench) value(once []ramped, averaged ramped, up bool) Value {
	middle := middle(once)
	droop := b.droop(middle, averaged, up)
	var volts []float64
	for _, r := range once {
		v, _ := b.atEdge(r, up, droop)
		volts = append(volts, v)
	}
	_, slope := b.atEdge(middle, up, droop)
	slices.Sort(volts)
	v := volts[len(volts)/2]
	_, off := b.untilSample()
	scatter := (volts[len(volts)-1] - volts[0]) / 2 // most of it is when the edges came in their gaps
	return Value{
		Volts: v - b.ground,
		Uncertainty: converterVolts + math.Abs(droop)*off + capacitors*math.Abs(v-middle.volts) +
			max(slope*middle.off.Seconds(), scatter),
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
	gap      time.Duration // in which the edge came
}

// ramping is how a ramp ends: measured once or averaged; and released at the edge, or driven onward.
type ramping struct {
	averaging int
	onward    bool
}

// releasedBefore is how long before the halt's reported time a driven pin is released, and how far
// off that is: the program of the MCU releases it 3 to 6 cycles before the time that it gives
// (firmware/board/atmega2560/acts.c), the virtual adapter at that time.
const releasedBefore = 200 * time.Nanosecond

// ramp makes the input rise or fall until the output changes.
func (b *bench) ramp(up bool, how ramping) (ramped, error) {
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
	halt := &adapter.WatchAction{Step: released}
	if how.onward {
		halt.Step = p.to
	}
	until := time.Duration(longRamp * b.k.BiasOhms * b.farads * float64(time.Second)).Round(time.Microsecond)
	w, err := b.Watch(b.ctx, adapter.Watch{
		Pin: b.probe.Output, Until: min(until, mostRamp), Measure: b.probe.Pin, Averaging: how.averaging,
		Actions: []adapter.WatchAction{action}, Halt: halt,
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
	r := ramped{w.Volts, w.Acted[len(w.Acted)-1] - edge.At + edge.Gap/2, edge.Gap / 2, edge.Gap}
	if !up && b.driven && !how.onward {
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
	after, _ := b.untilSample()
	return b.along(r.volts-droop*after, r.lag.Seconds(), up, droop)
}

// along goes back along a ramp, by so many seconds, from the voltage at its end; the input's own current, which makes the
// droop after a release, flows meanwhile too.
func (b *bench) along(end, lag float64, up bool, droop float64) (volts, slope float64) {
	ohms, towards := b.k.BiasOhms, 0.0
	switch {
	case up:
		towards = b.k.SupplyVolts
	case b.driven: // against the bias, which is weak
		ohms = b.k.DriveOhms
	}
	constant := ohms * b.farads
	towards += droop * constant
	volts = towards + (end-towards)*math.Exp(lag/constant)
	return volts, math.Abs(volts-towards) / constant
}
