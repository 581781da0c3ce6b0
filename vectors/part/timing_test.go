package part_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"chipassay/vectors/part"
)

// oneShot is a part with timing rows; the rows begin in line 18.
func oneShot(rows ...string) string {
	return `part 74199 "monostable"
kind timer
families 74 74HC
source "from memory"
untested "pulses"
package DIP8
    A  1 | U | 8 VCC
    B  2 |   | 7 RCX
   /Q  3 |   | 6 CX
  GND  4 |   | 5 Q
inputs A B
external CX RCX
outputs Q /Q
load 2 A
Q  = A & B ? x : 0
/Q = A & B ? x : 1
timing
` + strings.Join(rows, "\n") + "\n"
}

var goodRows = []string{
	"capacitor CX RCX", "resistor RCX to supply", "pulse Q /Q", "trigger on fall A when B", "trigger on rise B when !A",
	"clear !B", "retriggerable", `width 0.28 RC offset 700 within 20 "data sheet" in 74`, `width 0.45 to 1 RC "other" in 74HC`, `below ground "clamp" in 74`,
}

func TestTimingStatement(t *testing.T) {
	parts, err := part.Parse("x.part", oneShot(goodRows...))
	if err != nil {
		t.Fatal(err)
	}
	x := parts[0].Variants[0].Timings[0]
	if x.Positive != 7 || x.Negative != 6 || x.Supplied != 7 || x.Output != 5 || x.Complement != 3 || !x.Retriggerable || !x.Clears {
		t.Errorf("%+v", x)
	}
	if len(x.Triggers) != 2 || x.Triggers[0].Rise || !x.Triggers[1].Rise || !x.Triggers[0].When.Holds(part.PinSet(2)) || x.Triggers[0].When.Holds(part.PinSet(1)) {
		t.Errorf("%+v", x.Triggers)
	}
	if got := x.Inputs(parts[0].Variants[0]); len(got) != 2 {
		t.Errorf("inputs %v", got)
	}
	// 0.28 · (10 k + 0.7 k) · 100 nF = 299.6 µs, 20 % either way; 0.45 and 1 times 1 ms
	for family, want := range map[string][2]float64{"74": {239.7e-6, 359.5e-6}, "74HC": {450e-6, 1e-3}} {
		formulas := x.In(part.FamilyByName(family))
		if len(formulas) != 1 {
			t.Fatalf("%s: %v", family, formulas)
		}
		least, most := formulas[0].Range(10e3, 100e-9)
		if math.Abs(least-want[0]) > 1e-7 || math.Abs(most-want[1]) > 1e-7 {
			t.Errorf("%s: %g to %g", family, least, most)
		}
	}
	if x.BelowGround(part.FamilyByName("74")) != "clamp" || x.BelowGround(part.FamilyByName("74HC")) != "" {
		t.Error("below ground in the wrong family")
	}
}

