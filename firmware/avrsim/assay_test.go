//go:build simavr

package avrsim

import (
	"slices"
	"strings"
	"testing"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/protocol"
	"chipassay/vectors/library"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// assayed tests the chip behind a port as a part of the library.
func assayed(t testing.TB, conn link.Conn, name string) *assay.Result {
	t.Helper()
	typ := named(t, name)
	plan, err := assay.NewPlan(typ, nil)
	if err != nil {
		t.Fatal(err)
	}
	return assay.Run(t.Context(), seat(t, conn, typ.Variant), plan)
}

func named(t testing.TB, name string) part.Type {
	t.Helper()
	typ, err := library.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	return typ
}

func seat(t testing.TB, conn link.Conn, v *part.Variant) *adapter.Seat {
	t.Helper()
	a, err := adapter.Open(t.Context(), link.New(conn, protocol.UsualRate))
	if err != nil {
		t.Fatal(err)
	}
	seat, err := a.SeatOf(v)
	if err != nil {
		t.Fatal(err)
	}
	return seat
}

// A sample of the single-pin defects that host/virtual tries on every part. The
// same number is another chip in another family: 7451 is 2-2/2-2, 74LS51 is
// 3-3/2-2 (from memory of the data books).
func TestDefectsAreNamed(t *testing.T) {
	for _, c := range []struct {
		part, defect string
		pin          int // 0: good
	}{
		{"7410", "", 0},
		{"7410", "12 stuck low", 12},
		{"7410", "12 stuck high", 12},
		{"7410", "12 open", 12},
		{"7410", "1 stuck high", 1},
		{"7410", "1 stuck low", 1},
		{"7410", "11 open", 11},
		{"74LS51", "", 0},
		{"74LS51", "8 stuck high", 8},
		{"7451", "", 0},
		{"7402", "1 stuck low", 1},
		{"7405", "", 0}, // open collectors: z is proved by both levels of the bias
		{"7405", "2 stuck high", 2},
		{"4011", "", 0}, // CMOS levels
		{"4011", "3 stuck low", 3},
		{"74HC86", "", 0},
		{"74HC86", "6 open", 6},
		{"74133", "", 0}, // 16 pins
		{"74133", "9 stuck high", 9},
		{"946", "", 0}, // highs through a resistor
		{"946", "2 open", 2},
		{"2003", "", 0}, // no supply: ground alone is switched
		{"2003", "3 open", 3},
		{"2803", "", 0},
		{"1489", "", 0},
	} {
		t.Run(c.part+" "+c.defect, func(t *testing.T) {
			var defects []string
			if c.defect != "" {
				defects = append(defects, c.defect)
			}
			r := assayed(t, open(t, c.part, defects...), c.part)
			want := assay.Fail
			if c.pin == 0 {
				want = assay.Pass
			}
			if r.Verdict != want || c.pin != 0 && !slices.Contains(r.PinsFailed, c.pin) {
				t.Errorf("%s, pins %v: %s", r.Verdict, r.PinsFailed, r.Reason)
			}
		})
	}
}

// A bond wire that opens now and then is found in the rounds, and a good chip goes
// through dozens of them.
func TestIntermittentBondIsFoundInRounds(t *testing.T) {
	plan, err := assay.NewPlan(named(t, "7404"), nil)
	if err != nil {
		t.Fatal(err)
	}
	plan.AtLeast = assay.DefaultAtLeast
	r := assay.Run(t.Context(), seat(t, open(t, "7404", "12 intermittent"), plan.Type.Variant), plan)
	if r.Verdict != assay.Fail || !slices.Contains(r.PinsFailed, 12) {
		t.Errorf("%s in round %d, pins %v: %s", r.Verdict, r.Rounds, r.PinsFailed, r.Reason)
	}
	r = assay.Run(t.Context(), seat(t, open(t, "7404"), plan.Type.Variant), plan)
	if r.Verdict != assay.Pass || r.Rounds < 24 {
		t.Errorf("a good one: %s in round %d: %s", r.Verdict, r.Rounds, r.Reason)
	}
}

// Another chip than the marking says does not pass: 7451 instead of 74LS51. Two
// of its pins are inputs of that, and not connected in this, so it is not even tested.
func TestAnotherChip(t *testing.T) {
	if r := assayed(t, open(t, "7451"), "74LS51"); r.Verdict != assay.NotTested {
		t.Errorf("%s: %s", r.Verdict, r.Reason)
	}
}

// Memories through the AVR image: a good one of each kind passes, and what is
// wrong with a bad one is named.
func TestMemories(t *testing.T) {
	for _, c := range []struct {
		part, defect string
		verdict      assay.Verdict
		says         string
	}{
		{"74189", "", assay.Pass, "reads and writes"},
		{"2102", "", assay.Pass, "reads and writes"},
		{"2102", "cell 77 stuck high", assay.Fail, "is stuck at 1"},
		{"2102", "row 5 dead", assay.Fail, "row 5 fails"},
		{"2102", "cell 77 couples to 78", assay.Fail, "disturbed by another cell"},
		{"2114", "5 stuck low", assay.Fail, "A0 is stuck or open"},
		{"2114", "cell 100 forgets 30 ms", assay.Fail, "address 0x064 forgets"},
		{"2114", "11 shorted to 12", assay.NotTested, "pins 11 and 12 shorted"},
		{"2118", "", assay.Pass, "reads and writes"},
		{"2101", "19 stuck low", assay.Fail, "although pin 19 (/CE1) is not active"},
	} {
		typ := named(t, c.part)
		var defects []string
		if c.defect != "" {
			defects = []string{c.defect}
		}
		p := open(t, c.part, defects...)
		test, err := march.ByName(march.Default)
		if err != nil {
			t.Fatal(err)
		}
		r := assay.RunMemory(t.Context(), seat(t, p, typ.Variant), assay.MemoryPlan{Type: typ, Test: test})
		if r.Verdict != c.verdict || !strings.Contains(r.Reason, c.says) {
			t.Errorf("%s with %q: %s: %s", c.part, c.defect, r.Verdict, r.Reason)
		}
	}
}

// An EEPROM is written through the AVR image: every word takes 10 ms by its WAIT, and the
// write pulse is one of an access.
func TestRewriting(t *testing.T) {
	for _, c := range []struct {
		defect  string
		verdict assay.Verdict
		says    string
	}{
		{"", assay.Pass, "written with a word and its complement"},
		{"cell 17.3 stuck high", assay.Fail, "address 0x11 bit 3 is stuck at 1"},
		{"write-protected", assay.NotTested, "it took no write"},
	} {
		parts, err := part.Parse("small.part", smallEEPROM)
		if err != nil {
			t.Fatal(err)
		}
		v := parts[0].Variants[0]
		typ := part.Type{Variant: v, Family: v.Families[0]}
		var defects []virtual.Defect
		if c.defect != "" {
			d, err := virtual.ParseDefect(c.defect)
			if err != nil {
				t.Fatal(err)
			}
			defects = append(defects, d)
		}
		chip, err := virtual.NewChip(typ, defects...)
		if err != nil {
			t.Fatal(err)
		}
		chip.Burn([]byte("the point controller's program"))
		bench, err := NewBench(virtual.NewSocket(chip, 1))
		if err != nil {
			t.Fatal(err)
		}
		r := assay.RunRewrite(t.Context(), seat(t, serve(t, bench), v), assay.MemoryPlan{Type: typ})
		if r.Verdict != c.verdict || !strings.Contains(r.Reason, c.says) {
			t.Errorf("with %q: %s: %s", c.defect, r.Verdict, r.Reason)
		}
	}
}

// A made-up EEPROM, small for speed.
const smallEEPROM = `part 9975 "32 x 8-bit EEPROM"
kind memory
families CMOS
source "made up"
package DIP18
  A0  1 | U | 18 VCC
  A1  2 |   | 17 /WE
  A2  3 |   | 16 /OE
  A3  4 |   | 15 /CE
  A4  5 |   | 14 D7
  D0  6 |   | 13 D6
  D1  7 |   | 12 D5
  D2  8 |   | 11 D4
 GND  9 |   | 10 D3
inputs A0..A4 /CE /OE
tie high /WE
outputs three-state D0..D7
memory eeprom 32 x 8
address A0..A4
data D0..D7
select /CE
enable /OE
access 350 ns
rewrite /WE pulse 200 ns cycle 10 ms
`
