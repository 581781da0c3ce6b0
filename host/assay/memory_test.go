package assay_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/assay/levels"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
	"chipassay/vectors/sample"
)

// memories gives every memory of the library that may be powered, in its first family.
func memories(t testing.TB) (types []part.Type) {
	t.Helper()
	parts, err := library.Memories()
	require.NoError(t, err)
	for _, p := range parts {
		for _, v := range p.Variants {
			if v.Refusal == "" {
				types = append(types, part.Type{Variant: v, Family: v.Families[0]})
			}
		}
	}
	return types
}

// marched tests a memory of the library through the real firmware.
func marched(t *testing.T, typed string, defects ...string) (*assay.Result, *virtual.Chip) {
	t.Helper()
	return marchedOnly(t, nil, typed, defects...)
}

func marchedOnly(t *testing.T, only []assay.Stage, typed string, defects ...string) (*assay.Result, *virtual.Chip) {
	t.Helper()
	return marchedWithProgress(t, only, nil, typed, defects...)
}

// marchedWithProgress calls progress with the chip as the marches go on.
func marchedWithProgress(t *testing.T, only []assay.Stage, progress func(*virtual.Chip), typed string, defects ...string) (*assay.Result, *virtual.Chip) {
	t.Helper()
	typ := open(t, typed)
	var all []virtual.Defect
	for _, text := range defects {
		d, err := virtual.ParseDefect(text)
		require.NoError(t, err)
		all = append(all, d)
	}
	chip, err := virtual.NewChip(typ, all...)
	require.NoError(t, err)
	a, seat, err := seatedOn(t.Context(), typ, chip)
	require.NoError(t, err)
	defer a.Close()
	test, err := march.ByName(march.Default)
	require.NoError(t, err)
	p := assay.MemoryPlan{Type: typ, Test: test, Only: only}
	if progress != nil {
		p.Progress = func(done float64) {
			if done < 0.7 { // before the last run a high is measured, for which nothing has to be kept
				progress(chip)
			}
		}
	}
	return assay.RunMemory(t.Context(), seat, p), chip
}

// A good memory of every kind passes. A row of a dynamic one never stands longer
// without refresh than its data sheet allows, 128 rows in 2 ms or 256 in 4 ms (from
// memory of the data sheets of 64K and 256K parts). The ordinary run takes one of each kind
// (sample.KindOf).
func TestGoodMemoriesPass(t *testing.T) {
	types := slices.DeleteFunc(memories(t), func(typ part.Type) bool {
		m := typ.Variant.Memory
		// The large ones take seconds each; one of them is enough for the ordinary run.
		return m.Kind.ROM() || slices.Contains(unreachable, typ.Name()) || !sample.Long() && m.Words > 16384 && typ.Name() != "4264"
	})
	kind := func(typ part.Type) string {
		m := typ.Variant.Memory
		return fmt.Sprint(sample.KindOf(typ), m.Kind, m.Words > 16384)
	}
	for _, typ := range sample.OfEach(sample.Random(t), 1, types, kind) {
		m := typ.Variant.Memory
		r, _ := marched(t, typ.Name())
		require.Equal(t, assay.Pass, r.Verdict, "a good %s: %s", typ.Name(), r.Reason)
		require.Equal(t, r.VectorsPlanned, r.VectorsApplied)
		for _, reading := range r.Levels.Readings {
			if s := reading.Standing(); s == levels.Near || s == levels.Outside {
				t.Errorf("a good %s: %s, %s", typ.Name(), reading, s)
			}
		}
		if m.Kind == part.DynamicRAM {
			// After the marches nothing has to be kept any more.
			var longest time.Duration
			marchedWithProgress(t, []assay.Stage{assay.FunctionStage}, func(c *virtual.Chip) { longest = c.LongestUnrefreshed() }, typ.Name())
			within := map[int]time.Duration{128: 2 * time.Millisecond, 256: 4 * time.Millisecond, 512: 8 * time.Millisecond}[m.RefreshRows]
			// Between two runs, when the rails change, nothing has to be kept.
			require.LessOrEqual(t, longest, within+within/10, typ.Name())
			require.NotZero(t, longest)
		}
	}
}

// unreachable have a supply pin where revision B has no switch.
var unreachable = []string{"4464", "4416", "44256", "411000"}

