package twin

import (
	"slices"
	"strings"
	"testing"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
)

func circuitOf(t *testing.T, typed string) (*logic.Circuit, part.Type) {
	t.Helper()
	typ, err := library.Open(typed)
	if err != nil {
		t.Fatal(err)
	}
	c, err := logic.Compile(typ.Variant)
	if err != nil {
		t.Fatal(err)
	}
	return c, typ
}

func testOf(t *testing.T, typed string) *Test {
	t.Helper()
	_, typ := circuitOf(t, typed)
	p, err := proof.Of(typ, nil)
	if err != nil {
		t.Fatal(err)
	}
	return TestOf(Of(p.Circuit), p.Sequence)
}

// find looks for one part's work in another, and gives the fit in names: "1D=D1" for an
// input of the first that stands at the second's, ties as they are typed.
func find(t *testing.T, of, in string) (words []string, f Fit, ok bool) {
	t.Helper()
	test := testOf(t, of)
	c, typ := circuitOf(t, in)
	if f, ok = test.Find(Of(c)); !ok {
		return nil, f, false
	}
	v, w := test.Circuit.Variant, typ.Variant
	for pin, takes := range f.Takes {
		if takes > 0 {
			words = append(words, v.Pins[takes-1].Name+"="+w.Pins[pin-1].Name)
		}
	}
	for of, to := range f.Gives {
		words = append(words, v.Pins[of-1].Name+"="+w.Pins[to-1].Name)
	}
	for _, tie := range f.Ties(w) {
		words = append(words, "tie "+tie.In(w))
	}
	slices.Sort(words)
	return words, f, true
}

// The parts of a chip by the logic diagrams of the data books, from memory.
func TestUnits(t *testing.T) {
	for typed, want := range map[string]int{
		"7474": 2, "7473": 2, "7475": 4, "74175": 4, "74174": 6, "74273": 8, "7490": 2, "7493": 2, "74393": 2, "74390": 4,
		"74163": 1, "74194": 1, "4013B": 2, "4017B": 1, "4015B": 2, "4042B": 4,
	} {
		c, _ := circuitOf(t, typed)
		if got := len(Of(c).Units); got != want {
			t.Errorf("%s has %d units, want %d", typed, got, want)
		}
	}
}

// Inputs that ties leave without effect are none of the unit: the data of a counter that
// never loads; and an input that is joined stands for both.
func TestTiesLeaveInputsOut(t *testing.T) {
	c, typ := circuitOf(t, "74161")
	inputs := Of(c, Tie{Pin: typ.Variant.Pin("/LOAD").Number, High: true}).Units[0].Inputs
	if got := typ.Variant.Named(inputs); got != "pins 1 (/CLR), 2 (CLK), 7 (ENP) and 10 (ENT)" {
		t.Errorf("a 74161 that never loads has %s", got)
	}
	c, typ = circuitOf(t, "7400")
	if inputs := Of(c, Tie{Pin: 1, To: 4}).Units[0].Inputs; inputs != part.PinSet(2, 4) {
		t.Errorf("1A joined to 2A: gate 1 has %s", typ.Variant.Named(inputs))
	}
}

// Which pin is which, by the pinouts and function tables of the data books, from memory.
func TestPins(t *testing.T) {
	for _, c := range []struct{ of, in, want string }{
		{"7475", "74LS375", "/1Q=/1Q /2Q=/2Q /3Q=/3Q /4Q=/4Q 12C=12C 1D=1D 1Q=1Q 2D=2D 2Q=2Q 34C=34C 3D=3D 3Q=3Q 4D=4D 4Q=4Q"},
		{"74175", "4175B", "/1Q=/Q1 /2Q=/Q2 /3Q=/Q3 /4Q=/Q4 /CLR=/CLR 1D=D1 1Q=Q1 2D=D2 2Q=Q2 3D=D3 3Q=Q3 4D=D4 4Q=Q4 CLK=CLK"},
		{"7490", "74290", "CKA=CKA CKB=CKB QA=QA QB=QB QC=QC QD=QD R01=R01 R02=R02 R91=R91 R92=R92"},
		{"74193", "40193B", "/BO=/BO /CO=/CO /LOAD=/PE A=J1 B=J2 C=J3 CLR=R D=J4 DOWN=CPD QA=Q1 QB=Q2 QC=Q3 QD=Q4 UP=CPU"},
		{"7491", "74164", "A=A B=B CLK=CLK QH=QH tie /CLR=H"},
		// In a 4520 a fall of the enable counts while the clock is low.
		{"74393", "4520B", "1CLK=ENA 1CLR=RA 1QA=Q1A 1QB=Q2A 1QC=Q3A 1QD=Q4A 2CLK=ENB 2CLR=RB 2QA=Q1B 2QB=Q2B 2QC=Q3B 2QD=Q4B tie CLKA=L tie CLKB=L"},
		{"7474", "74109", "/1CLR=/1CLR /1PRE=/1PRE /1Q=/1Q /2CLR=/2CLR /2PRE=/2PRE /2Q=/2Q 1CLK=1CLK 1D=/1K 1D=1J 1Q=1Q 2CLK=2CLK 2D=/2K 2D=2J 2Q=2Q tie /1K=1J tie /2K=2J"},
	} {
		words, _, ok := find(t, c.of, c.in)
		if got := strings.Join(words, " "); !ok || got != c.want {
			t.Errorf("%s in %s: %v %s\nwant %s", c.of, c.in, ok, got, c.want)
		}
	}
}

