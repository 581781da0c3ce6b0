package virtual

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"chipassay/firmware/carrier/ngspice"
	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// rampTimes gives the times at which ngspice sees node a pass some voltages, s; up, or down.
func rampTimes(t *testing.T, deck, edge string, volts []float64, until float64) (seconds []float64) {
	t.Helper()
	var events []string
	for _, v := range volts {
		events = append(events, fmt.Sprintf("when v(a)=%g %s=1", v, edge))
	}
	return spiceTimes(t, deck, until, events)
}

// spiceTimes gives when ngspice sees some events of a deck, s.
func spiceTimes(t *testing.T, deck string, until float64, events []string) (seconds []float64) {
	t.Helper()
	var b strings.Builder
	fmt.Fprintf(&b, "* a ramp\n%s\n.option gmin=1e-13\n.control\ntran %g %g 0 %g uic\n", deck, until/2000, until, until/2000)
	for i, event := range events {
		fmt.Fprintf(&b, "meas tran t%d %s\n", i, event)
	}
	b.WriteString("quit\n.endc\n.end\n")
	found := ngspice.Measure(t, b.String())
	for i, event := range events {
		at, ok := found[fmt.Sprintf("t%d", i)]
		if !ok {
			t.Fatalf("no time %s: %v", event, found)
		}
		seconds = append(seconds, at)
	}
	return seconds
}

// 1 µF at an input of a powered chip, from 0 V up through the bias, and from the rail down through the
// bias: the times of the socket's model are those of ngspice with the same resistor and the
// transistor-level chip. A TTL input helps the ramp up by its own current, and holds it at some
// 1.6 V on the way down, which is where it ends.
func TestRampsAsInSpice(t *testing.T) {
	for _, c := range []struct {
		family, file, chip string
		up, down           []float64
		within             float64
	}{
		{"74", "7400", "ttl_7400", []float64{0.4, 0.8, 1.0, 1.2}, []float64{4, 3, 2.4}, 0.06},
		{"74LS", "74ls00", "ls_74ls00", []float64{0.4, 0.8, 1.0}, []float64{4, 3, 2.4}, 0.06},
		{"74HC", "74hc00", "hc_74hc00", []float64{0.5, 1, 2, 3, 4}, []float64{4, 3, 2, 1}, 0.01},
	} {
		for _, up := range []bool{true, false} {
			t.Run(fmt.Sprint(c.family, " up ", up), func(t *testing.T) {
				s := NewSocket(quadNAND(t, c.family, part.TotemPole), 1)
				now := time.Duration(0)
				s.KeepTime(func() time.Duration { return now })
				s.Clip(Capacitor{Farads: 1e-6, P: at(1)})
				s.Supply(adapter.At(28), adapter.At(7))
				high := adapter.Word(0)
				if !up {
					high = pins(1)
				}
				s.Drive(pins(1, 2), pins(2)|high)
				s.Pull(BiasPull, true, 0)
				now += 20 * time.Millisecond
				s.Drive(pins(2), pins(2))
				if up {
					s.Pull(BiasPull, true, pins(1))
				}
				rail, vcc, volts, edge, from, to, ohms := s.RailVolts(), s.supply.vcc, c.up, "rise", s.clips.capacitors[0].volts, s.RailVolts(), registerHighOhms
				if !up {
					volts, edge, to, ohms = c.down, "fall", 0, registerLowOhms
				}
				deck := include(t, c.file) + bench(c.chip, bench7400)
				deck = strings.Replace(deck, "Va a 0 0\n", fmt.Sprintf("Vr r 0 %g\nRb r a %d\nCa a 0 1u ic=%g\n", to, 10_000+ohms, from), 1)
				deck = strings.Replace(deck, "Vcc vcc 0 5\nVb b 0 0\n", "", 1)
				deck = strings.Replace(deck, "Vb b 0 0", fmt.Sprintf("Vb b 0 %g", rail), 1)
				deck = strings.Replace(deck, "Vcc vcc 0 5", fmt.Sprintf("Vcc vcc 0 %g", vcc), 1)
				want := rampTimes(t, deck, edge, volts, 0.05)
				begin := now
				for i, v := range volts {
					for now < begin+50*time.Millisecond && (s.CapacitorVolts(0) < v) == up {
						now += 2 * time.Microsecond
					}
					got := (now - begin).Seconds()
					t.Logf("%g V: %.3f ms, ngspice %.3f", v, got*1e3, want[i]*1e3)
					if got < want[i]*(1-c.within) || got > want[i]*(1+c.within) {
						t.Errorf("%g V after %.3f ms, ngspice %.3f", v, got*1e3, want[i]*1e3)
					}
				}
			})
		}
	}
}

