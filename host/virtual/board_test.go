package virtual

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
)

// The resistances of outputs, Ω: of the MCU, and of a register low and high, typical as
// firmware/carrier has them for SPICE.
const line, qLow, qHigh = 25, 30, 35

// share is what stands between resistances to the rail and to ground, as a share of the rail.
func share(up, down float64) float64 { return down / (down + up) }

func beside(a, b float64) float64 { return a * b / (a + b) }

func damaged(t testing.TB, texts ...string) *Board {
	t.Helper()
	b := NewBoard()
	for _, text := range texts {
		if err := b.Damage(text); err != nil {
			t.Fatal(err)
		}
	}
	return b
}

// An empty socket of a board is its resistors: Ohm's law, worked beside each.
func TestBoardDefectsAreElectrical(t *testing.T) {
	l3, l4 := adapter.At(3), adapter.At(4)
	const drive = 120 + line
	for _, c := range []struct {
		defect     string
		dir, level adapter.Word
		bias, load pulled
		share      float64 // at L3, of the rail
		why        string
	}{
		{"R103 open", l3, l3, allOff, allLow, 0, "nothing drives against the load"},
		{"PA2 open", l3, l3, allOff, allLow, 0, "the same"},
		{"PA2 stuck high", 0, 0, allOff, allLow, share(drive, 1000+qLow), "load and drive"},
		{"PA2 stuck low", 0, 0, allOff, allHigh, share(1000+qHigh, drive), "load and drive"},
		{"R103 300 ohms", l3, l3, allOff, allLow, share(300+line, 1000+qLow), "another drive resistor"},
		{"R303 5000 ohms", 0, 0, allHigh, allLow, share(5000+qHigh, 1000+qLow), "another bias resistor"},
		{"R303 open", 0, 0, allHigh, allLow, 0, "the load alone"},
		{"R303 missing", 0, 0, allHigh, allLow, 0, "the load alone"},
		{"R303 short", 0, 0, allHigh, allLow, share(qHigh, 1000+qLow), "a register's output alone"},
		{"U21 pin 2 open", 0, 0, allHigh, allLow, 0, "the load alone"},
		{"U21 dead", 0, 0, allHigh, allLow, 0, "the load alone"},
		{"U21 pin 16 open", 0, 0, allHigh, allLow, 0, "no supply, no output"},
		{"U21 pin 12 open", 0, 0, allHigh, allOff, 0, "nothing is stored: its outputs stay low"},
		{"PG2 open", 0, 0, allHigh, allLow, 0, "the outputs stay off"},
		{"U21 pin 13 shorted to pin 8", 0, 0, allOff, allHigh, share(1000+qHigh, 10_000+qLow), "the outputs are always on"},
		{"bias_L3 stuck high", 0, 0, allOff, allLow, share(10_000+qHigh, 1000+qLow), "bias against load"},
		{"bias_L3 stuck low", 0, 0, allHigh, allHigh, share(1000+qHigh, 10_000+qLow), "bias against load"},
		{"all load 2000 ohms", 0, 0, allLow, allHigh, share(2000+qHigh, 10_000+qLow), "load against bias"},
		{"L3 shorted to L4", l4, l4, allOff, allLow, share(drive, (1000+qLow)/2.), "two loads at one drive"},
		{"L3 shorted to GND", l3, l3, allOff, allOff, share(drive, 0.01), "a blob of 10 mΩ"},
		{"L3 shorted to +5V", l3, 0, allOff, allOff, share(0.01, drive), "the same"},
		// Two lines that touch: 25 Ω feed two positions through 120 Ω with 1 kΩ each.
		{"PA2 shorted to PA3", l4, l4, allOff, allLow, share(line, (120+1000+qLow)/2.) * share(120, 1000+qLow), "both positions"},
		{"PA2 shorted to PA3", l3 | l4, l4, allOff, allOff, 0.5, "25 Ω against 25 Ω"},
		// The sense lines join two positions by 9.4 kΩ.
		{"PF2 shorted to PF3", l4, l4, allOff, allLow, share(beside(9400+drive, 1e12), 1000+qLow) * 0, ""},
		// Outputs of a register that touch: 35 Ω against 30 Ω, then 10 kΩ to nothing.
		{"U21 pin 2 shorted to pin 3", 0, 0, allOff, allOff, 0, ""},
		{"D1 turned", 0, 0, allHigh, allOff, 1, "a lamp changes nothing here"},
		{"Q104 pin 1 open", 0, 0, allHigh, allOff, 1, "nor does another position's switch"},
	} {
		if c.why == "" {
			continue
		}
		s := damaged(t, c.defect).Socket(nil, 1)
		pull(s, c.bias, c.load)
		s.Drive(c.dir, c.level)
		about(t, c.defect+", "+c.why, float64(s.Millivolts(3))/1000, c.share*s.RailVolts(), 0.0015)
	}
}

