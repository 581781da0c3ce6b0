package twolevel_test

import (
	"bytes"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/twolevel"
)

// espresso asks the minimiser itself and writes its answers down anew.
var espresso = flag.String("espresso", "", "an executable of Espresso (Berkeley, version 2.3), to write testdata/espresso.txt anew")

const answers = "testdata/espresso.txt"

// TestEspresso compares with the answers of Espresso 2.3 in its exact mode
// (R. Rudell, Berkeley 1989), which guarantees the fewest products, and gets near
// the fewest literals. They are kept, because no package of the distribution has
// the program. Functions that came into the library since the answers were written have
// none: their sums are compared in every row, and must be proven minimal.
func TestEspresso(t *testing.T) {
	functions, names := randomFunctions()
	more, moreNames := libraryFunctions(t)
	functions, names = append(functions, more...), append(names, moreNames...)
	if *espresso != "" {
		ask(t, functions, names)
	}
	text, err := os.ReadFile(answers)
	if err != nil {
		t.Fatal(err)
	}
	kept := map[string]string{}
	for line := range strings.Lines(string(text)) {
		name, rest, _ := strings.Cut(strings.TrimSpace(line), ": ")
		kept[name] = rest
	}
	compared := 0
	for i, f := range functions {
		c := twolevel.Minimise(f)
		agrees(t, names[i], f, c)
		answer, known := kept[names[i]]
		if !known {
			if !c.Minimal {
				t.Errorf("%s: not proven minimal, and Espresso was not asked", names[i])
			}
			continue
		}
		compared++
		var products, literals int
		if _, err := fmt.Sscan(answer, &products, &literals); err != nil {
			t.Fatalf("%s: answer %q: %v", names[i], answer, err)
		}
		if !c.Minimal || len(c.Cubes) != products || c.Literals() > literals {
			t.Errorf("%s: %d products and %d literals (proven: %v), Espresso %d and %d", names[i], len(c.Cubes), c.Literals(), c.Minimal, products, literals)
		}
	}
	t.Logf("%d of %d functions compared with Espresso's answers; go test ./vectors/twolevel -espresso PROGRAM writes them anew", compared, len(functions))
	if 100*compared < 90*len(functions) {
		t.Error("for too few functions Espresso's answer is kept: write them anew")
	}
}

// agrees compares a sum with its function in every row.
func agrees(t *testing.T, name string, f twolevel.Function, c twolevel.Cover) {
	t.Helper()
	for row := range 1 << f.Inputs {
		if l := f.Level(row); l != twolevel.Either && c.Covers(row) != (l == twolevel.High) {
			t.Errorf("%s: row %b is %v", name, row, l)
			return
		}
	}
}

func randomFunctions() (functions []twolevel.Function, names []string) {
	random := rand.New(rand.NewPCG(14, 1))
	for i := range 240 {
		inputs, high, open := 3+i%5, 10+random.IntN(80), random.IntN(2)*random.IntN(60)
		functions = append(functions, twolevel.Of(inputs, func(int) twolevel.Level {
			switch {
			case random.IntN(100) < open:
				return twolevel.Either
			case random.IntN(100) < high:
				return twolevel.High
			}
			return twolevel.Low
		}))
		names = append(names, fmt.Sprintf("random %d", i))
	}
	return functions, names
}

// libraryFunctions are those of the library's outputs that depend on at most ten
// inputs and on no register, one of each table.
func libraryFunctions(t *testing.T) (functions []twolevel.Function, names []string) {
	parts, err := library.All()
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, p := range parts {
		for i, v := range p.Variants {
			c, err := logic.Compile(v)
			if err != nil {
				continue // a memory
			}
			for _, o := range c.Outputs {
				f, ok := outputFunction(c, o)
				if key := fmt.Sprint(f); ok && !seen[key] {
					seen[key] = true
					functions = append(functions, f)
					names = append(names, fmt.Sprintf("%s/%d %s", p.Number, i, v.Pins[o.Pin-1].Name))
				}
			}
		}
	}
	return functions, names
}

func outputFunction(c *logic.Circuit, o logic.Output) (f twolevel.Function, ok bool) {
	for n, in := range c.Cone(o.Node) {
		if in && c.Nodes[n].Op == logic.State {
			return f, false
		}
	}
	var pins []int
	for pin := range c.Support(o.Node).All() {
		pins = append(pins, pin)
	}
	if len(pins) > 10 {
		return f, false
	}
	m := c.NewMachine()
	return twolevel.Of(len(pins), func(row int) twolevel.Level {
		for i, pin := range pins {
			m.Set(pin, logic.Splat(logic.FromBool(row>>i&1 != 0)))
		}
		m.Settle()
		switch m.Node(o.Node).Lane(0) {
		case logic.Zero:
			return twolevel.Low
		case logic.One:
			return twolevel.High
		}
		return twolevel.Either
	}), true
}

// ask writes down the products and literals of Espresso's answer for each function.
func ask(t *testing.T, functions []twolevel.Function, names []string) {
	var text bytes.Buffer
	for i, f := range functions {
		var pla strings.Builder
		fmt.Fprintf(&pla, ".i %d\n.o 1\n.type fd\n", max(1, f.Inputs))
		for row := range 1 << f.Inputs {
			fmt.Fprintf(&pla, "%0*b %s\n", max(1, f.Inputs), row, [...]string{"0", "1", "-"}[f.Level(row)])
		}
		pla.WriteString(".e\n")
		file := t.TempDir() + "/f.pla"
		if err := os.WriteFile(file, []byte(pla.String()), 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(*espresso, "-Dexact", file).Output()
		if err != nil {
			t.Fatal(err)
		}
		products, literals := 0, 0
		for line := range strings.Lines(string(out)) {
			if strings.HasPrefix(line, ".") {
				continue
			}
			cube, _, _ := strings.Cut(line, " ")
			products++
			literals += len(cube) - strings.Count(cube, "-")
		}
		fmt.Fprintf(&text, "%s: %d %d\n", names[i], products, literals)
	}
	if err := os.WriteFile(answers, text.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}