// Near neighbours that are not the same: decade and binary, clear at once and with the
// clock, latch and flip-flop, the other edge, inverted (data books).
func TestNearNeighboursAreNoTwins(t *testing.T) {
	for _, pair := range [][2]string{
		{"74160", "74161"}, {"74161", "74163"}, {"74192", "74193"}, {"74190", "74191"}, {"4518B", "4520B"}, {"7490", "7493"}, {"4017B", "4022B"},
		{"7475", "74175"}, {"74LS373", "74LS374"}, {"74LS373", "74LS533"}, {"74LS374", "74ALS564"}, {"7474", "4013B"}, {"7473", "74109"}, {"74390", "74393"},
		{"74LS377", "74273"}, {"7491", "4015B"}, {"4020B", "4040B"}, {"74174", "74LS378"}, {"4043B", "4044B"}, {"74194", "74195"}, {"4518B", "4553B"}, // a 4553 shows one of three digits
	} {
		for _, way := range [][2]string{pair, {pair[1], pair[0]}} {
			if words, _, ok := find(t, way[0], way[1]); ok {
				t.Errorf("a %s does the work of a %s: %v", way[1], way[0], words)
			}
		}
	}
}

// A fit that is wrong in one pin answers neither the test nor a walk; one that is right
// answers both.
func TestAWrongFit(t *testing.T) {
	test := testOf(t, "74175")
	c, typ := circuitOf(t, "4175B")
	f, ok := test.Find(Of(c))
	if _, walks := test.Walk(c, f); !ok || !walks || !test.Answers(c, f) {
		t.Fatalf("%+v", f)
	}
	d1, d2 := typ.Variant.Pin("D1").Number, typ.Variant.Pin("D2").Number
	f.Takes[d1], f.Takes[d2] = f.Takes[d2], f.Takes[d1]
	if _, walks := test.Walk(c, f); walks || test.Answers(c, f) {
		t.Error("with D1 and D2 exchanged it answers as well")
	}
}

// A test that wants an output at one level only shows nothing of it.
func TestWhatIsNotShownIsNotFound(t *testing.T) {
	test := testOf(t, "4024B")
	c, _ := circuitOf(t, "4040B")
	if _, ok := test.Find(Of(c)); !ok {
		t.Fatal("a 4040 does the work of a 4024")
	}
	last := test.Circuit.Variant.Pin("Q7").Number
	for i := range test.sequence.Steps {
		if st := &test.sequence.Steps[i]; st.High.Has(last) {
			st.Compared, st.High = st.Compared.With(last, false), st.High.With(last, false)
		}
	}
	if _, ok := TestOf(test.Chip, test.sequence).Find(Of(c)); ok {
		t.Error("nothing shows that Q7 ever goes high")
	}
}

// Less than all: complements that are missing, and fewer of them in a package.
func TestLess(t *testing.T) {
	_, f, ok := find(t, "7475", "7477")
	if v := testOf(t, "7475").Circuit.Variant; !ok || f.Units != 4 || v.Named(f.Missing) != v.Named(part.PinSet(1, 8, 11, 14)) {
		t.Errorf("7477 for 7475: %+v", f)
	}
	if _, f, ok := find(t, "74175", "7474"); !ok || f.Units != 2 {
		t.Errorf("7474 for 74175: %+v", f)
	}
	if _, f, ok := find(t, "74273", "7474"); ok {
		t.Errorf("two of eight are less than half: %+v", f)
	}
	if _, f, ok := find(t, "7490", "7492"); ok {
		t.Errorf("the part that divides by two is not half of a decade counter: %+v", f)
	}
}

