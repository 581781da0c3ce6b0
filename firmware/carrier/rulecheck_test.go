package carrier

import (
	"slices"
	"strings"
	"testing"
)

// Whatever groups are soldered in breaks no rule; but converters without the far
// half measure positions that nothing holds.
func TestTheCarrierBreaksNoRule(t *testing.T) {
	for set := range 16 {
		var groups []Group
		for i, g := range AllGroups()[1:] {
			if set>>i&1 == 1 {
				groups = append(groups, g)
			}
		}
		floating := slices.Contains(groups, Converters) && !slices.Contains(groups, FarHalf)
		seen := 0
		for _, v := range New().Fitted(groups...).Check(groups...) {
			if floating && v.Rule == "driver" && strings.HasPrefix(v.At, "sense_") {
				seen++
				continue
			}
			t.Errorf("%v: %v", groups, v)
		}
		if floating && seen != 12 {
			t.Errorf("%v: %d floating inputs, want 12", groups, seen)
		}
	}
}

// Worst currents by hand: 5.25 V, 1 and 5 % less resistance, 18 Ω in every output.
func TestWorstCurrents(t *testing.T) {
	r := New().Ratings()
	mA := func(amps float64) float64 { return 1000 * amps }
	near(t, "PA4 into a short", mA(r.Output["PA4"]), 5250/(118.8+18), 0.1)
	near(t, "load_L5 into a short", mA(r.Output["load_L5"]), 5250/(950+18.0), 0.1)
	near(t, "bias_R3 into a short", mA(r.Output["bias_R3"]), 5250/(9500+18.0), 0.01)
	near(t, "base", mA(r.Output["PH3"]), (5250-600)/2090.0, 0.01)
	// U31: four positions with a closed low-side switch, four driven low against the
	// load with the bias low, and a short at one of those.
	driven := 5250 / (968 + 1/(1/136.8+1/9518.0))
	near(t, "U31", mA(r.Package["U31"]), 4*5250/968.1+4*driven+(5250/968.0-driven), 0.1)
	// All ports: 28 lines driven low against bias and load high, six bases, four
	// pull-ups, a short.
	pin := 5250 / (136.8 + 1/(1/968.0+1/9518.0))
	near(t, "all ports", mA(r.MCU), 28*pin+6*4650/2090.0+4*5250/9500.0+(5250/136.8-pin), 0.2)
	if r.MCU > 0.200 {
		t.Errorf("all ports %.1f mA", mA(r.MCU))
	}
}

// rewire puts a pin on another net.
func rewire(n *Netlist, ref, pin, net string) {
	p := n.Part(ref)
	p.Pin(pin).Net = net
}

// exchange swaps the nets of two pins of a part, as when it is turned or miswired.
func exchange(n *Netlist, ref, a, b string) {
	p := n.Part(ref)
	x, y := p.Pin(a), p.Pin(b)
	x.Net, y.Net = y.Net, x.Net
}

func remove(n *Netlist, ref string) {
	n.Parts = slices.DeleteFunc(n.Parts, func(p Part) bool { return p.Ref == ref })
}

