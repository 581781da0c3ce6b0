package virtual

import (
	"errors"
	"math"
	"math/bits"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"chipassay/host/adapter"
)

// An empty socket of a board is its resistors: Ohm's law, worked beside each.
func TestBoardDefectsAreElectrical(t *testing.T) {
	l3 := adapter.At(3)
	for _, c := range []struct {
		defect     string
		dir, level adapter.Word
		bias, load pulled
		volts      float64 // at L3
		why        string
	}{
		{"L3 drive open", l3, l3, allOff, allLow, 0, "nothing drives against the load"},
		{"L3 drive stuck high", 0, 0, allOff, allLow, 5 * 1050.0 / 1195, "1050 Ω and 145 Ω divide 5 V"},
		{"L3 drive stuck low", 0, 0, allOff, allHigh, 5 * 145.0 / 1195, "145 Ω and 1050 Ω"},
		{"L3 drive 300 ohms", l3, l3, allOff, allLow, 5 * 1050.0 / 1350, "1050 Ω and 300 Ω"},
		{"L3 bias 5000 ohms", 0, 0, allHigh, allLow, 5 * 1050.0 / 6050, "1050 Ω and 5 kΩ"},
		{"L3 bias open", 0, 0, allHigh, allLow, 0, "the load alone"},
		{"all load 2000 ohms", 0, 0, allLow, allHigh, 5 * 10_050.0 / 12_050, "10,050 Ω and 2 kΩ"},
		{"L3 bridged to L4", adapter.At(4), adapter.At(4), allOff, allLow, 5 * 525.0 / 670, "two loads of 1050 Ω, and 145 Ω"},
		{"high switch 4 stuck off", 0, 0, allLow, allOff, 0, "another position's"},
	} {
		b := NewBoard()
		if err := b.Damage(c.defect); err != nil {
			t.Fatal(err)
		}
		s := b.Socket(nil, 1)
		pull(s, c.bias, c.load)
		s.Drive(c.dir, c.level)
		about(t, c.defect+", "+c.why, float64(s.Millivolts(3))/1000, c.volts, 0.001)
	}
}

func TestSwitchDefects(t *testing.T) {
	for _, c := range []struct {
		defect    string
		high, low adapter.Word
		reads     adapter.Word // with the bias high, of positions 5 and 7
	}{
		{"monitor dead", adapter.At(5), adapter.At(7), adapter.At(5)},
		{"low switch 7 stuck off", adapter.At(5), adapter.At(7), adapter.At(5, 7)},
		{"low switch 7 stuck on", 0, 0, adapter.At(5)},
		{"high switch 5 stuck on", 0, adapter.At(7), adapter.At(5)},
	} {
		b := NewBoard()
		if err := b.Damage(c.defect); err != nil {
			t.Fatal(err)
		}
		s := b.Socket(nil, 1)
		s.Supply(c.high, c.low)
		pull(s, allHigh, allOff)
		if got := s.Sample() & adapter.At(5, 7); got != c.reads {
			t.Errorf("%s: %v read high, want %v", c.defect, got, c.reads)
		}
	}
	b := NewBoard()
	if err := errors.Join(b.Damage("high switch 5 stuck off"), b.Damage("shunt 2 ohms")); err != nil {
		t.Fatal(err)
	}
	s := b.Socket(nil, 1)
	pull(s, allLow, allLow)
	s.Supply(adapter.At(5), adapter.At(7))
	if s.Millivolts(5) != 0 || s.CurrentMicroamps() != 0 {
		t.Errorf("a switch that does not close: %d mV, %d µA", s.Millivolts(5), s.CurrentMicroamps())
	}
	// 4.95 V over 1050 Ω and 10,050 Ω side by side is 5.2 mA, and 4.25 V over 2225 Ω
	// 1.9 mA of base current; twenty times the shunt reads as twenty times the current.
	s.Supply(adapter.At(28), adapter.At(7))
	about(t, "current, mA", float64(s.CurrentMicroamps())/1000, 142, 1)
}