// What is wrong with a memory is named, through the real firmware: a stuck cell, a
// stuck and an open address pin, shorted data lines, coupled cells, cells that
// forget, dead rows and columns (the faults of van de Goor 1991, and open pins).
func TestFaultsOfMemoriesAreNamed(t *testing.T) {
	for _, c := range []struct{ typ, defect, says string }{
		{"2114", "cell 77.2 stuck high", "address 0x04D bit 2 is stuck at 1"},
		{"2114", "cell 1023 stuck low", "address 0x3FF bit 0 is stuck at 0"},
		{"2114", "5 stuck low", "A0 is stuck or open: both its levels reach the same cells (pin 5)"},
		{"2114", "5 open", "Pin 5 makes no contact"},
		{"2114", "cell 77 couples to 78", "address 0x04E bit 0 is disturbed by another cell"},
		{"2114", "cell 100 forgets 30 ms", "address 0x064 forgets"},
		{"2114", "row 5 dead", "Row 5 fails"},
		{"2102", "column 3 dead", "Column 3 fails"},
		{"2102", "cell 5 stuck high", "address 0x005 is stuck at 1"},
		{"2118", "row 9 dead", "Row 9 fails"},
		{"2118", "cell 4000 stuck low", "address 0x0FA0 is stuck at 0"},
		{"4264", "cell 1000 forgets 3 ms", "address 0x3E8 forgets"},
		{"6116", "9 stuck high", "Data bit 0 reads 1 at every address"}, // pin 9 is D0
		{"74189", "cell 3.1 stuck high", "address 0x3 bit 1 is stuck at 1"},
	} {
		r, _ := marched(t, c.typ, c.defect)
		require.Equal(t, assay.Fail, r.Verdict, "%s with %q: %s", c.typ, c.defect, r.Reason)
		require.Contains(t, strings.ToLower(strings.Join(append(r.Findings, r.Reason), "; ")), strings.ToLower(c.says), "%s with %q", c.typ, c.defect)
		require.NotZero(t, r.FailureCount)
	}
	r, _ := marched(t, "2114", "11 shorted to 12") // two data pins: found before power
	require.Equal(t, assay.NotTested, r.Verdict)
	require.Contains(t, r.Reason, "pins 11 and 12 shorted")
	r, _ = marched(t, "4116")
	require.Equal(t, assay.NotTested, r.Verdict)
	require.Contains(t, r.Reason, "+12 V")
}

// A ROM is read twice: 2,048 words at about 50 µs (firmware/README.md) take a fifth
// of a second, and nothing waits for cells that keep their bits for years.
func TestEstimateOfAROM(t *testing.T) {
	require.Equal(t, 2*2048*50*time.Microsecond, assay.MemoryPlan{Type: open(t, "2716")}.Estimate())
}

// The short test may be the one that is asked for: its run and the last one, in
// another order of the addresses, are not taken for each other.
func TestTheShortTestAlone(t *testing.T) {
	typ := open(t, "2114")
	d, err := virtual.ParseDefect("row 5 dead")
	require.NoError(t, err)
	chip, err := virtual.NewChip(typ, d)
	require.NoError(t, err)
	a, seat, err := seatedOn(t.Context(), typ, chip)
	require.NoError(t, err)
	defer a.Close()
	test, err := march.ByName("MATS+")
	require.NoError(t, err)
	r := assay.RunMemory(t.Context(), seat, assay.MemoryPlan{Type: typ, Test: test})
	require.Equal(t, []string{"row 5 fails"}, r.Findings)
}

// A march test always selects. A select or an output enable that is stuck active, or
// the second of two, is named all the same (common practice), for memories of each
// kind: common and separate data pins, two selects, inverted and open-collector
// outputs, dynamic ones.
func TestControlsThatAreStuckActiveAreNamed(t *testing.T) {
	for _, c := range []struct {
		typ, defect string
		pin         int
	}{
		{"2114", "8 stuck low", 8},    // /CS, common data
		{"6116", "18 stuck low", 18},  // /CS
		{"6116", "20 stuck low", 20},  // /OE
		{"2102", "13 stuck low", 13},  // /CE, separate data
		{"2101", "17 stuck high", 17}, // CE2
		{"2101", "19 stuck low", 19},  // /CE1
		{"2101", "18 stuck low", 18},  // OD, low enables
		{"74189", "2 stuck low", 2},   // /ME, inverted outputs
		{"7489", "2 stuck low", 2},    // /ME, open collectors
	} {
		r, _ := marched(t, c.typ, c.defect)
		require.Equal(t, assay.Fail, r.Verdict, "%s with %q: %s", c.typ, c.defect, r.Reason)
		require.Equal(t, []int{c.pin}, r.PinsFailed, "%s with %q: %s", c.typ, c.defect, r.Reason)
		require.Contains(t, r.Reason, fmt.Sprintf("although pin %d (", c.pin), "%s with %q", c.typ, c.defect)
		enable, common := c.typ == "2101" && c.pin == 18 || c.pin == 20, c.typ == "2114" || c.typ == "6116"
		if !enable && !common { // a write over common pins leaves what the bus has after it
			require.Contains(t, r.Reason, "a write changes the memory", "%s with %q", c.typ, c.defect)
		}
		require.NotZero(t, r.FailureCount)
	}
	for typ, defect := range map[string]string{"2118": "15 stuck low", "2114": "8 stuck high", "6116": "21 stuck high"} {
		r, _ := marched(t, typ, defect)
		require.Equal(t, assay.Fail, r.Verdict, "%s with %q: %s", typ, defect, r.Reason)
		require.NotContains(t, r.Reason, "is not active", "%s with %q: a select that never selects is another thing", typ, defect)
	}
}

