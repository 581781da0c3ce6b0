// Package thresholds measures at which voltages the inputs of a powered chip switch. A capacitor
// at the input, clipped to the side header, makes its voltage a ramp: up through the bias, down
// through the bias or, where an input gives more current than the bias takes, through the drive. The
// adapter releases the pin the moment the output changes and measures the voltage that the
// capacitor holds (protocol/SPEC.md, WATCH). Limits are those of the Schmitt triggers' data sheets
// (vectors/part, schmitt.go), and of the other inputs VIL and VIH of their family.
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
	"chipassay/vectors/stimulus"
)

// A Socket is a chip's place in an adapter that watches. *adapter.Seat is one.
type Socket interface {
	Can() adapter.Abilities
	Watch(ctx context.Context, w adapter.Watch) (adapter.Watched, error)
	ProbeWatch(ctx context.Context, w adapter.Watch) (adapter.Watched, error)
	Measure(ctx context.Context, steps []adapter.MeasureStep) ([]adapter.Measured, error)
	Constants(ctx context.Context) (adapter.Constants, error)
	ConversionTime(pin int) time.Duration
}

// A Request is what is to be measured, and with what.
type Request struct {
	Farads float64 // of the capacitor, as it is marked
	All    bool    // every input, not only those with Schmitt triggers and one of each gate
	// Clip has the capacitor clipped between a pin and ground, or taken off where pin is 0. The
	// supply is off.
	Clip func(ctx context.Context, pin int) error
}

// Farads that make a ramp which is slow enough, and not too slow.
const (
	LeastFarads = 90e-9
	MostFarads  = 11e-6
)

// Cautions are what a person must know who clips a capacitor to a pin.
var Cautions = []string{
	"the supply is off while you clip: do not clip or unclip while the lamp of the supply is lit",
	"discharge the capacitor before you clip it: short its leads",
	"an electrolytic has its plus at the input's pin, and its minus at ground",
}

// A Value is a measured voltage.
type Value struct{ Volts, Uncertainty float64 }

// An Input is what was measured at one input.
type Input struct {
	Pin, Output     int
	Schmitt         bool
	Inverts         bool // the output falls as the input rises
	Farads          float64
	SupplyVolts     float64
	Rising, Falling Value // where the output follows as the input rises, and as it falls
	Ramps           int   // each way
	Limits          part.SchmittLimits
	Limited         bool // there are Limits
}

// Hysteresis is the difference of the two thresholds. What both have of the converter's
// error in common is in neither's favour.
func (in Input) Hysteresis() Value {
	return Value{in.Rising.Volts - in.Falling.Volts, in.Rising.Uncertainty + in.Falling.Uncertainty}
}

// A probe is how an input is shown at an output.
type probe struct {
	pin, output int
	low, high   stimulus.Step // which differ in the input alone
}

// Inputs are the pins that a request measures, ascending, and in words why others are not.
func Inputs(t part.Type, steps []stimulus.Step, all bool) (pins []int, unmeasured []string) {
	probes, unmeasured := probesOf(t, steps, all)
	for _, p := range probes {
		pins = append(pins, p.pin)
	}
	return pins, unmeasured
}

// searched bounds how many steps are looked at.
const searched = 1 << 16

// probesOf finds for each input two steps that differ in it alone, and an output that differs
// in them. A part that remembers does not go back when its input does.
func probesOf(t part.Type, steps []stimulus.Step, all bool) (probes []probe, unmeasured []string) {
	v := t.Variant
	if len(v.Logic.Registers) > 0 {
		return nil, []string{"input thresholds: the part remembers, so no output follows an input both ways"}
	}
	type key struct{ driven, drive part.Pins }
	at := map[key]int{}
	steps = steps[:min(len(steps), searched)]
	for i, st := range steps {
		at[key{st.Driven, st.Drive}] = i
	}
	gates := map[string]bool{}
	for _, pin := range v.Pins {
		gate := v.GateOf(pin.Number)
		if pin.Role != part.Input || pin.Tied != part.NotTied || pin.Untested != "" || !all && !pin.Schmitt && gates[gate] {
			continue
		}
		found := false
		for _, st := range steps {
			if !st.Driven.Has(pin.Number) || st.Drive.Has(pin.Number) {
				continue
			}
			j, ok := at[key{st.Driven, st.Drive.With(pin.Number, true)}]
			if !ok {
				continue
			}
			if out := shownAt(v, st, steps[j]); out != 0 {
				probes, found = append(probes, probe{pin.Number, out, st, steps[j]}), true
				gates[gate] = true
				break
			}
		}
		if !found && (pin.Schmitt || all) {
			unmeasured = append(unmeasured, fmt.Sprintf("thresholds of %v: no two vectors show it alone", &pin))
		}
	}
	return probes, unmeasured
}

