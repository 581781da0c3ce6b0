package tied

import (
	"math/rand/v2"
	"strings"
	"testing"

	"chipassay/vectors/fault"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
)

// use works out the test of a type for one use.
func use(t *testing.T, typed string) *proof.Proof {
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
	u, err := Of(typ.Variant, ties)
	if err != nil {
		t.Fatal(err)
	}
	v, err := u.Variant()
	if err != nil {
		t.Fatal(err)
	}
	p, _, err := proof.WorkOut(part.Type{Variant: v, Family: typ.Family}, nil)
	if err != nil {
		t.Fatal(err)
	}
	holdsTies(t, typed, typ.Variant, p, ties)
	return p
}

// holdsTies runs the whole part through the steps: ties stand in each, and the part
// answers what is expected.
func holdsTies(t *testing.T, typed string, v *part.Variant, p *proof.Proof, ties []Tie) {
	t.Helper()
	for i, st := range p.Sequence.Steps {
		for _, tie := range ties {
			if !st.Driven.Has(tie.Pin) || st.Drive.Has(tie.Pin) != tie.High {
				t.Fatalf("%s: step %d moves pin %d", typed, i+1, tie.Pin)
			}
		}
	}
	c, err := logic.Compile(v)
	if err != nil {
		t.Fatal(err)
	}
	if passed := fault.Intruders(c, p.Sequence, []*logic.Circuit{c}); len(passed) != 1 {
		t.Errorf("%s: the whole part does not answer its steps", typed)
	}
}

func TestOneUse(t *testing.T) {
	use(t, "74592 /CCKEN=L") // whose definition has a sequence that moves the tied input
	for _, c := range []struct {
		typed  string
		steps  int    // 0 for whatever they are
		gates  string // sections that may be called tested
		leaves string // pins
		idle   string // those of them that nothing asks for: not even their contact is judged
	}{
		{"74LS51 1D=L 1E=L 1F=L", 1 << 7, "1 2", "9 10 11", ""},
		{"7400 3A=L 3B=L", 1 << 6, "1 2 4", "8 9 10", "8 9 10"}, // the rest of a chip whose gate 3 is dead
		{"7400 3A=L", 1 << 6, "1 2 4", "8 9 10", "8 9 10"},      // 3B changes nothing any more
		{"7400 3A=H", 1 << 7, "1 2 3 4", "9", ""},
		{"7486 1A=H", 1 << 7, "1 2 3 4", "1", ""},
		{"74LS151 /G=L", 1 << 11, "", "7", ""},
		{"74LS245 DIR=H /G=L", 1 << 8, "", "1 19", ""},
		{"74LS161 /LOAD=H", 0, "", "3 4 5 6 9", "3 4 5 6"},
		{"74LS74 /1PRE=H /1CLR=H", 0, "1 2", "1 4", ""},
		{"7490 R91=L R92=L", 0, "", "6 7", ""},
	} {
		p := use(t, c.typed)
		if n := len(p.Sequence.Steps); c.steps != 0 && n != c.steps {
			t.Errorf("%s: %d steps, want %d", c.typed, n, c.steps)
		}
		var names []string
		for _, s := range p.Coverage.Sections {
			if s.Whole() {
				names = append(names, s.Name)
			}
		}
		if got := strings.Join(names, " "); got != c.gates || len(names) == 0 {
			t.Errorf("%s: tested are %q, want %q", c.typed, got, c.gates)
		}
		var left, idle part.Pins
		for _, q := range p.Circuit.Variant.Pins {
			idle = idle.With(q.Number, q.Untested != "")
			left = left.With(q.Number, q.Untested != "" || q.Tied != part.NotTied)
		}
		if left.String() != c.leaves {
			t.Errorf("%s: pins %s are left out, want %s", c.typed, left, c.leaves)
		}
		if idle.String() != c.idle {
			t.Errorf("%s: pins %s are idle, want %s", c.typed, idle, c.idle)
		}
	}
}

// TestUsesOfTheLibrary ties one input of every part that remembers nothing, and of some
// that do: the whole part answers the steps.
func TestUsesOfTheLibrary(t *testing.T) {
	parts, err := library.All()
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(14, 3))
	tested := 0
	for _, p := range parts {
		v := p.Variants[0]
		c, err := logic.Compile(v)
		if err != nil {
			t.Fatal(err)
		}
		var inputs []int
		for _, q := range v.Pins {
			if q.Role == part.Input && q.Tied == part.NotTied && q.Untested == "" {
				inputs = append(inputs, q.Number)
			}
		}
		if len(c.Registers) > 0 || len(inputs) < 2 || len(inputs) > 12 || v.Refusal != "" {
			continue
		}
		tie := Tie{Pin: inputs[random.IntN(len(inputs))], High: random.IntN(2) == 0}
		u, err := Of(v, []Tie{tie})
		if err != nil {
			continue // the data sheet forbids it
		}
		used, err := u.Variant()
		if err != nil {
			continue // nothing is left
		}
		made, _, err := proof.WorkOut(part.Type{Variant: used, Family: v.Families[0]}, nil)
		if err != nil {
			t.Fatalf("%s %s: %v", p.Number, u.words(), err)
		}
		holdsTies(t, p.Number+" "+u.words(), v, made, []Tie{tie})
		tested++
	}
	if tested < 200 {
		t.Errorf("%d parts", tested)
	}
}

func TestNoUse(t *testing.T) {
	for _, typed := range []string{"74LS138 G1=L", "7400 1B=1A", "7404 1A=L 2A=L 3A=L 4A=L 5A=L 6A=L"} {
		words := strings.Fields(typed)
		typ, err := library.Open(words[0])
		if err != nil {
			t.Fatal(err)
		}
		ties, err := Parse(typ.Variant, words[1:])
		if err != nil {
			t.Fatal(err)
		}
		u, err := Of(typ.Variant, ties)
		if err != nil {
			t.Fatal(err)
		}
		if v, err := u.Variant(); err == nil {
			t.Errorf("%s: tested for %s", typed, v.Use)
		}
	}
}
