package timing

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// typical is the pulse of a 74123 with 100 nF and the adapter's 10 kΩ: 0.28 R C (1 + 0.7 kΩ / R), SN74123.
const typical = 0.28 * 10.7e3 * 100e-9

// section123 times section 1 of a 74123.
func section123(t *testing.T, f *fakeChip) *Section {
	t.Helper()
	typ := opened(t, "74123")
	x := &typ.Variant.Timings[0]
	r := Begin(typ, x, Plan{Farads: 100e-9}, 100e-9, 0.05)
	if err := r.Test(t.Context(), f, typ, x); err != nil {
		t.Fatal(err)
	}
	return r
}

func opened(t *testing.T, name string) part.Type {
	t.Helper()
	typ, err := library.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	return typ
}

// A good section is right in all, and every edge is tried at all levels of the others: 3 inputs have 3 · 2^3.
func TestGoodSection(t *testing.T) {
	r := section123(t, &fakeChip{pulse: typical, gap: time.Microsecond})
	if len(r.Wrong)+len(r.NotJudged) > 0 || r.NoPulses || r.PinsWrong != 0 {
		t.Fatalf("%+v", r)
	}
	fires, none, others := 0, 0, 0
	for _, c := range r.Checks {
		switch c.Wants {
		case "a pulse":
			fires++
		case "no pulse":
			none++
		default:
			others++
		}
	}
	if fires != 3 || none != 21 || others != 3 { // the complement, the retrigger, the clear
		t.Errorf("%d, %d, %d checks", fires, none, others)
	}
	if math.Abs(r.Pulse.Seconds-typical) > 1e-6 || r.Pulse.Uncertainty < 0.4e-6 || r.Pulse.Uncertainty > 1.1e-6 {
		t.Errorf("%v", r.Pulse)
	}
}

// The limits are the formula's 15 % and the capacitor's 5 %: 239.0 µs to 361.7 µs, which a pulse may reach by its uncertainty.
func TestLimitsOfThePulse(t *testing.T) {
	least, most := typical*0.85*0.95, typical*1.15*1.05
	for _, c := range []struct {
		pulse float64
		wrong bool
	}{{least - 2e-6, true}, {least + 1e-6, false}, {most - 1e-6, false}, {most + 2e-6, true}, {3 * most, true}, {20 * most, true}, {least / 3, true}} {
		r := section123(t, &fakeChip{pulse: c.pulse, gap: time.Microsecond})
		if c.wrong != (len(r.Wrong) == 1 && strings.HasPrefix(r.Wrong[0], "1Q: pulse ")) || !c.wrong && len(r.Wrong) > 0 {
			t.Errorf("%g s: %q", c.pulse, r.Wrong)
		}
		if math.Abs(r.Pulse.Seconds-c.pulse) > 2e-6 {
			t.Errorf("%g s: timed as %v", c.pulse, r.Pulse)
		}
	}
	// the rail above the chip's supply makes both shorter, by 3 to 10 % with 3 % (README.md)
	r := section123(t, &fakeChip{pulse: typical, supply: 5 / 1.03})
	if r.Least > 0.97*least || r.Least < 0.90*least || r.Most > most || r.Most < 0.93*most {
		t.Errorf("%g to %g, with the same supply %g to %g", r.Least, r.Most, least, most)
	}
}

// A pulse that does not end is said once, with nothing that follows from it.
func TestEndlessPulse(t *testing.T) {
	r := section123(t, &fakeChip{pulse: 10})
	if len(r.Wrong) != 1 || !strings.Contains(r.Wrong[0], "has not ended after") || r.PinsWrong != part.PinSet(pinQ) {
		t.Errorf("%q, pins %v", r.Wrong, r.PinsWrong)
	}
}

