package virtual

import (
	"fmt"
	"math"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/library"
)

// A pulse of a 74HC123 with 100 nF and the adapter's bias, the sense line's 4.7 kΩ and the input of the
// microcontroller: ngspice charges the same circuit from where the chip begins to where it ends, and takes as long as the
// virtual chip's pulse.
func TestPulseAsInSpice(t *testing.T) {
	typ, err := library.Open("74HC123")
	if err != nil {
		t.Fatal(err)
	}
	chip, err := NewChip(typ)
	if err != nil {
		t.Fatal(err)
	}
	s := NewSocket(chip, 1)
	now := time.Duration(0)
	s.KeepTime(func() time.Duration { return now })
	pos := func(pin int) int { return adapter.PositionOf(pin, 16) }
	word := func(list ...int) (w adapter.Word) {
		for _, pin := range list {
			w |= adapter.At(pos(pin))
		}
		return w
	}
	s.Clip(Capacitor{Farads: 100e-9, P: pos(15), Q: pos(14)})
	s.Supply(adapter.At(28), adapter.At(8))
	s.Pull(BiasPull, true, word(15))
	s.Drive(word(1, 2, 3, 9, 10, 11), word(3))
	now += 20 * time.Millisecond
	s.Drive(word(1, 2, 3, 9, 10, 11), word(2, 3))
	begin := now
	for now < begin+5*time.Millisecond && s.Sample().Has(pos(13)) {
		now += 500 * time.Nanosecond
	}
	got := (now - begin).Seconds()
	d := chip.die.(*timed)
	low, high := d.limits(d.sections[0])
	deck := fmt.Sprintf("Vr r 0 %g\nRb r a %d\nRe a k %d\nCa a n 100n ic=%g\nRg n 0 %d\nRs a m 4700\nCm m 0 5p ic=0\nRm m 0 100meg\nRk k 0 1g\n",
		s.RailVolts(), 10_000+registerHighOhms, 1_000_000_000, low, groundOhms)
	want := rampTimes(t, deck, "rise", []float64{high}, 0.002)[0]
	t.Logf("%.1f µs, ngspice %.1f", got*1e6, want*1e6)
	if math.Abs(got/want-1) > 0.02 {
		t.Errorf("%.1f µs, ngspice %.1f", got*1e6, want*1e6)
	}
}

// What the microcontroller's protection diode takes when a 74121 lets the capacitor's far end fall from some 4.2
// to 0.2 V while its node rests at a base's 0.7 V: through the drive line's 120 Ω and the sense line's 4.7 kΩ. 100 nF
// put more than 10 mA into it, and for more than 10 µs; 1 nF, the most that may be clipped there, ends in under a microsecond.
func TestClampCurrentInSpice(t *testing.T) {
	over := func(farads, mA, until float64) float64 {
		deck := fmt.Sprintf("Vc c 0 0.2\nRon c cx 40\nCt n cx %g ic=-3.5\nVr r 0 5.05\nRb r n 10035\nRd n y 120\nDd 0 y dm\nRs n s 4700\nDs 0 s dm\n"+
			"Ea a 0 y n 1\nRa a 0 1meg\n.model dm d(is=1e-14 rs=10 cjo=2p)\n", farads)
		return rampTimes(t, deck, "fall", []float64{0.120 * mA}, until)[0]
	}
	if at := over(100e-9, 10, 100e-6); at < 2e-6 {
		t.Errorf("100 nF: over 10 mA for %.1f µs only", at*1e6)
	}
	if at := over(100e-9, 1, 200e-6); at < 10e-6 {
		t.Errorf("100 nF: over 1 mA for %.1f µs only", at*1e6)
	}
	// an end of a 4046's, let go at half the supply: the other end is held through some 200 Ω
	deck := "Vc c 0 0\nRon c cx 200\nCt n cx 1n ic=-2.5\nRd n y 120\nDd 0 y dm\nRs n s 4700\nDs 0 s dm\nEa a 0 y n 1\nRa a 0 1meg\n.model dm d(is=1e-14 rs=10 cjo=2p)\n"
	if at := rampTimes(t, deck, "fall", []float64{0.120 * 1}, 3e-6)[0]; at > 1e-6 {
		t.Errorf("4046, 1 nF: over 1 mA for %.2f µs", at*1e6)
	}
	at := over(1e-9, 1, 3e-6)
	t.Logf("1 nF: over 1 mA for %.2f µs", at*1e6)
	if at > 1e-6 {
		t.Errorf("1 nF: over 1 mA for %.2f µs", at*1e6)
	}
}