// What a fault joins is solved together. PF2 and PF3 touch: L3 and L4 are joined by 9.4 kΩ,
// and both are read at its middle.
func TestSenseLinesThatTouch(t *testing.T) {
	s := damaged(t, "PF2 shorted to PF3").Socket(nil, 1)
	s.Drive(adapter.At(4), adapter.At(4))
	pull(s, allOff, allLow)
	// 145 Ω to L4, which has 1030 Ω and, through 9.4 kΩ, another 1030 Ω.
	four := share(120+line, beside(1000+qLow, 9400+1000+qLow)) * s.RailVolts()
	three := four * share(9400, 1000+qLow)
	about(t, "L4", float64(s.Millivolts(4))/1000, four, 0.0015)
	about(t, "L3", float64(s.Millivolts(3))/1000, three, 0.0015)
	for _, channel := range []int{2, 3} {
		about(t, "what the converter sees", float64(s.Convert(channel))/4096*s.RailVolts(), (three+four)/2, 0.005)
	}
	if r := reads(s, 3); r != 'u' { // 2.45 V of 4.95
		t.Errorf("L3 reads %c", r)
	}
}

// Two outputs of a register touch, one high and one low: 35 Ω against 30 Ω, and
// 10 kΩ to each position, whose load is 1 kΩ to ground.
func TestRegisterOutputsThatTouch(t *testing.T) {
	s := damaged(t, "U21 pin 2 shorted to pin 3").Socket(nil, 1)
	s.Pull(LoadPull, true, 0)
	s.Pull(BiasPull, true, adapter.At(4))
	at := s.RailVolts() * share(qHigh, beside(qLow, (10_000+1000+qLow)/2.)) * share(10_000, 1000+qLow)
	about(t, "L3", float64(s.Millivolts(3))/1000, at, 0.0015)
	about(t, "L4", float64(s.Millivolts(4))/1000, at, 0.0015)
}

// Transistors that are wrong, at position 8 (low side) and 28 (high side).
func TestSwitchDefects(t *testing.T) {
	for _, c := range []struct {
		defect    string
		high, low adapter.Word
		bias      pulled
		position  int
		from, to  float64 // V there
		why       string
	}{
		{"Q108 missing", 0, adapter.At(8), allHigh, 8, 4.9, 5, "it does not close"},
		{"Q108 pin 3 open", 0, adapter.At(8), allHigh, 8, 4.9, 5, "nor without its source"},
		{"Q108 pin 2 open", 0, adapter.At(8), allHigh, 8, 4.9, 5, "nor without its gate"},
		{"U11 pin 3 open", 0, adapter.At(8), allHigh, 8, 4.9, 5, "nor without the register's output"},
		{"Q108 pin 2 shorted to pin 3", 0, adapter.At(8), allHigh, 8, 4.8, 5, "nor with its gate at ground, into which the output drives"},
		{"gate_L8 stuck high", 0, 0, allHigh, 8, 0, 0.01, "it does not open"},
		{"Q108 turned", 0, 0, allHigh, 8, 0.5, 0.8, "its body diode leads to ground"},
		{"Q108 turned", 0, adapter.At(8), allHigh, 8, 0, 0.01, "and its channel either way"},
		{"Q108 pin 1 shorted to pin 2", 0, 0, allHigh, 8, 0, 0.1, "the register's low output holds it: 30 Ω against 10 kΩ"},
		{"Q108 pin 1 shorted to pin 2", 0, adapter.At(8), allOff, 8, 1.9, 2.5, "gate and drain joined: the threshold and a little more, at 60 mA"},
		{"Q228 missing", adapter.At(28), 0, allLow, 28, 0, 0.01, "it does not close"},
		{"R628 open", adapter.At(28), 0, allLow, 28, 0, 0.01, "nor without its base resistor"},
		{"Q228 pin 2 shorted to pin 3", adapter.At(28), 0, allLow, 28, 0, 0.01, "nor with its base at its emitter"},
		{"R728 open", adapter.At(28), 0, allLow, 28, 4.85, 4.95, "it closes without the other resistor"},
		{"R728 short", adapter.At(28), 0, allLow, 28, 0, 0.01, "but not over it"},
		{"F1 open", adapter.At(28), 0, allLow, 28, 0, 0.01, "no fuse, no supply"},
		{"U51 missing", adapter.At(28), 0, allLow, 28, 0, 0.01, "no shunt, no supply"},
		{"PH6 stuck low", 0, 0, allLow, 28, 4.85, 4.95, "it does not open"},
		{"PH6 stuck high", adapter.At(28), 0, allLow, 28, 0, 0.01, "nor close"},
		{"PH6 shorted to PH5", adapter.At(22), 0, allLow, 28, 4.85, 4.95, "25 Ω against 25 Ω is low enough for both bases"},
		{"Q228 pin 1 shorted to pin 2", 0, 0, allLow, 28, 4.2, 4.5, "10 kΩ down against 2.2 kΩ up, and a junction below 5 V"},
		{"Q228 turned", adapter.At(28), 0, allLow, 28, 4.85, 4.96, "backward it carries the bias too"},
		{"C128 short", adapter.At(28), 0, allLow, 28, 0, 0.1, "the fuse trips"},
	} {
		s := damaged(t, c.defect).Socket(nil, 1)
		s.Supply(c.high, c.low)
		pull(s, c.bias, allOff)
		if v := float64(s.Millivolts(c.position)) / 1000; v < c.from || v > c.to {
			t.Errorf("%s, %s: %.3f V, want %.2f to %.2f", c.defect, c.why, v, c.from, c.to)
		}
	}
}