func TestWrongSections(t *testing.T) {
	for _, c := range []struct {
		name  string
		chip  fakeChip
		wrong int
		says  string
		pins  part.Pins
	}{
		{"dead trigger", fakeChip{pulse: typical, deadTrigger: pinA}, 1, "fall of 1A with 1B=H /1CLR=H gave no pulse", part.PinSet(pinQ, pinA)},
		{"other edge", fakeChip{pulse: typical, alsoOnRise: pinA}, 1, "rise of 1A with 1B=H /1CLR=H gave a pulse", part.PinSet(pinQ, pinA)},
		{"not retriggered", fakeChip{pulse: typical, holds: true}, 1, "a second rise of 1B", part.PinSet(pinQ)},
		{"not cleared", fakeChip{pulse: typical, clearLate: 1}, 1, "did not end the pulse", part.PinSet(pinQ, pinCLR)},
		{"cleared late", fakeChip{pulse: typical, clearLate: 13e-6}, 1, "it ended after 13 µs", part.PinSet(pinQ, pinCLR)},
		{"cleared soon enough", fakeChip{pulse: typical, clearLate: 1.5e-6}, 0, "", 0},
		{"cleared too late", fakeChip{pulse: typical, clearLate: 2.5e-6}, 1, "it ended after 2.5 µs", part.PinSet(pinQ, pinCLR)},
		{"not looked at meanwhile", fakeChip{pulse: typical, clearLate: 1.5e-6, gap: 12 * time.Microsecond}, 0, "", 0},
		{"older firmware", fakeChip{pulse: typical, clearLate: 9e-6, oldFirmware: true}, 0, "", 0},
		{"begins late", fakeChip{pulse: typical, lateOutput: pinQ, lateBy: 5e-6}, 2, "1Q: the pulse begins 5 µs after the trigger", part.PinSet(pinQ, pinCLR)},
		{"begins soon enough", fakeChip{pulse: typical, lateOutput: pinQ, lateBy: 1.5e-6, gap: time.Microsecond}, 0, "", 0},
		{"complement begins late", fakeChip{pulse: typical, lateOutput: pinNotQ, lateBy: 5e-6}, 1, "/1Q: the pulse begins 5 µs after", part.PinSet(pinNotQ)},
		{"clear stuck high", fakeChip{pulse: typical, stuckInput: pinCLR, stuckHigh: true, clearLate: 1e-6}, 1, "/1CLR is stuck high, or open inside: ", part.PinSet(pinCLR)},
		{"A stuck low", fakeChip{pulse: typical, stuckInput: pinA}, 1, "1A is stuck low: ", part.PinSet(pinA)},
		{"B stuck high", fakeChip{pulse: typical, stuckInput: pinB, stuckHigh: true}, 1, "1B is stuck high, or open inside: ", part.PinSet(pinB)},
		{"oscillates", fakeChip{period: 50e-6, highShare: 0.5, ungated: true, slow: 1}, 1, "1Q: it oscillates", part.PinSet(pinQ)},
		{"complement too long", fakeChip{pulse: typical, complementFactor: 1.1}, 1, "/1Q: rise of 1B", part.PinSet(pinNotQ)},
		{"complement as long", fakeChip{pulse: typical, complementFactor: 1.015}, 0, "", 0},
		{"complement somewhat longer", fakeChip{pulse: typical, complementFactor: 1.04}, 1, "/1Q: rise of 1B", part.PinSet(pinNotQ)},
		{"complement stuck", fakeChip{pulse: typical, stuck: pinNotQ}, 1, "/1Q: rise of 1B with 1A=L /1CLR=H gave no edge", part.PinSet(pinNotQ)},
		{"output stuck", fakeChip{pulse: typical, stuck: pinQ}, 1, "no trigger gives a pulse, but /1Q gives one of 3", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := section123(t, &c.chip)
			if len(r.Wrong) != c.wrong || c.wrong > 0 && !strings.Contains(r.Wrong[0], c.says) {
				t.Errorf("%q", r.Wrong)
			}
			if c.pins != 0 && r.PinsWrong != c.pins || c.wrong == 0 && r.PinsWrong != 0 {
				t.Errorf("pins %v, want %v", r.PinsWrong, c.pins)
			}
		})
	}
}

// Without any pulse nothing is held against it here: the capacitor may not be where it should.
func TestNoPulses(t *testing.T) {
	r := section123(t, &fakeChip{pulse: typical, dead: true})
	if !r.NoPulses || len(r.Wrong) > 0 || r.Pulse != nil {
		t.Errorf("%+v", r)
	}
	typ := opened(t, "74123")
	x := &typ.Variant.Timings[0]
	r = Begin(typ, x, Plan{Farads: 100e-9}, 0, 0)
	if r.Measured || r.Tolerance != 0.2 || r.Farads != 100e-9 {
		t.Errorf("%+v", r)
	}
}

