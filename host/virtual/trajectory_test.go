package virtual

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// The conditions of order of a Runge-Kutta method (Butcher; Hairer, Nørsett and Wanner, Solving Ordinary
// Differential Equations I, II.2): the step has the third order, what it is compared with the second.
func TestStagesOfAStep(t *testing.T) {
	a, last := stageParts, stageParts[3]
	var at [4]float64 // part of the step
	for i := range a {
		for j := range a {
			at[i] += a[i][j]
		}
	}
	sum := func(b [4]float64, of func(i int) float64) (s float64) {
		for i := range b {
			s += b[i] * of(i)
		}
		return s
	}
	through := func(i int) float64 { return sum(a[i], func(j int) float64 { return at[j] }) }
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"b", sum(last, func(int) float64 { return 1 }), 1},
		{"b c", sum(last, func(i int) float64 { return at[i] }), 1. / 2},
		{"b c²", sum(last, func(i int) float64 { return at[i] * at[i] }), 1. / 3},
		{"b A c", sum(last, through), 1. / 6},
		{"other b", sum(otherParts, func(int) float64 { return 1 }), 1},
		{"other b c", sum(otherParts, func(i int) float64 { return at[i] }), 1. / 2},
		{"the last stage is the end", at[3], 1},
	} {
		about(t, c.what, c.got, c.want, 1e-12)
	}
	// L-stable: of y' = λ y the last stage, which is the end, has nothing left as λ goes to minus infinity:
	// of the implicit part of A x the explicit column.
	implicit := [][]float64{slices.Clone(a[1][1:]), slices.Clone(a[2][1:]), slices.Clone(a[3][1:])}
	x := eliminate(implicit, []float64{a[1][0], a[2][0], a[3][0]})
	about(t, "what is left", x[2], 0, 1e-12)
}

// Two capacitors and a resistor at two positions, whose circuit ngspice has just the same: the bias of one position and
// the drive of the other go from low to high. At every time the trajectory is within 0.5 mV of ngspice, and of steps that
// are so fine that nothing is interpolated; so it is where a third capacitor lies parallel.
func TestTrajectoryAsInSpiceAndOfFineSteps(t *testing.T) {
	const most = 0.0005 // V
	times := []float64{0.3e-6, 2e-6, 11e-6, 40e-6, 90e-6, 0.2e-3, 0.45e-3, 0.9e-3, 1.8e-3}
	for _, third := range []bool{false, true} {
		run := func(within float64) (volts [2][]float64, start [2]float64, rail float64) {
			s := NewSocket(nil, 1)
			now := time.Duration(0)
			s.KeepTime(func() time.Duration { return now })
			s.Clip(Capacitor{Farads: 10e-9, P: 3})
			s.Clip(Capacitor{Farads: 47e-9, P: 3, Q: 5})
			if third {
				s.Clip(Capacitor{Farads: 22e-9, P: 5, Q: 3})
			}
			s.ClipResistor(Resistor{Ohms: 22_000, P: 5})
			s.clips.way.within = within
			s.Drive(adapter.At(5), 0)
			s.Pull(BiasPull, true, 0)
			now += 50 * time.Millisecond
			s.Pull(BiasPull, true, adapter.At(3))
			s.Drive(adapter.At(5), adapter.At(5))
			begin := now
			start = [2]float64{s.CapacitorVolts(0), s.CapacitorVolts(1)}
			for _, at := range times {
				now = begin + time.Duration(math.Round(at*1e9))
				s.arrive()
				for i, position := range [2]int{3, 5} {
					volts[i] = append(volts[i], s.of[position].volts)
				}
			}
			return volts, start, s.supply.rail
		}
		got, start, rail := run(stepVolts)
		fine, _, _ := run(1e-7)
		deck := fmt.Sprintf("Vr r 0 %g\nR3 r a %d\nR5 a5 0 %d\nRd r a5 145\nRx a5 0 22k\nC1 a 0 10n ic=%.9g\nC2 a a5 47n ic=%.9g\n.options reltol=1e-6\n",
			rail, 10_000+registerHighOhms, 10_000+registerLowOhms, start[0], start[1])
		if third {
			deck += fmt.Sprintf("C3 a5 a 22n ic=%.9g\n", -start[1])
		}
		var early, late []string
		for _, at := range times {
			events := &late
			if at < 3e-6 {
				events = &early
			}
			*events = append(*events, fmt.Sprintf("find v(a) at=%g", at), fmt.Sprintf("find v(a5) at=%g", at))
		}
		want := append(spiceTimes(t, deck, 4e-6, early), spiceTimes(t, deck, 2e-3, late)...)
		for i := range times {
			for k := range got {
				if off, offFine := got[k][i]-want[2*i+k], got[k][i]-fine[k][i]; math.Abs(off) > most || math.Abs(offFine) > most {
					t.Errorf("after %g s: %.5f V, ngspice %.5f, by fine steps %.5f", times[i], got[k][i], want[2*i+k], fine[k][i])
				}
			}
		}
	}
}