// The monitor sees 4.9 V over 1030 Ω and 10,030 Ω side by side, 5.2 mA, and the base current, 4.2 V over
// 2225 Ω, 1.9 mA; a shunt of 2 Ω makes it twenty times as much.
func TestMonitor(t *testing.T) {
	for _, c := range []struct {
		defect   string
		mA       float64
		answers  bool
		position int
	}{
		{"D1 turned", 7.1, true, 28}, {"shunt 2 ohms", 142, true, 28}, {"shunt 0.12 ohms", 8.5, true, 28}, {"monitor dead", 0, false, 28},
		{"PD0 open", 0, false, 28}, {"PD0 shorted to PD1", 0, false, 28}, {"U51 pin 4 open", 0, false, 28}, {"Q205 missing", 0, true, 5},
		{"FUSED shorted to SUPPLY", 0.6, true, 28}, // 10 mΩ beside the shunt's 100
	} {
		s := damaged(t, c.defect).Socket(nil, 1)
		pull(s, allLow, allLow)
		s.Supply(adapter.At(c.position), adapter.At(7))
		if c.position == 5 {
			continue
		}
		about(t, c.defect+", mA", float64(s.CurrentMicroamps())/1000, c.mA, 0.02*c.mA+0.1)
		if s.Monitor() != c.answers {
			t.Errorf("%s: the monitor answers %v", c.defect, s.Monitor())
		}
		if s.CurrentMicroamps()%100 != 0 {
			t.Error("the monitor's step is 100 µA")
		}
	}
}