// A pulse in which the adapter cannot act is listed with the capacitor that would do, and so is one in which it came too late.
func TestShortPulses(t *testing.T) {
	typ := opened(t, "74123")
	x := &typ.Variant.Timings[0]
	for _, c := range []struct {
		farads float64
		late   time.Duration
		open   int
	}{{47e-9, 0, 0}, {10e-9, 0, 0}, {9.2e-9, 0, 1}, {8e-9, 0, 2}, {47e-9, 17 * time.Microsecond, 0}, {47e-9, 60 * time.Microsecond, 1}, {47e-9, 120 * time.Microsecond, 2}} {
		r := Begin(typ, x, Plan{Farads: c.farads}, c.farads, 0.05)
		if err := r.Test(t.Context(), &fakeChip{pulse: typical * c.farads / 100e-9, late: c.late}, typ, x); err != nil {
			t.Fatal(err)
		}
		if len(r.Wrong) > 0 || len(r.NotJudged) != c.open {
			t.Errorf("%g F, %v late: wrong %q, not judged %q", c.farads, c.late, r.Wrong, r.NotJudged)
		}
		if c.farads < 9e-9 && !(strings.Contains(r.NotJudged[0], "with 10 nF or more it can") && strings.Contains(r.NotJudged[1], "with 10 nF or more it can")) {
			t.Errorf("%q", r.NotJudged)
		}
	}
	// one whose end was seen so late that it may have been prolonged or not is no pass
	r := Begin(typ, x, Plan{Farads: 10e-9}, 10e-9, 0.05)
	if err := r.Test(t.Context(), &fakeChip{pulse: typical / 10, holds: true, gap: 17 * time.Microsecond}, typ, x); err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(r.NotJudged, func(s string) bool { return strings.Contains(s, "prolongs it") }) {
		t.Errorf("not judged %q, wrong %q", r.NotJudged, r.Wrong)
	}
}

// The bias of the complement pulls against it, and of the output not; a rest before each trigger lets the capacitor charge.
func TestWhatIsDriven(t *testing.T) {
	f := &fakeChip{pulse: typical}
	r := section123(t, f)
	for _, w := range f.watched {
		for i, a := range w.Actions {
			if a.Step.Driven&pins123 != pins123 || !a.Bias.On || !a.Bias.Up.Has(15) || a.Bias.Up.Has(14) {
				t.Fatalf("%+v", a)
			}
			if a.Bias.Up.Has(pinNotQ) != (w.Pin == pinNotQ) || a.Bias.Up.Has(pinQ) {
				t.Errorf("bias up at %v while pin %d is watched", a.Bias.Up, w.Pin)
			}
			if i == 1 && a.At.Seconds() < 4*r.Most {
				t.Errorf("triggered after %v", a.At)
			}
		}
	}
}

// Of a part that makers make to different formulas a pulse must fit one, and two of one chip the same one.
func TestMakersApart(t *testing.T) {
	typ := opened(t, "74HC123")
	time := func(section int, pulse float64) *Section {
		x := &typ.Variant.Timings[0] // the fake knows its pins alone
		r := Begin(typ, x, Plan{Farads: 100e-9}, 100e-9, 0.02)
		if err := r.Test(t.Context(), &fakeChip{pulse: pulse}, typ, x); err != nil {
			t.Fatal(err)
		}
		r.Name, r.Output = typ.Variant.Timings[section].Name, typ.Variant.Timings[section].Output
		return r
	}
	for _, c := range []struct {
		us1, us2 float64
		fits     []int // of the first: NXP, Philips, National
		open     bool
		unlike   bool
	}{
		{450, 450, []int{0}, false, false},
		{500, 560, []int{0, 1}, false, false},
		{450, 620, []int{0}, false, true}, // of one: 450 to NXP's alone, 620 to Philips' alone
		{1000, 1000, []int{2}, false, false},
		{450, 1000, []int{0}, false, true},
		{740, 740, nil, true, false},
		{740, 1000, nil, true, false},
		{740, 450, nil, true, true}, // one that fits none is of the other's maker, or of none
	} {
		one, two := time(0, c.us1*1e-6), time(1, c.us2*1e-6)
		if !slices.Equal(one.Fits, c.fits) || len(one.Wrong) > 0 || (len(one.NotJudged) > 0) != c.open {
			t.Errorf("%g µs: fits %v, wrong %q, not judged %q", c.us1, one.Fits, one.Wrong, one.NotJudged)
		}
		if got := (&Result{Sections: []Section{*one, *two}}).Unlike(typ.Variant); (got != "") != c.unlike {
			t.Errorf("%g and %g µs: %q", c.us1, c.us2, got)
		}
		if got := (&Result{Sections: []Section{*one}}).Unlike(typ.Variant); got != "" {
			t.Errorf("one alone: %q", got)
		}
	}
}