// shownAt is an output that differs in two steps, one that drives both ways where there is one.
func shownAt(v *part.Variant, low, high stimulus.Step) (pin int) {
	level := func(st stimulus.Step, pin int) bool { return st.High.Has(pin) || st.Z.Has(pin) } // the bias pulls it up
	for out := range (low.Compared & high.Compared).All() {
		if p := v.Pins[out-1]; level(low, out) != level(high, out) && p.Role == part.Output && p.Stage != part.OpenEmitter {
			if p.Stage == part.TotemPole {
				return out
			}
			pin = out
		}
	}
	return pin
}

// ErrCapacitor is the error of a capacitor that is not there, or not as marked.
var ErrCapacitor = errors.New("the capacitor is not as it should be")

// Capacitor measures the capacitor at a pin before power, F: the bias charges it to so little
// that no junction of the chip conducts.
func Capacitor(ctx context.Context, s Socket, pin, pins int, marked float64) (farads float64, err error) {
	k, err := s.Constants(ctx)
	if err != nil {
		return 0, err
	}
	position := adapter.PositionOf(pin, pins)
	here := part.PinSet(position)
	discharge := settled(k.DriveOhms * marked)
	charge := time.Duration(chargedPart * k.BiasOhms * marked * float64(time.Second)).Round(time.Microsecond)
	other := 1 // a position that nothing drives, whose edges do not count
	if position == other {
		other = 2
	}
	w, err := s.ProbeWatch(ctx, adapter.Watch{
		Pin: other, Measure: position, Until: discharge + charge,
		Actions: []adapter.WatchAction{
			{Step: stimulus.Step{Driven: here}, Bias: adapter.PullUp(here)}, // the bias is there already, so that it drives at once
			{At: discharge, Bias: adapter.PullUp(here)},
		},
	})
	switch {
	case err != nil:
		return 0, err
	case len(w.Acted) != 2:
		return 0, fmt.Errorf("%w: the adapter did not release pin %d", ErrCapacitor, pin)
	}
	// The first conversion is some µs after the end.
	elapsed := (discharge + charge - w.Acted[1] + measuredAfter(s, pin)).Seconds()
	begin := k.SupplyVolts * k.DriveOhms / (k.DriveOhms + k.BiasOhms) // held against the bias
	rest := (k.SupplyVolts - w.Volts) / (k.SupplyVolts - begin)
	if w.Volts-begin < leastCharge || rest <= 0 {
		return math.Inf(1), fmt.Errorf("%w: pin %d stays at %.2f V: it is shorted to ground, or far larger than marked", ErrCapacitor, pin, w.Volts)
	}
	farads = -elapsed / (k.BiasOhms * math.Log(rest))
	if farads < marked/2 || farads > 2*marked {
		return farads, fmt.Errorf("%w: pin %d has %.3g µF to ground, not %.3g µF: is it clipped to the right pin, and the other lead to ground?", ErrCapacitor, pin, 1e6*farads, 1e6*marked)
	}
	return farads, nil
}

const (
	chargedPart = 0.06 // of the time constant: 0.3 V
	leastCharge = 0.05 // V, five steps of the converter
)

// settled is ten time constants, s, in whole µs.
func settled(constant float64) time.Duration {
	return time.Duration(10*constant*float64(time.Second)).Round(time.Microsecond) + time.Microsecond
}

// measuredAfter is how long after the end of a watch the voltage is sampled: a near converter 6 µs
// (firmware/README.md, Edges), a far one in the middle of its conversion.
func measuredAfter(s Socket, pin int) time.Duration {
	return max(6*time.Microsecond, s.ConversionTime(pin)/2-7*time.Microsecond)
}

const (
	ramps      = 5 // each way; their median counts
	longRamp   = 4 // time constants
	mostRamp   = 450 * time.Millisecond
	averaged   = 3    // 2^3 conversions, by which the droop shows
	capacitors = 0.05 // what the value may be off
)

// A bench measures one input of a powered chip.
type bench struct {
	Socket
	ctx    context.Context
	k      adapter.Constants
	probe  probe
	farads float64
	driven bool    // down through the drive
	ground float64 // V, of the chip's own ground
}