// What the firmware finds of the chains and converters, from the netlist's groups and
// from what breaks a chain: its data, its clock, the way from a register to the next, and
// the way back. Outputs are 8 a register.
func TestWhatIsFound(t *testing.T) {
	all := carrier.AllGroups()
	for _, c := range []struct {
		groups             []carrier.Group
		defect             string
		low, bias, load    int
		converter1, second bool
		why                string
	}{
		{all, "", 16, 32, 32, true, true, "everything"},
		{nil, "", 8, 16, 0, false, false, "the starter"},
		{[]carrier.Group{carrier.Load}, "", 8, 16, 16, false, false, ""},
		{[]carrier.Group{carrier.Load, carrier.FarHalf}, "", 8, 32, 32, false, false, ""},
		{[]carrier.Group{carrier.Switches, carrier.FarHalf}, "", 16, 32, 0, false, false, ""},
		{all, "U22 missing", 16, 0, 32, true, true, "the chain is cut"},
		{all, "U24 dead", 16, 0, 32, true, true, "and at its end"},
		{all, "U21 pin 14 open", 16, 0, 32, true, true, "no data"},
		{all, "U33 pin 11 open", 16, 32, 0, true, true, "no clock"},
		{all, "U33 pin 12 open", 16, 32, 32, true, true, "no strobe: the chain shifts"},
		{all, "U33 pin 13 open", 16, 32, 32, true, true, "no enable: likewise"},
		{all, "U12 pin 10 open", 0, 32, 32, true, true, "its clear floats"},
		{all, "R821 open", 16, 0, 32, true, true, "no way back"},
		{all, "JP3 missing", 16, 32, 0, true, true, "likewise"},
		{all, "PJ1 open", 0, 32, 32, true, true, "likewise"},
		{all, "PD2 open", 16, 0, 32, false, true, "and the converter's"},
		{all, "PD3 stuck low", 16, 32, 0, true, false, "likewise"},
		{all, "PC7 open", 0, 0, 0, false, false, "no clock at all"},
		{all, "PC6 shorted to PC7", 0, 0, 0, false, false, "data and clock are one"},
		{all, "U31 pin 10 shorted to pin 11", 0, 0, 0, false, false, "the clock is held"},
		{all, "PJ0 open", 16, 32, 32, false, false, "no select"},
		{all, "PJ0 stuck low", 16, 0, 0, false, false, "the converters hold the lines back"},
		{all, "U41 missing", 16, 32, 32, false, true, "one converter"},
		{all, "U42 pin 12 open", 16, 32, 32, true, false, "its answer"},
		{all, "U24 pin 9 shorted to pin 10", 16, 0, 32, true, true, "the end is held"},
	} {
		b := NewBoard()
		b.Groups(c.groups...)
		if c.defect != "" {
			if err := b.Damage(c.defect); err != nil {
				t.Fatal(err)
			}
		}
		s := b.Socket(nil, 1)
		if s.Chain(0) != c.low || s.Chain(1) != c.bias || s.Chain(2) != c.load || s.Converter(0) != c.converter1 || s.Converter(1) != c.second {
			t.Errorf("%v %q, %s: chains %d %d %d, converters %v %v", c.groups, c.defect, c.why,
				s.Chain(0), s.Chain(1), s.Chain(2), s.Converter(0), s.Converter(1))
		}
	}
}

// A starter has the near half: what it lacks leaves its positions alone.
func TestStarter(t *testing.T) {
	b := NewBoard()
	b.Groups()
	s := b.Socket(nil, 1)
	pull(s, allHigh, allHigh)
	if r := reads(s, 3); r != '1' {
		t.Errorf("L3 reads %c", r)
	}
	if r := reads(s, 20); r != 'u' {
		t.Errorf("R9, which has no bias, reads %c", r)
	}
	s.Supply(adapter.At(5), adapter.At(9))
	if s.Live() {
		t.Error("switches close that are not there")
	}
	s.Supply(adapter.At(28), adapter.At(7))
	about(t, "L7 at its switch", float64(s.Millivolts(7)), 0, 1)
}

// The converters count shares of the rail: 2.5 V of 4.95 V are 2068 of 4096.
func TestConverters(t *testing.T) {
	for _, c := range []struct {
		defect  string
		channel int
		volts   float64
	}{
		{"", 22, 2.5}, {"", 30, 2.5}, {"", 23, 4.952}, {"", 2, 4.952}, {"", 17, 0}, {"", 24, 4.952},
		{"reference 2.4 V", 22, 2.4}, {"U43 missing", 22, 4.952}, {"U43 turned", 30, 4.952}, {"R831 open", 22, 0}, {"C43 short", 22, 0},
		{"converter gain 0.9", 2, 0.9 * 4.952}, {"converter offset -100 mV", 2, 4.852}, {"converter 2 gain 0.9", 24, 0.9 * 4.952},
		{"converter 1 offset 50 mV", 17, 0.05}, {"F1 open", 23, 0}, {"U41 pin 15 open", 22, 4.952},
	} {
		b := NewBoard()
		if c.defect != "" {
			b = damaged(t, c.defect)
		}
		s := b.Socket(nil, 1)
		s.Pull(BiasPull, true, adapter.At(3, 20))
		count := s.Convert(c.channel)
		about(t, c.defect+", V", float64(count)/4096*s.RailVolts(), c.volts, 0.005)
	}
}