// An open sense line shows no level, and the converter what it held before.
func TestOpenSenseLine(t *testing.T) {
	b := NewBoard()
	if err := b.Damage("L3 sense open"); err != nil {
		t.Fatal(err)
	}
	s := b.Socket(nil, 1)
	pull(s, allLow, allOff)
	s.Drive(adapter.At(2), adapter.At(2))
	before := s.Convert(1)
	if got := s.Convert(2); got != before {
		t.Errorf("%d counts, the converter held %d", got, before)
	}
	var any, every adapter.Word = 0, adapter.All
	for range 64 {
		w := s.Sample()
		any, every = any|w, every&w
	}
	if !any.Has(3) || every.Has(3) || any.Has(4) {
		t.Errorf("of 64 samples position 3 read high in any %v, in every %v", any.Has(3), every.Has(3))
	}
}

// A resistor in the socket is in series with what drives and holds its ends.
func TestResistorInTheSocket(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ohms := rapid.Float64Range(100, 100_000).Draw(t, "R, Ω")
		ends := rapid.Permutation([]int{1, 4, 5, 11, 14, 15, 22, 28}).Draw(t, "ends")
		s := NewBoard().SocketWith(Resistor{ohms, ends[0], ends[1]}, 1)
		pull(s, allOff, allLow)
		s.Drive(adapter.At(ends[0]), adapter.At(ends[0]))
		// 0.35 Ω and 145 Ω from 5 V to P; 1050 Ω at P and R + 1050 Ω beside it to ground
		down := 1 / (1/1050.0 + 1/(ohms+1050))
		p := 5 * down / (down + 145.35)
		q := p * 1050 / (ohms + 1050)
		if gotP, gotQ := s.Millivolts(ends[0]), s.Millivolts(ends[1]); math.Abs(float64(gotP)-1000*p) > 1 || math.Abs(float64(gotQ)-1000*q) > 1 {
			t.Fatalf("%d and %d mV, want %.1f and %.1f", gotP, gotQ, 1000*p, 1000*q)
		}
	})
}

// Spread stays within its tolerance, and repeats with its seed.
func TestSpread(t *testing.T) {
	b, again := NewBoard(), NewBoard()
	b.Spread(5, 3)
	again.Spread(5, 3)
	if b.pull != again.pull || b.pull == NewBoard().pull {
		t.Error("the spread does not repeat with its seed, or is none")
	}
	for p := 1; p <= adapter.Positions; p++ {
		i := bits.TrailingZeros32(uint32(adapter.At(p)))
		for _, r := range []struct{ siemens, ohms float64 }{{b.drive[i], 145}, {b.pull[BiasPull][i], 10_050}, {b.pull[LoadPull][i], 1050}} {
			if off := 1/r.siemens/r.ohms - 1; math.Abs(off) > 0.0501 {
				t.Errorf("position %d: %.0f Ω is off by %.3f", p, 1/r.siemens, off)
			}
		}
	}
}

func TestBoardDefectTexts(t *testing.T) {
	for _, text := range []string{"", "L3", "L3 drive", "L15 drive open", "L0 drive open", "R15 sense open", "3 drive open", "L3 drive -1 ohms",
		"L3 drive NaN ohms", "L3 drive 1e-320 ohms", "L3 drive 1e99 ohms", "high switch 2 stuck on", "low switch 5 stuck off", "L3 bridged to L3", "converter gain 5",
		"converter offset 5000 mV", "monitor half dead"} {
		if err := NewBoard().Damage(text); !errors.Is(err, ErrDefect) {
			t.Errorf("%q: %v", text, err)
		}
	}
	for l := range strings.Lines(BoardDefectForms()) {
		text := strings.TrimSpace(l[:26])
		for _, letters := range [][2]string{{"C ", "r5 "}, {" D", " L2"}, {" P ", " 4 "}, {" X", " 1.5"}} {
			text = strings.ReplaceAll(text, letters[0], letters[1])
		}
		if err := NewBoard().Damage(text); err != nil {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// No text breaks the parser, and what it takes leaves a socket that settles.
func FuzzBoardDefect(f *testing.F) {
	for _, form := range boardForms {
		f.Add(form.text)
	}
	f.Add("L3 drive open")
	f.Add("R5 load 2000 ohms")
	f.Fuzz(func(t *testing.T, text string) {
		b := NewBoard()
		if err := b.Damage(text); err != nil {
			return
		}
		s := b.Socket(nil, 1)
		pull(s, allHigh, allLow)
		for p := 1; p <= adapter.Positions; p++ {
			if mv := s.Millivolts(p); mv < 0 || mv > 20_000 {
				t.Errorf("%q: %d mV", text, mv)
			}
		}
	})
}
