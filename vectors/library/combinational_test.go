package library_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A gate is one output of a combinational chip in plain Go: what the pin drives
// for the levels at the input pins, which it knows by their numbers. So a table
// of gates checks the pinout as well as the function.
type gate func(is part.Pins) logic.Value

// A sheet is the logic diagram of a chip: a gate for each output pin.
type sheet map[int]gate

// sheets are the combinational parts whose outputs are gates, keyed by part
// number: several numbers where the chips differ in drive or inputs alone, and
// behind a slash the families, where the chip is not the same in all of them.
var sheets = map[string]sheet{}

// addSheets adds a table; each file with a table calls it for itself.
func addSheets(more map[string]sheet) bool {
	for key, s := range more {
		if _, twice := sheets[key]; twice {
			panic("two sheets for " + key)
		}
		sheets[key] = s
	}
	return true
}

// Every part with a sheet does what the sheet says for every combination of its
// inputs, in every family that it was made in.
func TestGatesDoAsTheirSheetsForAllInputs(t *testing.T) {
	for key, s := range sheets {
		numbers, families, _ := strings.Cut(key, "/")
		for _, n := range strings.Fields(numbers) {
			t.Run(n+families, func(t *testing.T) {
				p, err := library.Builtin().Find(n)
				require.NoError(t, err)
				require.NotNil(t, p, "no definition")
				compared := 0
				for _, f := range p.Families() {
					if families != "" && !slices.Contains(strings.Fields(families), f.Name) {
						continue
					}
					typ, err := library.Open(f.TypeName(n))
					require.NoError(t, err)
					require.Equal(t, f, typ.Family)
					compareWithSheet(t, typ, s)
					compared++
				}
				require.Positive(t, compared, "no family of the sheet is in the definition")
			})
		}
	}
}

// Every family of a part with sheets has one, and only one.
func TestSheetsCoverEveryFamily(t *testing.T) {
	seen := map[string]int{}
	numbers := map[string]bool{}
	for key := range sheets {
		parts, families, _ := strings.Cut(key, "/")
		for _, n := range strings.Fields(parts) {
			p, err := library.Builtin().Find(n)
			require.NoError(t, err)
			require.NotNil(t, p, n)
			numbers[n] = true
			for _, f := range p.Families() {
				if families == "" || slices.Contains(strings.Fields(families), f.Name) {
					seen[f.TypeName(n)]++
				}
			}
		}
	}
	for n := range numbers {
		p, err := library.Builtin().Find(n)
		require.NoError(t, err)
		for _, f := range p.Families() {
			require.Equal(t, 1, seen[f.TypeName(n)], "sheets for %s", f.TypeName(n))
		}
	}
	t.Logf("%d part numbers have a sheet", len(numbers))
}

// compareWithSheet sets all combinations of a chip's inputs, 64 at a time.
func compareWithSheet(t *testing.T, typ part.Type, s sheet) {
	t.Helper()
	v := typ.Variant
	c, err := logic.Compile(v)
	require.NoError(t, err)
	require.Empty(t, c.Registers)
	var swept []int
	var held part.Pins
	for _, p := range v.Pins {
		switch {
		case p.Tied == part.TiedHigh:
			held = held.With(p.Number, true)
		case p.Drivable() && p.Tied == part.NotTied:
			swept = append(swept, p.Number)
		}
	}
	require.LessOrEqual(t, len(swept), 16, "too many inputs for all combinations")
	require.Len(t, s, len(c.Outputs), "the sheet has other outputs than the definition")
	m := c.NewMachine()
	for base := 0; base < 1<<len(swept); base += 64 {
		lanes := combinationsFrom(base, swept, held)
		for _, p := range v.Pins {
			if !p.Drivable() {
				continue
			}
			var w logic.Word
			for i, is := range lanes {
				w = w.With(i, logic.FromBool(is.Has(p.Number)))
			}
			m.Set(p.Number, w)
		}
		m.Settle()
		for _, o := range c.Outputs {
			g := s[o.Pin]
			require.NotNil(t, g, "the sheet has no output at pin %d", o.Pin)
			got := m.Out(o.Pin)
			for i, is := range lanes {
				if want := g(is); got.Lane(i) != want {
					t.Fatalf("%s pin %d (%s): the definition says %v, the sheet %v; pins high: %v",
						typ.Name(), o.Pin, v.Pins[o.Pin-1].Name, got.Lane(i), want, is)
				}
			}
		}
	}
}