// Measure measures an input that has a capacitor, of the powered chip. Then the capacitor is
// discharged.
func Measure(ctx context.Context, s Socket, t part.Type, steps []stimulus.Step, pin int, farads float64) (in Input, err error) {
	probes, _ := probesOf(t, steps, true)
	at := slices.IndexFunc(probes, func(p probe) bool { return p.pin == pin })
	if at < 0 {
		return Input{}, fmt.Errorf("no two vectors show pin %d alone", pin)
	}
	b := bench{Socket: s, ctx: ctx, probe: probes[at], farads: farads, driven: t.Family.Technology.Bipolar() || t.Family.Technology == part.Darlington}
	if b.k, err = s.Constants(ctx); err != nil {
		return Input{}, err
	}
	v := t.Variant
	in = Input{Pin: pin, Output: b.probe.output, Schmitt: v.Pins[pin-1].Schmitt, Farads: farads, Ramps: ramps}
	in.Inverts = b.probe.low.High.Has(in.Output) || b.probe.low.Z.Has(in.Output)
	supplies := adapter.MeasureStep{Step: b.probe.low, Bias: b.bias(false), Settle: b.hold(), Pins: part.PinSet(v.VCC(), v.GND()), Averaging: 4}
	m, err := s.Measure(ctx, []adapter.MeasureStep{supplies})
	if err != nil {
		return Input{}, err
	}
	b.ground = m[0].Volts[v.GND()]
	in.SupplyVolts = m[0].Volts[v.VCC()] - b.ground
	if math.IsNaN(b.ground) {
		b.ground, in.SupplyVolts = 0, b.k.SupplyVolts
	}
	if in.Rising, err = b.threshold(true); err != nil {
		return Input{}, err
	}
	if in.Falling, err = b.threshold(false); err != nil {
		return Input{}, err
	}
	in.Limits, in.Limited = t.Schmitt(in.SupplyVolts)
	in.Limited = in.Limited && in.Schmitt
	discharged := adapter.MeasureStep{Step: b.probe.low, Bias: adapter.Low, Settle: b.hold()}
	_, err = s.Measure(ctx, []adapter.MeasureStep{discharged})
	return in, err
}

// hold is how long the drive takes to charge or discharge the capacitor.
func (b *bench) hold() time.Duration { return settled(b.k.DriveOhms * b.farads) }

// bias is the bias of a ramp: the output is pulled up, should it only pull low.
func (b *bench) bias(up bool) adapter.Pull {
	return adapter.PullUp(part.PinSet(b.probe.output).With(b.probe.pin, up))
}

// threshold measures where the output follows, as the input rises or falls.
func (b *bench) threshold(up bool) (Value, error) {
	averaged, err := b.ramp(up, averaged)
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
	slices.SortFunc(once, func(a, b ramped) int { return int(math.Copysign(1, a.volts-b.volts)) })
	middle := once[len(once)/2]
	// Droop: the mean of eight conversions is three and a half of them later than the first.
	later := 3.5 * b.ConversionTime(b.probe.pin).Seconds()
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
	after := measuredAfter(b, b.probe.pin).Seconds()
	return Value{
		Volts: v - b.ground,
		Uncertainty: converterVolts + math.Abs(droop)*after/2 + capacitors*math.Abs(v-middle.volts) +
			slope*middle.off.Seconds() + (volts[len(volts)-1]-volts[0])/2,
	}, nil
}

// converterVolts are two steps of the converter.
const converterVolts = 0.01

// A ramped is one ramp.
type ramped struct {
	volts    float64
	lag, off time.Duration // from the edge to the release, and how far off that may be
}

// releasedBefore is how long before the halt's reported time a driven pin is released, and how far
// off that is: the program of the MCU releases it up to 2.4 µs before it reads its clock
// (firmware/board/atmega2560/edges.c), the virtual adapter at once.
const releasedBefore = 1200 * time.Nanosecond

// ramp makes the input rise or fall until the output changes.
func (b *bench) ramp(up bool, averaging int) (ramped, error) {
	from, to := b.probe.low, b.probe.high
	if !up {
		from, to = to, from
	}
	held := adapter.MeasureStep{Step: from, Bias: b.bias(up), Settle: b.hold()}
	if _, err := b.Measure(b.ctx, []adapter.MeasureStep{held}); err != nil {
		return ramped{}, err
	}
	released := to
	released.Driven = to.Driven.With(b.probe.pin, false)
	action := adapter.WatchAction{Step: released, Bias: b.bias(up)}
	if !up && b.driven {
		action.Step = to
	}
	until := time.Duration(longRamp * b.k.BiasOhms * b.farads * float64(time.Second)).Round(time.Microsecond)
	w, err := b.Watch(b.ctx, adapter.Watch{
		Pin: b.probe.output, Until: min(until, mostRamp), Measure: b.probe.pin, Averaging: averaging,
		Actions: []adapter.WatchAction{action}, Halt: &adapter.WatchAction{Step: released},
	})
	if err != nil {
		return ramped{}, err
	}
	if len(w.Edges) == 0 || len(w.Acted) < 2 {
		way := "rises"
		if !up {
			way = "falls"
		}
		return ramped{}, fmt.Errorf("the output at pin %d does not change while pin %d %s, to %.2f V", b.probe.output, b.probe.pin, way, w.Volts)
	}
	edge := w.Edges[len(w.Edges)-1]
	r := ramped{w.Volts, w.Acted[len(w.Acted)-1] - edge.At + edge.Gap/2, edge.Gap / 2}
	if !up && b.driven {
		r.lag, r.off = r.lag-releasedBefore, r.off+releasedBefore
	}
	return r, nil
}

// atEdge is the voltage when the output changed, by that which was measured later: the capacitor
// went on to charge until the release, and then drooped, V/s, by what the input itself draws. The slope is that of the ramp there, V/s.
func (b *bench) atEdge(r ramped, up bool, droop float64) (volts, slope float64) {
	released := r.volts - droop*measuredAfter(b, b.probe.pin).Seconds()
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