// Each mistake breaks the rule that is there for it.
func TestMistakesBreakTheirRule(t *testing.T) {
	for name, c := range map[string]struct {
		rule  string
		wrong func(n *Netlist)
	}{
		"bias resistor missing":                   {"position", func(n *Netlist) { remove(n, "R305") }},
		"sense resistor on the pin's side":        {"position", func(n *Netlist) { rewire(n, "R205", "1", "PA4") }},
		"sense resistor at the next position":     {"position", func(n *Netlist) { rewire(n, "R205", "1", "L6") }},
		"two drives at one position":              {"position", func(n *Netlist) { rewire(n, "R106", "2", "L5") }},
		"one line drives two positions":           {"floating", func(n *Netlist) { rewire(n, "R105", "1", "PA3") }},
		"one output biases two positions":         {"floating", func(n *Netlist) { rewire(n, "R305", "1", "bias_L6") }},
		"bias hung on a common node":              {"floating", func(n *Netlist) { rewire(n, "R305", "1", "rail"); rewire(n, "R306", "1", "rail") }},
		"positions tied by a sense line":          {"floating", func(n *Netlist) { rewire(n, "R206", "2", "PF4") }},
		"sources joined off ground":               {"floating", func(n *Netlist) { rewire(n, "Q107", "S", "nowhere"); rewire(n, "Q108", "S", "nowhere") }},
		"fuse missing":                            {"floating", func(n *Netlist) { remove(n, "F1") }},
		"drive of 47 ohms":                        {"value", func(n *Netlist) { n.Part("R105").Ohms = 47 }},
		"drive of 5 percent":                      {"value", func(n *Netlist) { n.Part("R105").TolerancePercent = 5 }},
		"low side's enable without pull-up":       {"reset", func(n *Netlist) { remove(n, "R811") }},
		"bias' enable pulled down":                {"reset", func(n *Netlist) { rewire(n, "R812", "1", "GND") }},
		"load's enable pulled both ways":          {"reset", func(n *Netlist) { n.add(plainResistor("R899", pullUp, Load, "GND", "PG5")) }},
		"enable at ground":                        {"reset", func(n *Netlist) { rewire(n, "U22", "/OE", "GND") }},
		"select without pull-up":                  {"reset", func(n *Netlist) { remove(n, "R814") }},
		"gate without its resistor":               {"reset", func(n *Netlist) { remove(n, "R524") }},
		"gate resistor at the supply":             {"reset", func(n *Netlist) { rewire(n, "R524", "2", "+5V") }},
		"base without its resistor to the supply": {"reset", func(n *Netlist) { remove(n, "R704") }},
		"register turned":                         {"polarity", func(n *Netlist) { exchange(n, "U31", "VCC", "GND") }},
		"clear open":                              {"polarity", func(n *Netlist) { rewire(n, "U31", "/SRCLR", "") }},
		"transistor turned, low side":             {"polarity", func(n *Netlist) { exchange(n, "Q108", "D", "S") }},
		"transistor turned, high side":            {"polarity", func(n *Netlist) { exchange(n, "Q228", "C", "E") }},
		"lamp turned":                             {"polarity", func(n *Netlist) { exchange(n, "D1", "A", "K") }},
		"electrolytic turned":                     {"polarity", func(n *Netlist) { exchange(n, "C228", "+", "-") }},
		"shunt the wrong way round":               {"polarity", func(n *Netlist) { exchange(n, "U51", "VIN+", "VIN-") }},
		"monitor's clock and data swapped":        {"polarity", func(n *Netlist) { exchange(n, "U51", "SCL", "SDA") }},
		"reference turned":                        {"polarity", func(n *Netlist) { exchange(n, "U43", "K", "A") }},
		"serial outputs tied":                     {"driver", func(n *Netlist) { rewire(n, "U22", "QH'", "bias_chain_1") }},
		"outputs tied":                            {"driver", func(n *Netlist) { rewire(n, "U21", "QF", "bias_L5") }},
		"output on a drive line":                  {"driver", func(n *Netlist) { rewire(n, "U12", "QF", "PA0") }},
		"converter's input open":                  {"driver", func(n *Netlist) { rewire(n, "U42", "CH7", "") }},
		"converter's input on nothing":            {"driver", func(n *Netlist) { rewire(n, "U41", "CH6", "nowhere") }},
		"serial input on nothing":                 {"driver", func(n *Netlist) { rewire(n, "U23", "SER", "nowhere") }},
		"chain cut short":                         {"chain", func(n *Netlist) { rewire(n, "U22", "SER", "PC6") }},
		"outputs swapped":                         {"chain", func(n *Netlist) { exchange(n, "U23", "QA", "QB") }},
		"strobe of another group":                 {"chain", func(n *Netlist) { rewire(n, "U24", "RCLK", "PG1") }},
		"enable of another group":                 {"chain", func(n *Netlist) { rewire(n, "U24", "/OE", "PG5") }},
		"link missing":                            {"chain", func(n *Netlist) { remove(n, "JP2") }},
		"link the short way":                      {"chain", func(n *Netlist) { n.Part("JP1").Value = linkShort }},
		"pin numbers swapped":                     {"pinout", func(n *Netlist) { p := n.Part("U11"); p.Pins[0].Number, p.Pins[1].Number = "2", "1" }},
		"socket turned":                           {"pinout", func(n *Netlist) { exchange(n, "X1", "L1", "R1") }},
		"two of one reference":                    {"pinout", func(n *Netlist) { n.Part("R102").Ref = "R101" }},
		"package without its capacitor":           {"decoupling", func(n *Netlist) { remove(n, "C22") }},
		"emitter without 10 microfarads":          {"decoupling", func(n *Netlist) { remove(n, "C205") }},
	} {
		n := New().Clone()
		c.wrong(n)
		broken := n.Check(AllGroups()...)
		if !slices.ContainsFunc(broken, func(v Violation) bool { return v.Rule == c.rule }) {
			t.Errorf("%s: no rule %q is broken, but %v", name, c.rule, broken)
		}
	}
}

