package twolevel

import (
	"math/bits"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// TestCoverIsTheFunction: whatever is asked, the sum agrees in every row that is not open.
func TestCoverIsTheFunction(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		inputs := rapid.IntRange(0, 7).Draw(t, "inputs")
		levels := rapid.SliceOfN(rapid.IntRange(0, 5), 1<<inputs, 1<<inputs).Draw(t, "levels")
		f := Of(inputs, func(row int) Level { return []Level{Low, Low, Low, High, High, Either}[levels[row]] })
		cover := Minimise(f)
		for row := range 1 << inputs {
			if want := f.Level(row); want != Either && cover.Covers(row) != (want == High) {
				t.Fatalf("row %d of %v: %v", row, levels, cover)
			}
		}
		e := Express(f)
		for row := range 1 << inputs {
			if want := f.Level(row); want != Either && e.Level(row) != (want == High) {
				t.Fatalf("row %d of %v: %v", row, levels, e)
			}
		}
	})
}

// TestAllOfThreeInputs counts, over all 256 functions of three inputs, the products
// of a minimal sum found by trying every set of cubes, the smallest first: the
// definition of minimal.
func TestAllOfThreeInputs(t *testing.T) {
	var cubes []Cube
	var rows []uint8
	for care := range uint16(8) {
		for value := range uint16(8) {
			if value&^care == 0 {
				c := Cube{care, value}
				var set uint8
				for row := range 8 {
					if c.Covers(row) {
						set |= 1 << row
					}
				}
				cubes, rows = append(cubes, c), append(rows, set)
			}
		}
	}
	best := map[uint8]int{0: 0} // least cost by the rows covered
	for range 4 {               // no function of three inputs needs more products than parity's four
		next := map[uint8]int{}
		for covered, price := range best {
			next[covered] = min(price, orElse(next, covered))
			for i, c := range cubes {
				sum := covered | rows[i]
				next[sum] = min(price+100+c.Literals(), orElse(next, sum))
			}
		}
		best = next
	}
	for table := range 256 {
		f := Of(3, func(row int) Level { return Level(table >> row & 1) })
		c := Minimise(f)
		if got := len(c.Cubes)*100 + c.Literals(); got != best[uint8(table)] || !c.Minimal {
			t.Errorf("table %08b: %v costs %d, and %d is the least", table, c, got, best[uint8(table)])
		}
	}
}

func orElse(m map[uint8]int, key uint8) int {
	if v, ok := m[key]; ok {
		return v
	}
	return 1 << 20
}

func TestWritten(t *testing.T) {
	names := []string{"1A", "1B", "1C", "1D", "/OE"}
	on := func(row, input int) bool { return row>>input&1 != 0 }
	for _, c := range []struct {
		of                    func(row int) bool
		language, words, gate string
	}{
		{func(r int) bool { return !(on(r, 0) && on(r, 1)) }, "!(1A & 1B)", "NOT (1A AND 1B)", "2-input NAND"},
		{func(r int) bool { return !(on(r, 0) || on(r, 1) || on(r, 2)) }, "!(1A | 1B | 1C)", "NOT (1A OR 1B OR 1C)", "3-input NOR"},
		{func(r int) bool { return on(r, 0) && on(r, 3) }, "1A & 1D", "1A AND 1D", "2-input AND"},
		{func(r int) bool { return on(r, 0) || on(r, 1) }, "1A | 1B", "1A OR 1B", "2-input OR"},
		{func(r int) bool { return on(r, 0) != on(r, 1) }, "1A ^ 1B", "1A XOR 1B", "2-input exclusive OR"},
		{func(r int) bool { return on(r, 0) == on(r, 1) }, "!(1A ^ 1B)", "NOT (1A XOR 1B)", "2-input exclusive NOR"},
		{func(r int) bool { return !on(r, 4) }, "!/OE", "NOT /OE", "inverter"},
		{func(r int) bool { return on(r, 4) }, "/OE", "/OE", "buffer"},
		{func(r int) bool { return !(on(r, 0) && on(r, 1) || on(r, 2) && on(r, 3)) }, "!(1A & 1B | 1C & 1D)", "NOT ((1A AND 1B) OR (1C AND 1D))", "AND-OR-INVERT"},
		{func(r int) bool { return on(r, 0) && !on(r, 1) }, "1A & !1B", "1A AND NOT 1B", ""},
		{func(r int) bool { return true }, "1", "high", ""},
		{func(r int) bool { return false }, "0", "low", ""},
		{func(r int) bool { return on(r, 0) && on(r, 1) || on(r, 0) && on(r, 2) }, "1A & 1B | 1A & 1C", "(1A AND 1B) OR (1A AND 1C)", ""},
	} {
		e := Express(Of(5, func(row int) Level {
			if c.of(row) {
				return High
			}
			return Low
		}))
		if e.In(names) != c.language || e.Words(names) != c.words || e.Gate() != c.gate {
			t.Errorf("%q %q %q, want %q %q %q", e.In(names), e.Words(names), e.Gate(), c.language, c.words, c.gate)
		}
	}
}

// TestSixteenInputs: the widest function is answered, if only by an irredundant
// cover, and a parity of 16 at once.
func TestSixteenInputs(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	f := Of(16, func(int) Level { return Level(random.IntN(2)) })
	cover := Minimise(f)
	if cover.Minimal {
		t.Error("a random function of 16 inputs is called minimal")
	}
	covered := NewRows(16)
	for _, c := range cover.Cubes {
		for row := range 1 << 16 {
			if c.Covers(row) {
				covered.Add(row)
			}
		}
	}
	for row := range 1 << 16 {
		if covered.Has(row) != (f.Level(row) == High) {
			t.Fatalf("row %d", row)
		}
	}
	e := Express(Of(16, func(row int) Level { return Level(bits.OnesCount16(uint16(row)) % 2) }))
	if !e.Parity || e.Not || e.Cover.Support() != 0xFFFF {
		t.Errorf("parity of 16: %+v", e)
	}
}

// TestIrredundant: of the fallback, too, no product can be left out.
func TestIrredundant(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for range 200 {
		f := Of(7, func(int) Level { return Level(random.IntN(3)) })
		must, may := f.bounds()
		cubes, _ := irredundant(must, may, 7)
		for leave := range cubes {
			needed := false
			for row := range 128 {
				without := false
				for i, c := range cubes {
					without = without || i != leave && c.Covers(row)
				}
				needed = needed || must.Has(row) && !without
			}
			if !needed {
				t.Fatalf("product %d of %v can be left out", leave, cubes)
			}
		}
	}
}