// A ramp into inputs of chips, which are no straight lines: looked at at any time it is within 0.5 mV of steps
// a hundred times as fine.
func TestTrajectoryAtInputs(t *testing.T) {
	for _, family := range []string{"74", "74LS", "74HC"} {
		run := func(within float64) (volts []float64) {
			s := NewSocket(quadNAND(t, family, part.TotemPole), 1)
			now := time.Duration(0)
			s.KeepTime(func() time.Duration { return now })
			s.Clip(Capacitor{Farads: 1e-6, P: at(1)})
			s.clips.way.within = within
			s.Supply(adapter.At(28), adapter.At(7))
			s.Drive(pins(1, 2), pins(2))
			now += 20 * time.Millisecond
			for _, up := range []adapter.Word{pins(1), 0} {
				s.Drive(pins(2), pins(2))
				s.Pull(BiasPull, true, up)
				for range 400 {
					now += 77 * time.Microsecond
					volts = append(volts, s.CapacitorVolts(0))
				}
				s.Drive(pins(1, 2), pins(2)|up) // through the drive, which is seventy times as fast
				for range 400 {
					now += 1700 * time.Nanosecond
					volts = append(volts, s.CapacitorVolts(0))
				}
			}
			return volts
		}
		got, fine, worst := run(stepVolts), run(1e-7), 0.0
		for i := range got {
			worst = max(worst, math.Abs(got[i]-fine[i]))
		}
		t.Logf("%s: %.0f µV", family, 1e6*worst)
		if worst > 0.0005 {
			t.Errorf("%s: %.6f V off", family, worst)
		}
	}
}

// What the adapter does not change is the same whether it is looked at often or not at all: a relaxation oscillator
// turns over at the same times, to a nanosecond, and ends at the same voltage.
func TestLooksChangeNothing(t *testing.T) {
	run := func(each time.Duration) (edges []float64, volts float64) {
		chip := quadNAND(t, "74HC", part.TotemPole)
		die := &timerDie{fakeDie: chip.die.(*fakeDie)}
		chip, err := newChip(chip.Type, die, nil)
		if err != nil {
			t.Fatal(err)
		}
		s := NewSocket(chip, 1)
		die.vcc = func() float64 { return s.supply.vcc }
		now := time.Duration(0)
		s.KeepTime(func() time.Duration { return now })
		s.Clip(Capacitor{Farads: 10e-9, P: 1})
		s.Pull(BiasPull, true, adapter.All)
		s.Supply(adapter.At(28), adapter.At(7))
		for now < time.Millisecond {
			now = min(now+each, time.Millisecond)
			s.Sample()
		}
		return die.edges, s.CapacitorVolts(0)
	}
	edges, volts := run(time.Millisecond)
	if len(edges) < 20 {
		t.Fatalf("%d edges", len(edges))
	}
	for _, each := range []time.Duration{187 * time.Nanosecond, 13 * time.Microsecond} {
		if e, v := run(each); !slices.Equal(e, edges) || v != volts {
			t.Errorf("looked at every %v: %d edges %v, %.9f V; else %d edges %v, %.9f V", each, len(e), e, v, len(edges), edges, volts)
		}
	}
}

// A capacitor charged by the bias reads high when it is at 0.6 of the rail, RC ln(1 / 0.4) after the start: found to
// 1/16 µs, from one look.
func TestCrossingIsFoundWithinAStep(t *testing.T) {
	for _, farads := range []float64{1e-9, 22e-9, 100e-9} {
		s := NewSocket(nil, 1)
		now := time.Duration(0)
		s.KeepTime(func() time.Duration { return now })
		s.Clip(Capacitor{Farads: farads, P: 3})
		s.Pull(BiasPull, true, adapter.At(3))
		for !s.Sample().Has(3) {
			now += s.Still(time.Second)
		}
		about(t, fmt.Sprintf("%g F", farads), now.Seconds()*1e6, (10_000+registerHighOhms)*farads*1e6*math.Log(1/0.4), 1./16)
	}
}