// What passes for a value elsewhere breaks a rating: so the ratings are there for a
// design that changes, and here the value rule is left out.
func TestRatingsOfOtherDesigns(t *testing.T) {
	for name, c := range map[string]struct {
		at   string
		ohms float64
		refs func(p Part) bool
	}{
		"drive of 47 ohms":       {"PA4", 47, func(p Part) bool { return p.Ref == "R105" }},
		"drive of 110 ohms":      {"PA4", 110, func(p Part) bool { return p.Ref == "R105" }},
		"load of 100 ohms":       {"load_L5", 100, func(p Part) bool { return p.Ref == "R405" }},
		"loads of 390 ohms":      {"U31", 390, func(p Part) bool { return strings.HasPrefix(p.Ref, "R4") }},
		"loads of 820 ohms":      {"all ports", 820, func(p Part) bool { return strings.HasPrefix(p.Ref, "R4") }},
		"lamps of 10 ohms":       {"PE3", 10, func(p Part) bool { return strings.HasPrefix(p.Ref, "R80") }},
		"reference behind 22 k":  {"U43", 22e3, func(p Part) bool { return p.Ref == "R831" }},
		"reference behind 100 Ω": {"U43", 100, func(p Part) bool { return p.Ref == "R831" }},
	} {
		n := New().Clone()
		for i := range n.Parts {
			if c.refs(n.Parts[i]) {
				n.Parts[i].Ohms = c.ohms
			}
		}
		k := &check{n: n, at: map[string][]Terminal{}}
		for _, net := range n.Nets() {
			k.at[net] = n.Terminals(net)
		}
		k.ratings()
		if !slices.ContainsFunc(k.broken, func(v Violation) bool { return v.At == c.at }) {
			t.Errorf("%s: %s keeps its rating: %v", name, c.at, k.broken)
		}
	}
}

// No part may be missing, no pin of a package open or on its neighbour's net, unseen.
func TestEveryPartAndPinMatters(t *testing.T) {
	for i, p := range New().Parts {
		n := New()
		n.Parts = slices.Delete(n.Parts, i, i+1)
		if len(n.Check(AllGroups()...)) == 0 {
			t.Errorf("%s can be left out", p.Ref)
		}
		if p.Kind == MCU {
			continue // 5 V and ground have several pins each
		}
		for j, pin := range p.Pins {
			if pin.Net == "" {
				continue
			}
			n := New()
			n.Parts[i].Pins[j].Net = ""
			if len(n.Check(AllGroups()...)) == 0 {
				t.Errorf("%s: %s can be left open", p.Ref, pin.Name)
			}
			next := (j + 1) % len(p.Pins)
			if p.Pins[next].Net == pin.Net || p.Kind == Resistor || p.Kind == Link {
				continue // no difference, or none for a resistor
			}
			n = New()
			n.Parts[i].Pins[j].Net, n.Parts[i].Pins[next].Net = n.Parts[i].Pins[next].Net, pin.Net
			if len(n.Check(AllGroups()...)) == 0 {
				t.Errorf("%s: %s and %s can be swapped", p.Ref, pin.Name, p.Pins[next].Name)
			}
		}
	}
}