// An open sense line shows no level, and the converter what it held before.
func TestOpenSenseLine(t *testing.T) {
	s := damaged(t, "R203 open").Socket(nil, 1)
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

func TestButton(t *testing.T) {
	for defect, want := range map[string][2]bool{
		"D1 turned": {false, true}, "button stuck": {true, true}, "S1 short": {true, true}, "S1 missing": {false, false}, "PE4 open": {false, false},
		"PE4 stuck low": {true, true},
	} {
		b := damaged(t, defect)
		if got := [2]bool{b.buttonReads(false), b.buttonReads(true)}; got != want {
			t.Errorf("%s: reads %v released and pressed, want %v", defect, got, want)
		}
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
		// 145 Ω from the rail to P; 1030 Ω at P and R + 1030 Ω beside it to ground
		p := s.RailVolts() * share(120+line, beside(1000+qLow, ohms+1000+qLow))
		q := p * (1000 + qLow) / (ohms + 1000 + qLow)
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
	whole, moved := carrier.New(), 0
	for i, p := range whole.Parts {
		got := b.netlist.Parts[i].Ohms
		if got != again.netlist.Parts[i].Ohms {
			t.Errorf("%s does not repeat with the seed", p.Ref)
		}
		if got != p.Ohms {
			moved++
		}
		if off := got/p.Ohms - 1; math.Abs(off) > 0.0501 {
			t.Errorf("%s: %.0f Ω is off by %.3f", p.Ref, got, off)
		}
	}
	if moved < 4*28 {
		t.Errorf("%d resistors were moved", moved)
	}
}

func TestBoardDefectTexts(t *testing.T) {
	for _, text := range []string{"", "L3", "R999 open", "L15 open", "U21 open", "R303 turned", "U21 turned", "R303 -1 ohms", "R303 dead", "C128 5 ohms",
		"R303 NaN ohms", "R303 1e-320 ohms", "R303 1e99 ohms", "U21 pin 17 open", "U21 pin 3 shorted to pin 3", "L3 shorted to L3", "converter gain 5",
		"converter offset 5000 mV", "converter 3 gain 1", "reference 9 V", "monitor half dead", "+5V shorted to GND", "C11 short", "A1 missing", "base_L5 stuck low",
		"PZ0 open", "FUSED open", "Q107 short"} {
		err := NewBoard().Damage(text)
		if !errors.Is(err, ErrDefect) {
			t.Errorf("%q: %v", text, err)
		}
	}
	for text, want := range map[string]string{"R999 open": "no part R999", "U21 pin 17 open": "U21 has no pin 17", "L5 shorted to L55": "no line, column or net L55"} {
		if err := NewBoard().Damage(text); err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v, want one line with %q", text, err, want)
		}
	}
	for l := range strings.Lines(BoardDefectForms()) {
		text := " " + strings.TrimSpace(l[:36]) + " "
		for _, letters := range [][2]string{{" PART pin ", " u21 pin "}, {" PART dead", " u21 dead"}, {" PART turned", " q107 turned"}, {" PART ", " r305 "}, {" PIN ", " 5 "}, {" OTHER ", " 6 "},
			{" NET stuck", " bias_l5 stuck"}, {" NET ", " pa0 "}, {" NET2 ", " pa1 "}, {" N ", " 2 "}, {" X ", " 1.5 "}} {
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
	f.Add("R305 open")
	f.Add("R405 2000 ohms")
	f.Fuzz(func(t *testing.T, text string) {
		b := NewBoard()
		if err := b.Damage(text); err != nil {
			return
		}
		settles(t, text, b)
	})
}

// settles checks that nothing in an empty socket leaves the supplies.
func settles(t *testing.T, what string, b *Board) {
	s := b.Socket(nil, 1)
	pull(s, allHigh, allLow)
	s.Supply(adapter.At(28), adapter.At(7))
	for p := 1; p <= adapter.Positions; p++ {
		if mv := s.Millivolts(p); mv < -1 || mv > 5000 {
			t.Errorf("%q: %d mV", what, mv)
		}
	}
}

// Every single fault of the carrier leaves a socket that settles: each part missing, each pin open,
// and shorted to the next.
func TestEveryFaultSettles(t *testing.T) {
	faults := 0
	for _, p := range carrier.New().Parts {
		texts := []string{p.Ref + " missing"}
		for i, pin := range p.Pins {
			texts = append(texts, p.Ref+" pin "+pin.Number+" open")
			if i > 0 {
				texts = append(texts, p.Ref+" pin "+p.Pins[i-1].Number+" shorted to pin "+pin.Number)
			}
		}
		for _, text := range texts {
			b := NewBoard()
			if err := b.Damage(text); err != nil {
				t.Logf("%v", err)
				continue
			}
			faults++
			settles(t, text, b)
		}
	}
	t.Logf("%d faults", faults)
}