// Mistakes, each with its line and column and what to write.
func TestMistakesInTimings(t *testing.T) {
	for _, c := range []struct {
		row       int // of the good ones that is replaced, from 0
		by        string
		line, col int
		says      string
	}{
		{0, "capacitor CX", 18, 1, "two pins of the capacitor"},
		{0, "capacitor CX CX", 18, 11, "named twice"},
		{0, "capacitor CX NO", 18, 14, "NO"},
		{1, "resistor RCX", 19, 1, "name two pins, or one and the supply"},
		{2, "pulse A", 20, 7, "no output"},
		{3, "trigger on pulse A", 21, 1, "write the edge"},
		{3, "trigger on fall Q", 21, 17, "no input"},
		{3, "trigger on fall A while B", 21, 19, "when must stand here"},
		{3, "trigger on fall A when Q", 21, 24, "a condition of a timing is one of inputs"},
		{6, "retriggerable Q", 24, 15, "stands alone"},
		{6, "retriggerable by Q", 24, 18, "no input"},
		{6, "retriggerable by A B", 24, 1, "name the input"},
		{6, "divided Q", 24, 1, "divided OSC 2"},
		{6, "divided A 2", 24, 9, "no output"},
		{6, "divided Q 0", 24, 11, "divided OSC 2"},
		{6, "divided Q 2", 17, 1, "for what runs"},
		{6, "faster A", 17, 1, "for what runs"},
		{6, "faster Q", 24, 8, "no input"},
		{7, `width RC "x" in 74`, 25, 7, "the factor is a number"},
		{7, `width 0.3 "x" in 74`, 25, 11, "RC must follow"},
		{7, `width 0.3 RC in 74`, 25, 11, "source must follow"},
		{7, `width 0.3 RC within 95 "x" in 74`, 25, 21, "tolerance"},
		{7, `width 0.3 RC "x" in 75`, 25, 21, "no family 75"},
		{7, `width 0.3 RC "x" in 74HC`, 17, 1, "no width or period in family 74"},
		{9, `below "clamp"`, 27, 1, "write below ground"},
	} {
		rows := append([]string{}, goodRows...)
		rows[c.row] = c.by
		_, err := part.Parse("x.part", oneShot(rows...))
		var e *part.Error
		if !errors.As(err, &e) {
			t.Errorf("%s: %v", c.by, err)
			continue
		}
		if e.Line != c.line || e.Col != c.col || !strings.Contains(e.Msg, c.says) {
			t.Errorf("%s: %d:%d: %s", c.by, e.Line, e.Col, e.Msg)
		}
	}
	for _, c := range []struct {
		without int
		says    string
	}{{0, "no capacitor"}, {1, "no resistor"}, {2, "no pulse"}} {
		rows := append(append([]string{}, goodRows[:c.without]...), goodRows[c.without+1:]...)
		if _, err := part.Parse("x.part", oneShot(rows...)); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("without row %d: %v", c.without, err)
		}
	}
}

func TestTrippingInputs(t *testing.T) {
	text := strings.Replace(oneShot(goodRows...), "load 2 A", "trip 67 A", 1)
	parts, err := part.Parse("x.part", text)
	if err != nil {
		t.Fatal(err)
	}
	if p := parts[0].Variants[0].Pin("A"); p.Trip != 0.67 || p.LoadIn(part.FamilyByName("74")) != 0 {
		t.Errorf("%+v", p)
	}
	if _, err := part.Parse("x.part", strings.Replace(text, "trip 67", "trip 97", 1)); err == nil || !strings.Contains(err.Error(), "10 to 90 percent") {
		t.Error(err)
	}
}

// Makers' formulas for a family stand beside each other, and one for all families is for those that none names.
func TestFormulasOfMakers(t *testing.T) {
	rows := append(append([]string{}, goodRows[:7]...), `width 0.45 RC "A" in 74HC`, `width 1 RC "B" in 74HC`, `width 0.3 RC "C"`)
	parts, err := part.Parse("x.part", oneShot(rows...))
	if err != nil {
		t.Fatal(err)
	}
	for family, want := range map[string]string{"74HC": "AB", "74": "C"} {
		got := ""
		for _, f := range parts[0].Variants[0].Timings[0].In(part.FamilyByName(family)) {
			got += f.Source
		}
		if got != want {
			t.Errorf("%s: %s, want %s", family, got, want)
		}
	}
}

// What an oscillator has besides: an input that makes it faster, which is one of its inputs though it gates nothing, and an output
// that is not divided.
func TestOscillatorStatement(t *testing.T) {
	parts, err := part.Parse("x.part", oneShot("capacitor CX RCX", "resistor RCX to supply", "pulse Q", "runs when B", "faster A", "divided /Q 2", `period 1 RC "x"`))
	if err != nil {
		t.Fatal(err)
	}
	x := parts[0].Variants[0].Timings[0]
	if got := x.Inputs(parts[0].Variants[0]); x.Faster != 1 || len(got) != 2 || x.Undivided != 3 || x.Divisor != 2 {
		t.Errorf("%+v, inputs %v", x, got)
	}
}