// 1 µF at an input of a powered TTL chip, pulled down by the drive from the rail, and released: the times of the
// socket's model are those of ngspice with the transistor-level chip. It falls by 4 to 9 mV/µs near the thresholds,
// where the bias alone leaves it at 1.6 V or more; released it rises by its own input current, 1 mV/µs or less, which is
// what a voltage that is measured 10 µs later is off.
func TestDrivenRampAndReleaseAsInSpice(t *testing.T) {
	const farads = 1e-6
	for _, c := range []struct {
		family, file, chip string
		within             float64
	}{{"74", "7400", "ttl_7400", 0.06}, {"74LS", "74ls00", "ls_74ls00", 0.06}} {
		t.Run(c.family, func(t *testing.T) {
			s := NewSocket(quadNAND(t, c.family, part.TotemPole), 1)
			now := time.Duration(0)
			s.KeepTime(func() time.Duration { return now })
			s.Clip(Capacitor{Farads: farads, P: at(1)})
			s.Supply(adapter.At(28), adapter.At(7))
			s.Drive(pins(1, 2), pins(1, 2))
			s.Pull(BiasPull, true, 0)
			now += 20 * time.Millisecond
			from := s.CapacitorVolts(0)
			s.Drive(pins(1, 2), pins(2))
			rail, vcc := s.RailVolts(), s.supply.vcc
			passes := func(volts float64, rising bool) float64 {
				begin := now
				for now < begin+5*time.Millisecond && (s.CapacitorVolts(0) < volts) == rising {
					now += 100 * time.Nanosecond
				}
				return (now - begin).Seconds()
			}
			deck := func(extra string) string {
				d := include(t, c.file) + bench(c.chip, bench7400)
				d = strings.Replace(d, "Va a 0 0\n", extra, 1)
				d = strings.Replace(d, "Vb b 0 0", fmt.Sprintf("Vb b 0 %g", rail), 1)
				return strings.Replace(d, "Vcc vcc 0 5", fmt.Sprintf("Vcc vcc 0 %g", vcc), 1)
			}
			compare := func(what string, volts, got, want []float64) {
				for i, v := range volts {
					t.Logf("%s %g V: %.1f µs, ngspice %.1f", what, v, got[i]*1e6, want[i]*1e6)
					if math.Abs(got[i]/want[i]-1) > c.within {
						t.Errorf("%s %g V after %.1f µs, ngspice %.1f", what, v, got[i]*1e6, want[i]*1e6)
					}
				}
			}
			down := []float64{4, 3, 2, 1.4, 1.0, 0.9}
			var got []float64
			total := 0.0
			for _, v := range down {
				total += passes(v, false)
				got = append(got, total)
			}
			compare("down to", down, got, rampTimes(t, deck(fmt.Sprintf("Rd a 0 %g\nRb a 0 %d\nCa a 0 1u ic=%g\n", drivenOhms, 10_000+registerLowOhms, from)), "fall", down, 1e-3))
			s.Drive(pins(2), pins(2))
			s.Pull(BiasPull, false, 0)
			released := s.CapacitorVolts(0)
			up := []float64{0.92, 0.95, 1.0}
			got, total = nil, 0
			for _, v := range up {
				total += passes(v, true)
				got = append(got, total)
			}
			compare("released, up to", up, got, rampTimes(t, deck(fmt.Sprintf("Ca a 0 1u ic=%g\n", released)), "rise", up, 3e-3))
		})
	}
}

// drivenOhms is a low drive: 120 Ω and the MCU's output.
const drivenOhms = 145.0