// The ring of a 4047 with 1 nF and 100 kΩ: ngspice, with two inverters, the chip's outputs and the diodes of the microcontroller at
// the node, runs as fast as the virtual chip, and slower than its formula for half an ideal swing would have it: 2 ln 2 of R C a period.
func TestClampedRingAsInSpice(t *testing.T) {
	typ, err := library.Open("4047B")
	if err != nil {
		t.Fatal(err)
	}
	chip, err := NewChip(typ)
	if err != nil {
		t.Fatal(err)
	}
	s := NewSocket(chip, 1)
	now := time.Duration(0)
	s.KeepTime(func() time.Duration { return now })
	pos := func(pin int) int { return adapter.PositionOf(pin, 14) }
	word := func(list ...int) (w adapter.Word) {
		for _, pin := range list {
			w |= adapter.At(pos(pin))
		}
		return w
	}
	s.Clip(Capacitor{Farads: 1e-9, P: pos(1), Q: pos(3)})
	s.ClipResistor(Resistor{Ohms: 100e3, P: pos(2), Q: pos(3)})
	s.Supply(adapter.At(28), adapter.At(7))
	s.Drive(word(4, 5, 6, 8, 9, 12), word(4, 5)) // /AST AST TRN TRP RESET RT
	now += 5 * time.Millisecond
	var rises []time.Duration
	for was := s.Sample().Has(pos(13)); len(rises) < 5; now += 500 * time.Nanosecond {
		is := s.Sample().Has(pos(13)) // OSC, one period of the ring
		if is && !was {
			rises = append(rises, now)
		}
		if was = is; now > time.Second {
			t.Fatal("it does not run")
		}
	}
	got := (rises[4] - rises[0]).Seconds() / 4
	deck := "Vs v 0 4.93\nBr r0 0 v=2.465*(1+tanh(200*(2.465-v(n))))\nRr r0 r 500\nBc c0 0 v=2.465*(1-tanh(200*(2.465-v(n))))\nRc c0 c 500\n" +
		"Rt r n 100k\nCt c n 1n ic=2.6\nCn n 0 15p ic=0.5\nRd n y 120\nD1 0 y dm\nD2 y k dm\nRs n z 4700\nD3 0 z dm\nD4 z k dm\nVk k 0 5.05\n" +
		"Ea a 0 c0 0 1\nRa a 0 1meg\n.model dm d(is=1e-14 rs=10 cjo=2p)\n"
	times := riseTimes(t, deck, 2.465, 2, 7, 2e-3)
	want := (times[1] - times[0]) / 5
	t.Logf("%.1f µs, ngspice %.1f", got*1e6, want*1e6)
	if math.Abs(got/want-1) > 0.06 {
		t.Errorf("%.1f µs, ngspice %.1f", got*1e6, want*1e6)
	}
	formula := typ.Variant.Timings[1].In(typ.Family)[0]
	if least, most := formula.Range(100e3, 1e-9); 2*want < least || 2*want > most {
		t.Errorf("ngspice has %.1f µs at Q, the definition %.1f to %.1f", 2e6*want, least*1e6, most*1e6)
	}
}

// What the virtual chips leave out, and the definitions' formulas have in them. CTL of a 555 stands at its bias, by which the upper
// comparator acts later: ngspice has the three resistors of 5 kΩ of the chip (NE555, block diagram). RINT of a 74122 stands at its bias too, with the 10 kΩ
// inside in series (SDLS043: nominally 10 kΩ).
func TestBiasOfOtherPinsInSpice(t *testing.T) {
	deck := "Vr r 0 5.05\nVv v 0 4.93\nR1 v ctl 5k\nR2 ctl m 5k\nR3 m 0 5k\nRb r ctl 10035\nRt r n 5017\nCt n 0 100n ic=0.1\nEa a 0 n ctl 1\nRa a 0 1meg\n"
	at := rampTimes(t, deck, "rise", []float64{0}, 3e-3)[0]
	typ, err := library.Open("555")
	if err != nil {
		t.Fatal(err)
	}
	least, most := typ.Variant.Timings[0].In(typ.Family)[0].Range(5017, 100e-9)
	t.Logf("555: ngspice %.0f µs, the definition %.0f to %.0f", at*1e6, least*1e6, most*1e6)
	if at < least || at > most {
		t.Errorf("555: ngspice %.0f µs, the definition %.0f to %.0f", at*1e6, least*1e6, most*1e6)
	}

	alone := rampTimes(t, "Vr r 0 5\nRt r a 10k\nCt a 0 100n ic=0.5\n", "rise", []float64{1.6}, 2e-3)[0]
	both := rampTimes(t, "Vr r 0 5\nRt r a 10k\nRb r i 10k\nRi i a 10k\nCt a 0 100n ic=0.5\n", "rise", []float64{1.6}, 2e-3)[0]
	if typ, err = library.Open("74122"); err != nil {
		t.Fatal(err)
	}
	of122 := typ.Variant.Timings[0].In(typ.Family)[0].Typical(10e3, 100e-9)
	r := 10e3 * both / alone // 0.32 R C (1 + 0.7 kΩ / R), SN74122
	if want := 0.32 * (r + 700) * 100e-9; math.Abs(of122/want-1) > 0.01 {
		t.Errorf("74122: the definition has %.1f µs, its data sheet's formula with %.0f Ω %.1f", of122*1e6, r, want*1e6)
	}
}

// riseTimes gives the times at which ngspice sees node a rise through a voltage for the n-th and the m-th time, s.
func riseTimes(t *testing.T, deck string, volts float64, n, m int, until float64) []float64 {
	t.Helper()
	return spiceTimes(t, deck, until, []string{fmt.Sprintf("when v(a)=%g rise=%d", volts, n), fmt.Sprintf("when v(a)=%g rise=%d", volts, m)})
}