// Two equal readings do not show that a ROM can be deselected: a select or an enable
// that is stuck active is named, and a data pin that is stuck is not taken for one.
func TestAROMThatIsAlwaysSelected(t *testing.T) {
	contents := make([]byte, 2048)
	for i := range contents {
		contents[i] = byte(i * 37)
	}
	for _, c := range []struct {
		typ, defect string
		pin         int // 0: nothing to be named
	}{
		{"2716", "18 stuck low", 18}, {"2716", "20 stuck low", 20}, {"2716", "9 stuck low", 0}, {"2716", "", 0},
		{"74188", "15 stuck low", 15}, {"74188", "", 0}, // open collectors
		{"28C16", "18 stuck low", 18}, {"28C16", "20 stuck low", 20}, {"28C16", "9 stuck low", 0}, {"28C16", "", 0}, // enabled at rest
	} {
		typ := open(t, c.typ)
		var defects []virtual.Defect
		if c.defect != "" {
			d, err := virtual.ParseDefect(c.defect)
			require.NoError(t, err)
			defects = append(defects, d)
		}
		chip, err := virtual.NewChip(typ, defects...)
		require.NoError(t, err)
		chip.Burn(contents[:typ.Variant.Memory.Words])
		a, seat, err := seatedOn(t.Context(), typ, chip)
		require.NoError(t, err)
		_, r := assay.ReadROM(t.Context(), seat, assay.MemoryPlan{Type: typ})
		require.NoError(t, a.Close())
		if c.pin == 0 {
			require.Equal(t, assay.NotTested, r.Verdict, "%s with %q: %s", c.typ, c.defect, r.Reason)
			continue
		}
		require.Equal(t, assay.Fail, r.Verdict, "%s with %q: %s", c.typ, c.defect, r.Reason)
		require.Equal(t, []int{c.pin}, r.PinsFailed, c.typ)
		require.Contains(t, r.Reason, fmt.Sprintf("although pin %d (", c.pin), c.typ)
	}
}

// marchedBy tests a memory by a march test of one's own.
func marchedBy(t *testing.T, typed, notation string, defects ...virtual.Defect) *assay.Result {
	t.Helper()
	test, err := march.Read(notation)
	require.NoError(t, err)
	typ := open(t, typed)
	chip, err := virtual.NewChip(typ, defects...)
	require.NoError(t, err)
	a, seat, err := seatedOn(t.Context(), typ, chip)
	require.NoError(t, err)
	defer a.Close()
	return assay.RunMemory(t.Context(), seat, assay.MemoryPlan{Type: typ, Test: test})
}

// Elements of more operations than one CELL has: March SL has 10 (Hamdioui et al. 2003, from
// memory), and up to 16 are made. What only the last of 13 operations shows is found.
func TestLongElements(t *testing.T) {
	const (
		thirteen = "{⇕(w0);⇑(w1,w1,w1,w1,w1,w1,w1,w1,w1,w1,w0,w0,r0)}"
		sixteen  = "{⇕(w0);⇑(r0,w1,r1,w0,r0,w1,r1,w0,r0,w1,r1,w0,r0,w1,r1,w0);⇓(r0)}"
		more     = "{⇕(w0);⇑(r0,w1,r1,w0,r0,w1,r1,w0,r0,w1,r1,w0,r0,w1,r1,w0,r0)}"
	)
	stuck, err := virtual.ParseDefect("cell 77.2 stuck high")
	require.NoError(t, err)
	for _, c := range []struct {
		part, test string
		defects    []virtual.Defect
		verdict    assay.Verdict
		says       string
	}{
		{"2114", "March SL", nil, assay.Pass, "reads and writes of the march test were right"},
		{"2118", sixteen, nil, assay.Pass, "reads and writes of the march test were right"},
		{"74189", thirteen, nil, assay.Pass, "reads and writes of the march test were right"},
		{"2114", "March SL", []virtual.Defect{stuck}, assay.Fail, "address 0x04D bit 2 is stuck at 1"},
		{"2114", thirteen, []virtual.Defect{stuck}, assay.Fail, "address 0x04D bit 2"},
		{"2114", more, nil, assay.NotTested, "more than 16 operations in one element of a march test; this one has 17"},
	} {
		r := marchedBy(t, c.part, c.test, c.defects...)
		require.Equal(t, c.verdict, r.Verdict, "%s %s: %s", c.part, c.test, r.Reason)
		require.Contains(t, r.Reason, c.says, "%s %s", c.part, c.test)
		if c.verdict == assay.Pass {
			require.Equal(t, r.VectorsPlanned, r.VectorsApplied)
		}
		if c.test == thirteen && c.verdict == assay.Fail {
			f := r.Memory.Failures[0]
			require.Equal(t, march.Failure{Address: 77, Expected: 0, Seen: 4, Element: 1}, f)
		}
	}
}