// A pulse-triggered flip-flop stands for an edge-triggered one only while its inputs are
// steady; a clear that acts at once is not held back by that.
func TestBreaches(t *testing.T) {
	if _, f, ok := find(t, "74LS76", "7476"); !ok || len(f.Breaches) != 1 || !f.Breaches[0].Pulse {
		t.Errorf("7476 for 74LS76: %+v", f.Breaches)
	}
	if _, f, ok := find(t, "7476", "74LS76"); !ok || len(f.Breaches) != 0 {
		t.Errorf("74LS76 for 7476: %+v", f.Breaches)
	}
	_, f, ok := find(t, "4163B", "74163")
	if !ok || len(f.Breaches) != 1 || f.Breaches[0].Pulse || f.Breaches[0].Held != part.PinSet(1, 7, 9, 10) {
		t.Errorf("74163 for 4163B: %+v", f.Breaches)
	}
}

// Any part that is found at all does its own work without a tie; with one clock at the
// other edge, or one output inverted, it does not.
func TestItself(t *testing.T) {
	for _, typed := range []string{"7474", "7475", "7476", "74LS76", "7490", "74163", "74175", "74193", "74194", "74LS374", "74LS573", "4017B", "4042B", "4520B"} {
		test := testOf(t, typed)
		c, typ := circuitOf(t, typed)
		if f, ok := test.Find(Of(c)); !ok || len(f.Ties(typ.Variant)) > 0 || f.Units != len(test.Units) {
			t.Errorf("%s: %+v", typed, f)
		}
		c.Outputs[0].Node = complement(c, c.Outputs[0].Node)
		if f, ok := test.Find(Of(c)); ok && f.Units == len(test.Units) && f.Missing == 0 {
			t.Errorf("%s with an inverted output: %+v", typed, f)
		}
	}
	test := testOf(t, "7474")
	c, _ := circuitOf(t, "7474")
	for i := range c.Registers {
		for j := range c.Registers[i].Rules {
			if r := &c.Registers[i].Rules[j]; r.Edge == part.Rise {
				r.Edge = part.Fall
			}
		}
	}
	if f, ok := test.Find(Of(c)); ok {
		t.Errorf("7474 at the other edge: %+v", f)
	}
}

// complement adds an inverter to a circuit that was not evaluated yet.
func complement(c *logic.Circuit, n int32) int32 {
	c.Nodes = append(c.Nodes, logic.Node{Op: logic.Not, In: []int32{n}})
	return int32(len(c.Nodes) - 1)
}

// What ties make of a flip-flop or counter (data books, from memory).
func TestSame(t *testing.T) {
	for _, c := range []struct {
		tied string
		ties []string
		as   string
		want bool
	}{
		{"7476", []string{"/1PRE=H"}, "7473", true},
		{"7476", []string{"/1PRE=H"}, "74LS73", false}, // pulse and edge
		{"74LS76", []string{"/1PRE=H"}, "74LS73", true},
		{"74LS76", []string{"/1CLR=H"}, "74LS113", true},
		{"74LS76", []string{"/1PRE=H"}, "74LS113", false}, // preset is no clear
		{"74109", []string{"/1K=1J"}, "7474", true},
		{"74109", []string{"/1K=L"}, "7474", false},
		{"74179", []string{"/CLR=H"}, "74178", true},
		{"4520B", []string{"CLKA=L"}, "74393", true},
		{"4520B", []string{"CLKA=H"}, "74393", false},
		{"4163B", nil, "40163B", true},
		{"74163", nil, "40163B", false}, // its enables must not change while the clock is low
	} {
		circuit, typ := circuitOf(t, c.tied)
		var ties []Tie
		for _, text := range c.ties {
			name, to, _ := strings.Cut(text, "=")
			tie := Tie{Pin: typ.Variant.Pin(name).Number, High: to == "H"}
			if p := typ.Variant.Pin(to); p != nil && to != "L" && to != "H" {
				tie.To = p.Number
			}
			ties = append(ties, tie)
		}
		chip := Of(circuit, ties...)
		j := 0 // the one with the tie
		for i, u := range chip.Units {
			if u.Inputs.Len() < chip.Units[j].Inputs.Len() {
				j = i
			}
		}
		if got := testOf(t, c.as).Same(0, chip, j) != 0; got != c.want {
			t.Errorf("%s with %v as %s: %v", c.tied, c.ties, c.as, got)
		}
	}
}
