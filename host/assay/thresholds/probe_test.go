package thresholds

import (
	"slices"
	"strings"
	"testing"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
	"chipassay/vectors/sample"
	"chipassay/vectors/stimulus"
)

func planned(t *testing.T, name string) *proof.Proof {
	t.Helper()
	typ, err := library.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	p, err := proof.Of(typ, nil)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Which inputs are measured, and at which of their edges: from the function tables of the data sheets. A clear
// moves Q one way, and /Q both ways while the preset holds; a latch's data input both ways; a counter's reset one way; a
// three-state output's enable both ways; the clock of a ripple counter as it falls.
func TestProbesOfPartsThatRemember(t *testing.T) {
	for _, c := range []struct {
		name, input string
		all         bool
		rises       bool
		falls       bool
		why         string
	}{
		{"7474", "/1CLR", false, true, true, ""},
		{"74LS373", "/OE", true, true, true, ""},
		{"74LS373", "1D", true, true, true, ""},
		{"74LS374", "/OE", true, true, true, ""},
		{"74LS374", "CLK", true, false, false, "pin 11 (CLK): it clocks, and a slow edge may clock more than once"},
		{"7490", "R01", false, true, false, ""},
		{"4017B", "R", false, true, false, ""},
		{"4024B", "CLK", false, false, true, "VT+ of pin 1 (CLK): no output follows the input as it rises"},
		{"8838", "BUS1", false, true, true, ""},
		{"74HC7245", "B8", false, true, true, ""},
		{"7400", "1A", false, true, true, ""},
	} {
		p := planned(t, c.name)
		probes, unmeasured := Probes(p.Circuit, p.Sequence.Steps, c.all)
		at := slices.IndexFunc(probes, func(q Probe) bool { return p.Circuit.Variant.Pins[q.Pin-1].Name == c.input })
		switch {
		case at < 0 && (c.rises || c.falls):
			t.Errorf("%s: %s is not measured: %v", c.name, c.input, unmeasured)
		case at >= 0 && (probes[at].rises.none() == c.rises || probes[at].falls.none() == c.falls):
			t.Errorf("%s: %s as it rises %v, as it falls %v", c.name, c.input, !probes[at].rises.none(), !probes[at].falls.none())
		}
		if text := strings.Join(unmeasured, "; "); !strings.Contains(text, c.why) {
			t.Errorf("%s: %q is not in %q", c.name, c.why, text)
		}
	}
}

// What a probe says of an output is what the part's model does, from whatever state its memory is in at
// first: a simulation of the passage, of 64 chips at once that begin in states of their own. This is not how a probe
// is found, which is by what the steps of the test expect.
func TestPassagesByTheModel(t *testing.T) {
	random := sample.Random(t)
	for _, name := range []string{"7474", "74LS373", "74LS374", "7475", "74LS279", "4024B", "74HC7245", "7413", "40105B"} {
		p := planned(t, name)
		probes, _ := Probes(p.Circuit, p.Sequence.Steps, true)
		rules := stimulus.RulesOf(p.Circuit)
		if len(probes) == 0 {
			t.Errorf("%s has no probe", name)
		}
		for _, q := range probes {
			for _, way := range []struct {
				passage
				rises bool
			}{{q.rises, true}, {q.falls, false}} {
				if way.none() {
					continue
				}
				if way.from.Driven != way.to.Driven || way.from.Drive^way.to.Drive != part.PinSet(q.Pin) || way.to.Drive.Has(q.Pin) != way.rises {
					t.Errorf("%s: pin %d does not change alone", name, q.Pin)
				}
				if !rules.Allows(way.from.Drive, way.to.Drive) {
					t.Errorf("%s: the data sheet does not allow pin %d to change there", name, q.Pin)
				}
				m := p.Circuit.NewMachine()
				m.PowerUp(random.Uint64())
				for _, st := range way.before {
					apply(m, st.Driven, st.Drive)
				}
				apply(m, way.from.Driven, way.from.Drive)
				before, known := high(m, q.Output)
				apply(m, way.to.Driven, way.to.Drive)
				if after, still := high(m, q.Output); !known || !still || before != 0 && before != ^uint64(0) || after != ^before {
					t.Errorf("%s: as pin %d changes, pin %d goes from %x to %x", name, q.Pin, q.Output, before, after)
				}
			}
		}
	}
}

func apply(m *logic.Machine, driven, drive part.Pins) {
	for pin := range driven.All() {
		v := logic.Zero
		if drive.Has(pin) {
			v = logic.One
		}
		m.Set(pin, logic.Splat(v))
	}
	m.Settle()
}

// high are those of the 64 chips whose output is high, or released and pulled up; known is false where it is unknown in some.
func high(m *logic.Machine, pin int) (up uint64, known bool) {
	w := m.Out(pin)
	return ^w.Lo, w.Hi&w.Lo == 0
}

// Without --inputs all, one input of each gate is enough, and one of those that gates share.
func TestOneInputOfEachGate(t *testing.T) {
	for name, want := range map[string][]int{
		"7400":    {1, 4, 9, 12},
		"74LS244": {1, 2, 4, 6, 8, 11, 13, 15, 17},
		"7413":    {1, 2, 4, 5, 9, 10, 12, 13}, // Schmitt triggers: all
	} {
		p := planned(t, name)
		probes, _ := Probes(p.Circuit, p.Sequence.Steps, false)
		var pins []int
		for _, q := range probes {
			pins = append(pins, q.Pin)
		}
		if !slices.Equal(pins, want) {
			t.Errorf("%s: pins %v, want %v", name, pins, want)
		}
	}
}
