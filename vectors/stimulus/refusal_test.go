package stimulus

import (
	"strings"
	"testing"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// What data sheets forbid, in words: the data of a master-slave flip-flop while its clock is
// high (7476), the controls of a synchronous counter while its clock is low (74163, for its
// pulse-triggered flip-flops), and what no row of a function table has.
func TestRefusalSaysWhy(t *testing.T) {
	for _, c := range []struct{ name, from, to, says string }{
		{"7476", "1CLK", "1CLK 1J", "(1J) must not change while pin 1 (1CLK) is high"},
		{"7476", "", "1J", ""},
		{"74163", "", "/CLR", "pin 1 (/CLR) must not change while pin 2 (CLK) is low"},
		{"74163", "CLK", "CLK /CLR", ""},
		{"7474", "", "/1CLR /1PRE", "(/1PRE) changes in a step of its own"},
		{"7474", "", "1D 2D", ""},
		{"40192", "CPU CPD", "CPU", ""},
		{"40192", "CPU", "", "one clock stays high while the other counts"},
	} {
		typ, err := library.Open(c.name)
		if err != nil {
			t.Fatal(err)
		}
		circuit, err := logic.Compile(typ.Variant)
		if err != nil {
			t.Fatal(err)
		}
		levels := func(names string) (pins part.Pins) {
			for _, name := range strings.Fields(names) {
				pins = pins.With(typ.Variant.Pin(name).Number, true)
			}
			return pins
		}
		got := RulesOf(circuit).Refusal(levels(c.from), levels(c.to))
		if c.says == "" && got != "" || !strings.Contains(got, c.says) {
			t.Errorf("%s from %q to %q: %q, want %q", c.name, c.from, c.to, got, c.says)
		}
	}
}
