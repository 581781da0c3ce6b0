package tied

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/twolevel"
)

var catalogue = sync.OnceValue(func() *Catalogue {
	parts, err := library.All()
	if err != nil {
		panic(err)
	}
	c, err := Catalogued(parts)
	if err != nil {
		panic(err)
	}
	return c
})

func page(t *testing.T, typed string) *Page {
	t.Helper()
	words := strings.Fields(typed)
	typ, err := library.Open(words[0])
	if err != nil {
		t.Fatal(err)
	}
	ties, err := Parse(typ.Variant, words[1:])
	if err != nil {
		t.Fatal(err)
	}
	p, err := PageOf(typ, ties, catalogue())
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestWhatAnOutputBecomes(t *testing.T) {
	for _, c := range []struct{ typed, output, language, words, same string }{
		// AND-OR-INVERT gates with a group grounded are NAND gates (data books' application
		// notes on expanding gates, from memory; common practice).
		{"74LS51 1D=L 1E=L 1F=L", "1Y", "!(1A & 1B & 1C)", "NOT (1A AND 1B AND 1C): a 3-input NAND", "7410"},
		{"7454 C=L D=L E=L F=L G=L H=L", "Y", "!(A & B)", "NOT (A AND B): a 2-input NAND", "7400"},
		// Spare inputs of a NAND joined or held high (common practice).
		{"7400 1B=1A", "1Y", "!1A", "NOT 1A: an inverter", "7404"},
		{"7410 1A=H", "1Y", "!(1B & 1C)", "NOT (1B AND 1C): a 2-input NAND", "7400"},
		{"7402 1A=L", "1Y", "!1B", "NOT 1B: an inverter", "7404"},
		// The controlled inverter (textbook).
		{"7486 1A=H", "1Y", "!1B", "NOT 1B: an inverter", "7404"},
		{"7486 1A=L", "1Y", "1B", "1B: a buffer", "7434"},
		// The 74151 as a function generator (data book's application, from memory): the parity of three.
		{"74151 D0=L D1=H D2=H D3=L D4=H D5=L D6=L D7=H /G=L", "Y", "A ^ B ^ C", "A XOR B XOR C: a 3-input exclusive OR", "74135"},
		{"74151 D0=L D1=H D2=H D3=L D4=H D5=L D6=L D7=H /G=L", "W", "!(A ^ B ^ C)", "NOT (A XOR B XOR C): a 3-input exclusive NOR", ""},
		// The function table of the data sheet.
		{"74LS138 G1=L", "Y0", "1", "always high", ""},
		{"74LS125 /1G=L", "1Y", "1A", "1A: a buffer", ""},
		{"74LS125 /1G=H", "1Y", "z", "never driven: z", ""},
		{"74LS125 1A=H", "1Y", "!/1G ? 1 : z", "always high, while NOT /1G, else z", ""},
		{"7401 1A=H", "1Y", "!1B", "NOT 1B: an inverter, open collector", "7405"},
		// What remembers.
		{"74LS161 /LOAD=H", "QA", "", "remembers; changed by CLK /CLR ENP ENT", ""},
		{"7476 /1PRE=H", "1Q", "", "remembers; changed by 1CLK /1CLR 1J 1K", "7473"}, // a 7473 is a 7476 without presets
		{"74109 /1K=1J", "/1Q", "", "remembers; changed by 1CLK /1CLR 1J /1PRE", "7474"},
		{"4520B CLKB=L", "Q4B", "", "remembers; changed by ENB RB", "74393"},
		{"74LS161 /CLR=L", "QA", "0", "always low", ""},
		{"7475 12C=H", "1Q", "1D", "1D: a buffer", ""},
		{"74LS74 /1PRE=L /1CLR=H", "1Q", "1", "always high", ""},
	} {
		p := page(t, c.typed)
		i := slices.IndexFunc(p.Outputs, func(o Output) bool { return p.name(o.Pin) == c.output })
		o := p.Outputs[i]
		if o.Language() != c.language || o.Words() != c.words {
			t.Errorf("%s: %s is %q, %q, want %q, %q", c.typed, c.output, o.Language(), o.Words(), c.language, c.words)
		}
		same := slices.ContainsFunc(p.Same[o.Pin], func(v *part.Variant) bool { return v.Part.Number == c.same })
		if c.same != "" && !same {
			t.Errorf("%s: no %s among those of the same function", c.typed, c.same)
		}
	}
}

// TestPinsByNumber: a pin may be given by its number on the package (data book's 7400: 4B is
// pin 13).
func TestPinsByNumber(t *testing.T) {
	typ, err := library.Open("7400")
	if err != nil {
		t.Fatal(err)
	}
	ties, err := Parse(typ.Variant, []string{"13 = H 1=2"})
	if err != nil || len(ties) != 2 || ties[0] != (Tie{Pin: 13, High: true}) || ties[1] != (Tie{Pin: 1, To: 2}) {
		t.Errorf("%+v, %v", ties, err)
	}
}

// TestSameByType: what is the same as a gate is named as it is marked. A 74LS54 is 2-3-3-2
// and a 7454 2-2-2-2 (data books, from memory); a converter's register has a D flip-flop
// among its outputs, and is not one.
func TestSameByType(t *testing.T) {
	for _, c := range []struct{ typed, output, same, not string }{
		{"74S64 A=H", "Y", "74L54", "7454"},
		{"74LS374 /OE=L", "1Q", "", "74LS502"},
	} {
		p := page(t, c.typed)
		same := p.Document().SameAs[c.output]
		if c.same != "" && !slices.Contains(same, c.same) || slices.Contains(same, c.not) {
			t.Errorf("%s: %s is the same as a gate of %v, want %s and no %s", c.typed, c.output, same, c.same, c.not)
		}
	}
}

// TestWhatStillMatters: a level-sensitive load that is always on leaves its data alone
// to matter, and what the data sheet forbids is left open.
func TestWhatStillMatters(t *testing.T) {
	p := page(t, "74LS193 /LOAD=L CLR=L")
	for _, o := range p.Outputs {
		if p.name(o.Pin) == "QA" && (o.Language() != "A" || len(o.Inputs) != 1) {
			t.Errorf("QA of a 74LS193 that always loads is %s of %v", o.Language(), o.Names)
		}
	}
	// The 4063: for equal words just one cascade input is high (data sheet's table, from memory).
	p = page(t, "4063B ALTBI=L AEQBI=L")
	for _, o := range p.Outputs {
		if l := o.Function.Level(0); p.name(o.Pin) == "AGTBO" && l != twolevel.Either {
			t.Errorf("AGTBO of a 4063 with all inputs low is asked to be %v", l)
		}
	}
}

// TestEqualExhaustively ties inputs of every part at random, and reads the expression
// of each output as a definition of its own: in every row it gives the level that the
// part's own definition gives with all inputs driven.
func TestEqualExhaustively(t *testing.T) {
	parts, err := library.All()
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(14, 2))
	compared := 0
	for _, p := range parts {
		v := p.Variants[random.IntN(len(p.Variants))]
		var ties []Tie
		var free []int
		for _, q := range v.Pins {
			switch {
			case q.Role != part.Input || q.Tied != part.NotTied:
			case random.IntN(3) == 0:
				ties = append(ties, Tie{Pin: q.Number, High: random.IntN(2) == 0})
			case random.IntN(6) == 0 && len(free) > 0:
				ties = append(ties, Tie{Pin: q.Number, To: free[random.IntN(len(free))]})
			default:
				free = append(free, q.Number)
			}
		}
		u, err := Of(v, ties)
		var forbidden *TieError
		if errors.As(err, &forbidden) {
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range u.Outputs() {
			if o.Kind == Combines && len(o.Inputs) > 0 && len(o.Inputs) <= maxWanted && o.Driven == nil {
				compare(t, u, o)
				compared++
			}
		}
	}
	if compared < 800 {
		t.Errorf("%d outputs compared", compared)
	}
}

// spare makes use of inputs that do not matter, which a definition must not have.
func spare(names []string) string {
	return " | " + strings.Join(names, " & ") + " & !" + names[0]
}

// compare reads what an output is as a definition, and runs both.
func compare(t *testing.T, u *Use, o Output) {
	t.Helper()
	var names []string
	for i := range o.Names {
		names = append(names, []string{"IN1", "IN2", "IN3", "IN4", "IN5", "IN6"}[i])
	}
	text := o.Is.In(names)
	parts, err := part.Parse("test", definitionOf(text+spare(names), len(names)))
	if err != nil {
		t.Fatalf("%s: %v", text, err)
	}
	c, err := logic.Compile(parts[0].Variants[0])
	if err != nil {
		t.Fatal(err)
	}
	own := c.NewMachine()
	for row := range 1 << len(names) {
		levels := map[int]bool{}
		for i, pin := range o.Inputs {
			levels[pin] = row>>i&1 != 0
			own.Set(i+1, logic.Splat(logic.FromBool(levels[pin])))
		}
		own.Settle()
		m := u.Circuit.NewMachine()
		for _, p := range u.Circuit.Variant.Pins {
			m.Set(p.Number, logic.Splat(logic.FromBool(levels[p.Number] || p.Tied == part.TiedHigh)))
		}
		for _, tie := range u.Ties {
			m.Set(tie.Pin, logic.Splat(logic.FromBool(tie.High || tie.To != 0 && levels[tie.To])))
		}
		m.Settle()
		want := logic.X
		for _, out := range u.Circuit.Outputs {
			if out.Pin == o.Pin {
				want = m.Node(out.Node).Lane(0)
			}
		}
		if got := own.Node(c.Outputs[0].Node).Lane(0); o.Function.Level(row) != twolevel.Either && got != want {
			t.Errorf("%s with %s: pin %d is %s, and in row %b %v instead of %v", u.Circuit.Variant.Part.Number, u.words(), o.Pin, text, row, got, want)
			return
		}
	}
}

// TestFoundWaysHold runs every way that is found to some functions: the part with its
// ties gives the function in every row.
func TestFoundWaysHold(t *testing.T) {
	for _, c := range []struct {
		text  string
		first string // has no tie
		among []string
	}{
		{"!(a & b)", "4011", []string{"7400", "7410", "7451", "7454", "74151"}},
		{"NOT a", "4069", []string{"7404", "7400", "7402", "7486"}},
		{"a ^ b", "4030", []string{"7486", "74135", "74151"}},
		{"a & b | c & d", "", []string{"74151"}},
		{"a & b | a & c | b & c", "74183", []string{"7483", "74153", "74151"}}, // a carry (textbook)
		{"sel ? b : a", "", []string{"74157", "74153"}},
	} {
		w, err := Want(c.text)
		if err != nil {
			t.Fatal(err)
		}
		ways := catalogue().Find(w.Function, 0, nil)
		ties := 0
		for _, way := range ways {
			if n := len(way.Ties()); n < ties {
				t.Errorf("%s: %s with %d ties after one with %d", c.text, way.Variant.Part.Number, n, ties)
			} else {
				ties = n
			}
			holds(t, c.text, w, way)
		}
		for _, number := range append(c.among, c.first) {
			if number != "" && !slices.ContainsFunc(ways, func(w Way) bool { return w.Variant.Part.Number == number }) {
				t.Errorf("%s: no %s", c.text, number)
			}
		}
		if c.first != "" && ways[0].Variant.Part.Number != c.first {
			t.Errorf("%s: %s first, want %s", c.text, ways[0].Variant.Part.Number, c.first)
		}
	}
}

func holds(t *testing.T, text string, f Wanted, way Way) {
	t.Helper()
	c, err := logic.Compile(way.Variant)
	if err != nil {
		t.Fatal(err)
	}
	for row := range 1 << f.Inputs {
		m := c.NewMachine()
		for _, pin := range c.InputPins { // what the way does not speak of does not matter
			m.Set(pin, logic.Splat(logic.FromBool((row^pin)%2 == 0)))
		}
		for i, takes := range way.Takes {
			m.Set(way.Inputs[i], logic.Splat(logic.FromBool(takes == TakesHigh || takes >= 0 && row>>takes&1 != 0)))
		}
		for _, p := range way.Variant.Pins {
			if p.Tied != part.NotTied {
				m.Set(p.Number, logic.Splat(logic.FromBool(p.Tied == part.TiedHigh)))
			}
		}
		m.Settle()
		for _, o := range c.Outputs {
			if o.Pin == way.Pin && m.Node(o.Node).Lane(0) != logic.FromBool(f.Level(row) == twolevel.High) {
				t.Errorf("%s: %s by %s is wrong in row %b", text, way.Variant.Part.Number, way.Line(f.Names), row)
				return
			}
		}
	}
}

// TestHowToTie: multi-emitter inputs stand 5.5 V and go through 1 kΩ, diode inputs
// and CMOS straight to the supply, and CMOS is never left open (absolute maximum
// ratings of the data books, from memory; common practice).
func TestHowToTie(t *testing.T) {
	for _, c := range []struct{ typed, how string }{
		{"7410 1A=H", "to the supply through 1 kΩ: 4.71 V at least, 2.71 V over VIH"},               // 4.75 V - 40 µA x 1 kΩ
		{"7410 1A=H 2A=H 3A=H", "to the supply through one 1 kΩ: 4.63 V at least, 2.63 V over VIH"}, // 120 µA
		{"74S10 1A=H", "to the supply through 1 kΩ: 4.70 V at least, 2.70 V over VIH"},
		{"74LS10 1A=H", "straight to the supply"},
		{"74HC10 1A=H", "straight to the supply, never open"},
		{"4023B 1A=H", "straight to the supply, never open"},
		{"74LS51 1D=L", "straight to ground"},
		{"74HC51 1D=L", "straight to ground, never open"},
		{"7400 1B=1A", "together, from one output: their loads add up"},
		{"946 1A=H", "to the supply through 1 kΩ: 4.75 V at least, 2.75 V over VIH"}, // 5 µA
		{"1489 1A=L", "straight to ground"},
		{"1489 1A=H", "straight to the supply"},
		{"555 RESET=H", "straight to the supply"}, // NE555, SLFS022
	} {
		a := page(t, c.typed).Advice[0]
		if got := a.How(); got != c.how || math.IsInf(a.Largest, 0) {
			t.Errorf("%s: %q, want %q; at most %g Ω", c.typed, got, c.how, a.Largest)
		}
	}
	// What pull reports: 0.4 mA through 2 kΩ are VIL of LS, 0.8 V; E12 below is 1.8 kΩ.
	if a := page(t, "74LS51 1D=L 1E=L 1F=L").Advice[0]; a.Largest != 1800 || a.Margin != 0.8 {
		t.Errorf("74LS51 1D: %+v", a)
	}
	// A NAND's spare input may go to a driven one; an exclusive OR's may not.
	if a := page(t, "7410 1A=H").Advice[0]; len(a.Neighbours) != 2 {
		t.Errorf("7410 1A: neighbours %v", a.Neighbours)
	}
	if a := page(t, "7486 1A=H").Advice[0]; len(a.Neighbours) != 0 {
		t.Errorf("7486 1A: neighbours %v", a.Neighbours)
	}
}

func TestTiesThatCannotBe(t *testing.T) {
	for _, c := range []struct{ typed, why string }{
		{"7400 1A", "write PIN=LEVEL"},
		{"7400 1Y=L", "is an output"},
		{"7490 CKB=QA", "QA is an output: a tie is a level or another input"},
		{"7400 3=L", "1Y is an output"},
		{"26LS32 1A=H", "balanced line"}, // its level is the difference of the two (data book)
		{"7400 15=L", "there is no input 15"},
		{"7400 5A=L", "there are 1A 1B 2A"},
		{"7400 1A=L 1A=H", "tied twice"},
		{"7400 1A=1A", "to itself"},
		{"7400 1A=1B 1B=L", "is tied as well"},
		{"7400 VCC=L", "is no input"},
		{"74LS245 A1=L", "an output at times"},
	} {
		words := strings.Fields(c.typed)
		typ, err := library.Open(words[0])
		if err != nil {
			t.Fatal(err)
		}
		if _, err := Parse(typ.Variant, words[1:]); err == nil || !strings.Contains(err.Error(), c.why) {
			t.Errorf("%s: %v, want %q", c.typed, err, c.why)
		}
	}
}

func TestTenLines(t *testing.T) {
	for _, typed := range []string{"74181 M=H", "74LS245 DIR=H", "74154 A=L /G1=L", "7447 /LT=H", "4511 /LT=H", "7485 A3=L B3=L"} {
		var b strings.Builder
		if err := page(t, typed).WriteText(&b, false); err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(strings.TrimSpace(b.String()), "\n")
		if len(lines) > fewLines {
			t.Errorf("%s: %d lines", typed, len(lines))
		}
		for _, line := range lines {
			if len([]rune(line)) > columns {
				t.Errorf("%s: %q has more than %d columns", typed, line, columns)
			}
		}
	}
}
