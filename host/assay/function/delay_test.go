package function

import (
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// After its wait a good part's outputs are all there. The maxima at 5 V (74HC: 4.5 V, 85 °C)
// are those of the data sheets, to the slowest output, ns. Source: from memory of 7400, 7480, 7493,
// 74LS393, 74L00, 74HC4040, CD4011B, CD4040B, MC14511B and MC14521B.
func TestWaitsAreLongerThanDataSheets(t *testing.T) {
	for _, c := range []struct {
		name string
		ns   int
		wait time.Duration
	}{
		{"7400", 22, 500 * time.Nanosecond},
		{"7480", 105, 500 * time.Nanosecond},
		{"7493", 70, 500 * time.Nanosecond},
		{"74LS393", 60, 0},
		{"74L00", 60, time.Microsecond},
		{"74HC4040", 26 + 11*20, 0},
		{"4011B", 250, adapter.DefaultSettle},
		{"4040B", 360 + 11*330, 0},
		{"4511B", 1320, adapter.DefaultSettle},
		{"4521B", 12_000, 0},
	} {
		typ, err := library.Open(c.name)
		if err != nil {
			t.Fatal(err)
		}
		circuit, err := logic.Compile(typ.Variant)
		if err != nil {
			t.Fatal(err)
		}
		v := Vectors{Type: typ, Circuit: circuit}
		wait := v.ShortWait()
		t.Logf("%s: %v", c.name, wait)
		if most := time.Duration(c.ns) * time.Nanosecond; wait < 3*most/2 && wait < most+time.Microsecond {
			t.Errorf("%s waits %v, its data sheet's maximum is %v", c.name, wait, most)
		}
		if c.wait != 0 && wait != c.wait {
			t.Errorf("%s waits %v, want %v", c.name, wait, c.wait)
		}
		if v.usualWait() < wait {
			t.Errorf("%s usually waits %v", c.name, v.usualWait())
		}
	}
}

// Every family of the library's logic is in the table, or has no outputs that are judged.
func TestEveryFamilyHasADelay(t *testing.T) {
	parts, err := library.Builtin().All()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range parts {
		for _, f := range p.Families() {
			typ := part.Type{Variant: p.In(f), Family: f}
			v := Vectors{Type: typ}
			if _, ok := delayClasses[typ.Family.Name]; !ok && v.prompt() != 0 {
				t.Errorf("%s: family %s has no delay", typ.Name(), typ.Family.Name)
			}
		}
	}
}
