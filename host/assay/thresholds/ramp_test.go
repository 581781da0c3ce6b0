package thresholds

import (
	"context"
	"math"
	"strings"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// scripted is a socket that notes how long each step waited, and answers a watch.
type scripted struct {
	near
	waited []time.Duration
	watch  adapter.Watched
	asked  adapter.Watch
}

func (s *scripted) ApplySettling(_ context.Context, steps []stimulus.Step, _ adapter.Pull, settle time.Duration) ([]part.Pins, error) {
	for range steps {
		s.waited = append(s.waited, settle)
	}
	return make([]part.Pins, len(steps)), nil
}

func (s *scripted) Measure(_ context.Context, steps []adapter.MeasureStep) ([]adapter.Measured, error) {
	for _, st := range steps {
		s.waited = append(s.waited, st.Settle)
	}
	return make([]adapter.Measured, len(steps)), nil
}

func (s *scripted) Watch(_ context.Context, w adapter.Watch) (adapter.Watched, error) {
	s.asked = w
	return s.watch, nil
}

// step drives pins 1 and 2, those of up high; output 3 is high or low.
func step(high bool, up ...int) stimulus.Step {
	return stimulus.Step{Driven: part.PinSet(1, 2), Drive: part.PinSet(up...), Compared: part.PinSet(3), High: part.Pins(0).With(3, high)}
}

func scriptedBench(s *scripted, bipolar bool) *bench {
	p := passage{before: []stimulus.Step{step(false), step(false, 2), step(false, 1, 2), step(false, 2), step(false)}, from: step(false, 1), to: step(true)}
	return &bench{
		Socket: s, ctx: context.Background(), probe: Probe{Pin: 1, Output: 3, falls: p}, farads: 1e-6, driven: bipolar,
		k: adapter.Constants{SupplyVolts: 5, BiasOhms: 10_000, DriveOhms: 145},
	}
}

// On the way to a ramp of pin 1 each step that changes it waits until 1 µF is charged, ten times 145 Ω × 1 µF, and so do the
// first step and the one where the ramp begins; the others wait as usual.
func TestStepsBeforeARampChargeTheCapacitor(t *testing.T) {
	s := &scripted{}
	if err := func() error { b := scriptedBench(s, false); return b.lead(b.probe.falls, adapter.Low) }(); err != nil {
		t.Fatal(err)
	}
	const usual, charged = adapter.DefaultSettle, 1450 * time.Microsecond
	for i, want := range []time.Duration{charged, usual, charged, charged, usual, charged} {
		if len(s.waited) != 6 || s.waited[i] < want || s.waited[i] > want+5*time.Microsecond {
			t.Fatalf("the steps waited %v", s.waited)
		}
	}
}

// A ramp down is by the bias of a MOS input, by the drive of a bipolar one, and either way the pin is released at the
// edge. Its edge was half the gap sooner than it was seen; the drive's release sooner than its time is read.
func TestRampsAndTheirEdges(t *testing.T) {
	for _, bipolar := range []bool{false, true} {
		s := &scripted{watch: adapter.Watched{Acted: []time.Duration{0, 2009 * time.Microsecond}, Volts: 2.2, Edges: []adapter.Edge{{At: 2000 * time.Microsecond, Gap: time.Microsecond, High: true}}}}
		r, err := scriptedBench(s, bipolar).ramp(false, ramping{})
		lag := 9500 * time.Nanosecond
		if bipolar {
			lag -= releasedBefore
		}
		if err != nil || r.lag != lag || r.volts != 2.2 {
			t.Errorf("bipolar %v: %+v, %v", bipolar, r, err)
		}
		if action := s.asked.Actions[0]; action.Driven.Has(1) != bipolar || action.Drive.Has(1) || action.Bias.Up.Has(1) {
			t.Errorf("bipolar %v: the ramp is %+v", bipolar, action)
		}
		if h := s.asked.Halt; h == nil || h.Driven.Has(1) || h.Bias.On || !h.Driven.Has(2) {
			t.Errorf("bipolar %v: the halt is %+v", bipolar, h)
		}
	}
}

// What shows no threshold is an error that says why, and no value.
func TestRampsThatShowNothing(t *testing.T) {
	for words, w := range map[string]adapter.Watched{
		"does not change while pin 1 falls, to 0.10 V": {Acted: []time.Duration{0}, Volts: 0.1},
		"is not at its level before pin 1 falls":       {Begin: true, Acted: []time.Duration{0, 9}, Edges: []adapter.Edge{{At: 5}}},
	} {
		if r, err := scriptedBench(&scripted{watch: w}, false).ramp(false, ramping{}); err == nil || !strings.Contains(err.Error(), words) {
			t.Errorf("%q: %+v, %v", words, r, err)
		}
	}
}

// A difference that is less than nothing by no more than it is known to is nothing; by more it is said.
func TestHysteresisIsNotLessThanNothing(t *testing.T) {
	for _, c := range []struct{ rising, falling, want float64 }{{1.30, 1.31, 0}, {1.30, 1.35, -0.05}, {1.7, 0.9, 0.8}} {
		in := Input{Schmitt: true, Rising: Value{c.rising, 0.01}, Falling: Value{c.falling, 0.01}}
		if got := in.Hysteresis().Volts; math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%g and %g V: %g V", c.rising, c.falling, got)
		}
	}
}