func TestRefuse(t *testing.T) {
	for _, c := range []struct {
		name string
		plan Plan
		says string // empty: it may
	}{
		{"74123", Plan{Farads: 10e-9}, ""},
		{"74123", Plan{Farads: 9.9e-9}, "from 10 nF to 4.7 µF"},
		{"74123", Plan{Farads: 4.7e-6}, ""},
		{"74123", Plan{Farads: 4.8e-6}, "to 4.7 µF"},
		{"74121", Plan{Farads: 220e-12}, ""},
		{"74121", Plan{Farads: 1.1e-9}, "220 pF to 1 nF"},
		{"74121", Plan{Farads: 1e-9, Section: "1"}, "leave --section out"},
		{"74123", Plan{Farads: 100e-9, Section: "3"}, "its sections are 1 and 2"},
		{"7400", Plan{Farads: 100e-9}, "times nothing"},
		{"4541B", Plan{Farads: 1e-9, Ohms: 5e3}, ""},
		{"4047B", Plan{Farads: 1e-9, Ohms: 10e3}, ""},
		{"4047B", Plan{Farads: 1e-9, Ohms: 4.9e3}, "5 to 100 kΩ"},
		{"4047B", Plan{Farads: 1e-9, Ohms: 101e3}, "5 to 100 kΩ"},
		{"4047B", Plan{Farads: 220e-12, Ohms: 5e3}, "does not follow"}, // 2.8 · 0.85 R C / 2 = 1.3 µs at OSC
		{"4046B", Plan{Farads: 1e-9, Ohms: 100e3}, ""},
		{"4046B", Plan{Farads: 1e-9}, "add --resistor 10k"},
		{"555", Plan{Farads: 100e-9}, "--section monostable"},
		{"555", Plan{Farads: 4.7e-6, Ohms: 100e3}, "too long to be watched"}, // 1.4 to 2.8 R C, of 0.47 s
		{"555", Plan{Farads: 1e-6, Ohms: 47e3}, ""},
	} {
		err := Refuse(opened(t, c.name), c.plan)
		if (err == nil) != (c.says == "") || err != nil && !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s %+v: %v", c.name, c.plan, err)
		}
	}
}

// What a higher rail shortens a pulse by: with ratio 1 nothing; from 0 to two thirds of the supply, ln 3 = 1.0986 becomes ln(1.03 / (1.03 - 2/3)) = 1.0417.
func TestShortened(t *testing.T) {
	f := part.Formula{Least: math.Log(3), Most: math.Log(3)}
	if least, most := shortened(1, f); math.Abs(least-1) > 1e-9 || math.Abs(most-1) > 1e-9 {
		t.Errorf("%g to %g", least, most)
	}
	if _, most := shortened(1.03, f); math.Abs(most-1.0417/1.0986) > 0.005 {
		t.Errorf("%g", most)
	}
}

func TestWidthOfEdges(t *testing.T) {
	us := time.Microsecond
	got := width(adapter.Edge{At: 10 * us, Gap: 4 * us}, adapter.Edge{At: 30 * us, Gap: 2 * us})
	// it rose between 6 and 10 µs and fell between 28 and 30: 18 to 24 µs
	if math.Abs(got.Seconds-21e-6) > 1e-9 || math.Abs(got.Uncertainty-3e-6) > 1e-9 {
		t.Errorf("%v", got)
	}
}

func TestRoundedUp(t *testing.T) {
	for x, want := range map[float64]float64{9.9e-9: 10e-9, 10e-9: 10e-9, 11e-9: 22e-9, 23e-9: 47e-9, 48e-9: 100e-9} {
		if got := roundedUp(x); math.Abs(got/want-1) > 1e-9 {
			t.Errorf("%g: %g, want %g", x, got, want)
		}
	}
}

// A pulse of less than 20 µs may fall into a gap of the adapter's looks, and is looked for three times; a longer one is seen at once.
func TestMissedPulses(t *testing.T) {
	typ := opened(t, "74123")
	x := &typ.Variant.Timings[0]
	for _, c := range []struct {
		farads float64
		missed int
		wrong  bool
	}{{5e-9, 0, false}, {5e-9, 2, false}, {5e-9, 3, true}, {22e-9, 1, true}} {
		r := Begin(typ, x, Plan{Farads: c.farads}, c.farads, 0.05)
		if err := r.Test(t.Context(), &fakeChip{pulse: typical * c.farads / 100e-9, missed: c.missed}, typ, x); err != nil {
			t.Fatal(err)
		}
		if (len(r.Wrong) > 0) != c.wrong {
			t.Errorf("%g F, %d missed: %q", c.farads, c.missed, r.Wrong)
		}
	}
}
