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
	at := over(1e-9, 1, 3e-6)
	t.Logf("1 nF: over 1 mA for %.2f µs", at*1e6)
	if at > 1e-6 {
		t.Errorf("1 nF: over 1 mA for %.2f µs", at*1e6)
	}
}