// combinationsFrom gives the levels of 64 combinations of the swept pins, or of
// as many as there are.
func combinationsFrom(base int, swept []int, held part.Pins) (lanes []part.Pins) {
	for n := base; n < min(base+64, 1<<len(swept)); n++ {
		is := held
		for i, pin := range swept {
			is = is.With(pin, n>>i&1 != 0)
		}
		lanes = append(lanes, is)
	}
	return lanes
}

// The gates of the data books, by the pins of their inputs.

func allHigh(is part.Pins, pins []int) bool {
	for _, p := range pins {
		if !is.Has(p) {
			return false
		}
	}
	return true
}

func anyHigh(is part.Pins, pins []int) bool {
	for _, p := range pins {
		if is.Has(p) {
			return true
		}
	}
	return false
}

func and(pins ...int) gate {
	return func(is part.Pins) logic.Value { return logic.FromBool(allHigh(is, pins)) }
}

func nand(pins ...int) gate {
	return func(is part.Pins) logic.Value { return logic.FromBool(!allHigh(is, pins)) }
}

func or(pins ...int) gate {
	return func(is part.Pins) logic.Value { return logic.FromBool(anyHigh(is, pins)) }
}

func nor(pins ...int) gate {
	return func(is part.Pins) logic.Value { return logic.FromBool(!anyHigh(is, pins)) }
}

// xor is high for an odd number of inputs high.
func xor(pins ...int) gate {
	return func(is part.Pins) logic.Value {
		n := 0
		for _, p := range pins {
			if is.Has(p) {
				n++
			}
		}
		return logic.FromBool(n%2 == 1)
	}
}

func xnor(a, b int) gate {
	return func(is part.Pins) logic.Value { return logic.FromBool(is.Has(a) == is.Has(b)) }
}

func follow(pin int) gate { return and(pin) }
func invert(pin int) gate { return nand(pin) }

// aoi is an AND-OR-INVERT gate: low where all inputs of any of its groups are high.
func aoi(groups ...[]int) gate {
	return func(is part.Pins) logic.Value {
		for _, g := range groups {
			if allHigh(is, g) {
				return logic.Zero
			}
		}
		return logic.One
	}
}

type group = []int

// andOr is aoi without the inversion.
func andOr(groups ...[]int) gate {
	g := aoi(groups...)
	return func(is part.Pins) logic.Value { return g(is).Not() }
}

// oc is a gate whose output only pulls low.
func oc(g gate) gate {
	return func(is part.Pins) logic.Value {
		if g(is) == logic.One {
			return logic.Z
		}
		return logic.Zero
	}
}

// oe is a gate whose output only pulls high.
func oe(g gate) gate {
	return func(is part.Pins) logic.Value {
		if g(is) == logic.Zero {
			return logic.Z
		}
		return logic.One
	}
}

// low is a gate that drives its output while every one of the pins is low.
func low(g gate, pins ...int) gate {
	return func(is part.Pins) logic.Value {
		if anyHigh(is, pins) {
			return logic.Z
		}
		return g(is)
	}
}

// high is a gate that drives its output while the pin is high.
func high(g gate, pin int) gate {
	return func(is part.Pins) logic.Value {
		if !is.Has(pin) {
			return logic.Z
		}
		return g(is)
	}
}

// each puts the same output stage on all gates of a sheet.
func each(s sheet, stage func(gate) gate) sheet {
	changed := sheet{}
	for pin, g := range s {
		changed[pin] = stage(g)
	}
	return changed
}
