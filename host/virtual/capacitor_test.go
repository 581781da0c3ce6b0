package virtual

import (
	"math"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// clocked gives a socket a clock that the test sets, µs.
func clocked(s *Socket) (clock func(microseconds float64)) {
	now := time.Duration(0)
	s.KeepTime(func() time.Duration { return now })
	return func(us float64) { now = time.Duration(math.Round(us * 1000)) }
}

// registerOhms is a register's output that is high, or low: strengths.
const registerHighOhms, registerLowOhms = 35, 30

// V(t) = V∞ + (V0 - V∞) exp(-t / RC), the textbook's, with the bias and its output as R; looked at
// often, and after a long time at once.
func TestCapacitorChargesThroughTheBias(t *testing.T) {
	for _, c := range []struct {
		farads float64
		each   float64 // µs from one look to the next
	}{{1e-6, 100}, {1e-6, 9973}, {1e-9, 0.5}, {100e-12, 0.1}, {1e-6, 500_000}} {
		s := NewSocket(nil, 1)
		clock := clocked(s)
		s.Clip(Capacitor{Farads: c.farads, P: 3})
		s.Pull(BiasPull, true, adapter.At(3))
		tau := (10_000 + registerHighOhms) * c.farads * 1e6
		worst, rail := 0.0, s.RailVolts()
		for us := 0.0; us <= 5*tau; us += c.each {
			clock(us)
			want := rail * (1 - math.Exp(-us/tau))
			worst = max(worst, math.Abs(float64(s.Millivolts(3))/1000-want))
		}
		if worst > 0.0015 {
			t.Errorf("%g F, looked at every %g µs: %.4f V off", c.farads, c.each, worst)
		}
	}
}

// The MCU's inputs have hysteresis: a ramp up reads high from 0.6 of the supply on, one down
// low below 0.3 (its data sheet's limits), once each. Still finds these times to 1/8 µs:
// t = RC ln((V∞ - V0) / (V∞ - V)).
func TestCapacitorReadsAtTheLimits(t *testing.T) {
	s := NewSocket(nil, 1)
	now := time.Duration(0)
	s.KeepTime(func() time.Duration { return now })
	s.Clip(Capacitor{Farads: 100e-9, P: 3})
	until := func(high bool) float64 {
		from := now
		for s.Sample().Has(3) != high {
			now += s.Still(time.Second)
		}
		return (now - from).Seconds() * 1e6
	}
	s.Pull(BiasPull, true, adapter.At(3))
	about(t, "up", until(true), (10_000+registerHighOhms)*0.1*math.Log(1/(1-0.6)), 1)
	now += 100 * time.Millisecond
	s.Sample()
	s.Pull(BiasPull, true, 0)
	about(t, "down", until(false), (10_000+registerLowOhms)*0.1*math.Log(1/0.3), 1)
}

// A capacitor between two positions passes a step on whole: with 3 at 5 V through the bias and
// 5 driven from high to low, 3 falls by what 5 does, down to a diode drop under ground, where
// the MCU's protection takes over within some of its 150 ohms times 100 nF, and comes back by its bias.
func TestCapacitorBetweenPositions(t *testing.T) {
	s := NewSocket(nil, 1)
	clock := clocked(s)
	s.Clip(Capacitor{Farads: 100e-9, P: 3, Q: 5})
	s.Drive(adapter.At(5), adapter.At(5))
	s.Pull(BiasPull, true, 0)
	clock(20_000)                                                                     // 3 low, 5 high
	about(t, "across", s.CapacitorVolts(0), -s.RailVolts()*10_030/(10_030+145), 0.01) // the bias of 5 pulls too
	s.Drive(adapter.At(5), 0)
	before := float64(s.Millivolts(3)) / 1000
	if before > -1.5 || before < -3.5 { // the clamp's 130 Ω and the drive's 145 share the step
		t.Errorf("3 stands at %.2f V after the step", before)
	}
	clock(20_000 + 200)
	about(t, "clamped", float64(s.Millivolts(3))/1000, -mcuClampVolts, 0.1)
	s.Pull(BiasPull, true, adapter.At(3))
	clock(60_000)
	about(t, "back", float64(s.Millivolts(3))/1000, s.RailVolts(), 0.01)
}

// A resistor clipped to ground divides with the bias, and one between positions couples them.
func TestResistorClippedOn(t *testing.T) {
	s := NewSocket(nil, 1)
	s.ClipResistor(Resistor{Ohms: 10_000 + registerHighOhms, P: 3})
	s.ClipResistor(Resistor{Ohms: 1000, P: 4, Q: 5})
	s.Pull(BiasPull, true, adapter.At(3))
	s.Drive(adapter.At(4), adapter.At(4))
	about(t, "3", float64(s.Millivolts(3))/1000, s.RailVolts()/2, 0.01)
	about(t, "5", float64(s.Millivolts(5))/1000, s.RailVolts()*5_253/(5_253+145)*10_030/(10_030+1000), 0.02) // 5253 Ω is 10,030 beside 1000 + 10,030
	s.Unclip()
	about(t, "3 without", float64(s.Millivolts(3))/1000, s.RailVolts(), 0.01)
}

// A capacitor keeps its charge with nothing on, and when a chip is swapped under it.
func TestCapacitorKeepsItsCharge(t *testing.T) {
	s := NewSocket(nil, 1)
	clock := clocked(s)
	s.Clip(Capacitor{Farads: 1e-6, P: 3})
	s.Drive(adapter.At(3), adapter.At(3))
	clock(10_000)
	s.Drive(0, 0)
	s.Swap(nil)
	clock(20_000)
	about(t, "after 10 ms", s.CapacitorVolts(0), s.RailVolts(), 0.02)
}

// timerDie is a relaxation oscillator in pins: a capacitor at pin 1 is charged by what is outside up to
// 2/3 of the supply, then discharged through 1 kΩ down to 1/3, and so on.
type timerDie struct {
	*fakeDie
	discharging bool
	vcc         func() float64
	edges       []float64 // µs
}

func (d *timerDie) timing() []int { return []int{1} }
func (d *timerDie) elements(int) []element {
	if !d.discharging {
		return nil
	}
	return []element{resistor(0, 1000)}
}
func (d *timerDie) thresholds(int) []float64 {
	return []float64{d.vcc() / 3, d.vcc() * 2 / 3}
}
func (d *timerDie) pass(now time.Duration, volts func(pin int) float64) bool {
	was := d.discharging
	switch v := volts(1); {
	case v >= d.vcc()*2/3:
		d.discharging = true
	case v <= d.vcc()/3:
		d.discharging = false
	}
	if d.discharging != was {
		d.edges = append(d.edges, now.Seconds()*1e6)
	}
	return d.discharging != was
}
func (d *timerDie) next() (time.Duration, bool) { return 0, false }

// The textbook's relaxation oscillator: up ln((V-1/3)/(V-2/3)) RC, down likewise to where the bias
// and the 1 kΩ would settle.
func TestDieThatKnowsTheTime(t *testing.T) {
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
	now = 2 * time.Millisecond
	s.Sample()
	edges := die.edges
	if len(edges) < 40 {
		t.Fatalf("%d edges in 2 ms", len(edges))
	}
	const up = 10_000 + registerHighOhms
	vcc, rail := s.supply.vcc, s.RailVolts()
	charge := up * 0.01 * math.Log((rail-vcc/3)/(rail-vcc*2/3))
	end := rail * 1000 / (up + 1000)
	discharge := 1 / (1.0/up + 1/1000.0) * 0.01 * math.Log((vcc*2/3-end)/(vcc/3-end))
	t.Logf("charging %.2f µs, discharging %.2f", charge, discharge)
	for i := 2; i < len(edges); i++ {
		want := charge
		if i%2 == 1 {
			want = discharge
		}
		about(t, "half a period", edges[i]-edges[i-1], want, 0.3)
	}
}
