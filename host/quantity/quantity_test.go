package quantity

import (
	"math"
	"testing"
)

func TestFarads(t *testing.T) {
	for text, want := range map[string]float64{
		"1u": 1e-6, "1uF": 1e-6, "1 µF": 1e-6, "4.7u": 4.7e-6, "100n": 1e-7, "470 nF": 4.7e-7, "1000p": 1e-9, "0.000001": 1e-6, "4n7": 4.7e-9, "1u1": 1.1e-6, "10μF": 1e-5,
	} {
		if got, err := ParseFarads(text); err != nil || math.Abs(got/want-1) > 1e-9 {
			t.Errorf("%q: %g, %v; want %g", text, got, err, want)
		}
	}
	for _, text := range []string{"", "u", "-1u", "0", "1uH", "1x", "one", "1.2u1", "1uu", "u1"} {
		if got, err := ParseFarads(text); err == nil {
			t.Errorf("%q is %g", text, got)
		}
	}
	for farads, want := range map[float64]string{1e-6: "1 µF", 1.0349e-6: "1.03 µF", 4.7e-7: "470 nF"} {
		if got := Farads(farads); got != want {
			t.Errorf("%g: %q, want %q", farads, got, want)
		}
	}
}

func TestOhms(t *testing.T) {
	for text, want := range map[string]float64{"10k": 1e4, "4k7": 4700, "4700": 4700, "1 MΩ": 1e6, "10K": 1e4} {
		if got, err := ParseOhms(text); err != nil || math.Abs(got/want-1) > 1e-9 {
			t.Errorf("%q: %g, %v; want %g", text, got, err, want)
		}
	}
	if got, err := ParseOhms("10kF"); err == nil {
		t.Errorf("10kF is %g", got)
	}
	for text, want := range map[string]string{Seconds(1.0234e-3): "1.02 ms", Hertz(1e5): "100 kHz", Seconds(999.9e-9): "1 µs", Seconds(0): "0 s"} {
		if text != want {
			t.Errorf("%q, want %q", text, want)
		}
	}
}
