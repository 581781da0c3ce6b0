package carrier

import (
	"slices"
	"strings"
	"testing"
)

// The parts that the design's table asks for ("The adapter, revision B"), and how
// many of each.
func TestPartsOfTheDesign(t *testing.T) {
	for _, want := range []struct {
		kind   Kind
		value  string
		groups []Group
		count  int
	}{
		{Resistor, "120 Ω", AllGroups(), 28},                  // drive, all positions
		{Resistor, "120 Ω", nil, 16},                          // near half
		{Resistor, "4.7 kΩ", nil, 16 + 1},                     // sense L1-8, R1-8; read-back of the bias chain
		{Resistor, "4.7 kΩ", AllGroups(), 28 + 2},             // and the converters' 12; read-back of the load chain
		{Resistor, "10 kΩ", nil, 16 + 2 + 2 + 1},              // bias; gates; enables; base to emitter
		{Resistor, "10 kΩ", AllGroups(), 28 + 13 + 3 + 6 + 1}, // and select
		{Resistor, "1 kΩ", nil, 3},                            // lamps
		{Resistor, "1 kΩ", []Group{Load}, 3 + 16},             // and the near half's load
		{Resistor, "1 kΩ", []Group{Load, FarHalf}, 3 + 28},    // and the far half's
		{Resistor, "1 kΩ", []Group{FarHalf}, 3},               // which needs the near half's chain
		{Resistor, "2.2 kΩ", AllGroups(), 6 + 1},              // bases; the reference
		{Register, "74HC595", nil, 3},                         // starter
		{Register, "74HC595", AllGroups(), 2 + 4 + 4},         //
		{NMOS, "logic-level NMOS", nil, 2},                    // positions 7 and 8
		{NMOS, "logic-level NMOS", AllGroups(), 13},           //
		{PNP, "low-saturation PNP", nil, 1},                   // position 28
		{PNP, "low-saturation PNP", AllGroups(), 6},           //
		{Capacitor, "10 µF", AllGroups(), 6},                  // an emitter
		{Capacitor, "100 nF", AllGroups(), 6 + 10 + 2 + 1},    // emitters, registers, converters, reference
		{Converter, "MCP3208", AllGroups(), 2},                //
		{Reference, "2.500 V", AllGroups(), 1},                //
		{Monitor, "current monitor, 0.1 Ω", nil, 1},           //
		{Fuse, "0.9 A hold", nil, 1},                          //
		{Link, linkShort, []Group{Load}, 3},                   // each chain ends in the near half
		{Link, linkLong, AllGroups(), 3},                      //
		{Link, linkLong, []Group{Load, FarHalf}, 2},           // the low side's goes on with the switches
	} {
		count := 0
		for _, p := range New().Fitted(want.groups...).Parts {
			if p.Kind == want.kind && p.Value == want.value {
				count++
			}
		}
		if count != want.count {
			t.Errorf("%v: %d x %v %s, want %d", want.groups, count, want.kind, want.value, want.count)
		}
	}
}

// positions gives the positions of the parts whose references begin so, in the order of a chip's pins.
func positions(n *Netlist, prefix string) []int {
	var found []int
	for _, p := range n.Parts {
		if strings.HasPrefix(p.Ref, prefix) && p.Position != 0 {
			found = append(found, p.Position)
		}
	}
	slices.Sort(found)
	return found
}

// The positions of switches and the lines of ports, from the design's table.
func TestPositionsOfTheDesign(t *testing.T) {
	n := New()
	if got, want := positions(n, "Q1"), []int{1, 4, 7, 8, 9, 10, 11, 12, 14, 21, 24, 25, 28}; !slices.Equal(got, want) {
		t.Errorf("low-side switches at %v, want %v", got, want)
	}
	if got, want := positions(n, "Q2"), []int{1, 4, 5, 8, 22, 28}; !slices.Equal(got, want) {
		t.Errorf("high-side switches at %v, want %v", got, want)
	}
	for port, want := range map[string]string{
		"PA": "L1 L2 L3 L4 L5 L6 L7 L8", "PC": "L9 L10 L11 L12 L13 L14",
		"PL": "R1 R2 R3 R4 R5 R6 R7 R8", "PB": "R9 R10 R11 R12 R13 R14",
	} {
		for i, name := range strings.Fields(want) {
			line := port + string(rune('0'+i))
			if got := across(n, line, 120); got != name {
				t.Errorf("%s drives %q, want %s", line, got, name)
			}
		}
	}
	for port, want := range map[string]string{"PF": "L1 L2 L3 L4 L5 L6 L7 L8", "PK": "R1 R2 R3 R4 R5 R6 R7 R8"} {
		for i, name := range strings.Fields(want) {
			line := port + string(rune('0'+i))
			if got := across(n, line, 4700); got != name {
				t.Errorf("%s senses %q, want %s", line, got, name)
			}
		}
	}
	for line, name := range map[string]string{"PH0": "base_L1", "PH1": "base_L4", "PH3": "base_L5", "PH4": "base_L8", "PH5": "base_R7", "PH6": "base_R1"} {
		if got := across(n, line, 2200); got != name {
			t.Errorf("%s switches %q, want %s", line, got, name)
		}
	}
}

// across gives the net at the other end of the resistor of this value on a net.
func across(n *Netlist, net string, ohms float64) string {
	for _, end := range n.Terminals(net) {
		if end.Part.Kind == Resistor && end.Part.Ohms == ohms {
			for _, pin := range end.Part.Pins {
				if pin.Net != net {
					return pin.Net
				}
			}
		}
	}
	return ""
}

// The order of the chains' outputs, from the design: a 1 shifted in first comes to the last.
func TestOrderOfTheChains(t *testing.T) {
	n := New()
	for _, chain := range []struct {
		store string
		want  string
	}{
		{lineStoreLow, "gate_L1 gate_L4 gate_L7 gate_L8 gate_R8 gate_R5 gate_R4 gate_R1 gate_L9 gate_L10 gate_L11 gate_L12 gate_L14 - - -"},
		{lineStoreBias, "bias_L1 bias_L2 bias_L3 bias_L4 bias_L5 bias_L6 bias_L7 bias_L8 " +
			"bias_R1 bias_R2 bias_R3 bias_R4 bias_R5 bias_R6 bias_R7 bias_R8 " +
			"bias_L9 bias_L10 bias_L11 bias_L12 bias_L13 bias_L14 - - bias_R9 bias_R10 bias_R11 bias_R12 bias_R13 bias_R14 - -"},
		{lineStoreLoad, "load_L1 load_L2 load_L3 load_L4 load_L5 load_L6 load_L7 load_L8 " +
			"load_R1 load_R2 load_R3 load_R4 load_R5 load_R6 load_R7 load_R8 " +
			"load_L9 load_L10 load_L11 load_L12 load_L13 load_L14 - - load_R9 load_R10 load_R11 load_R12 load_R13 load_R14 - -"},
	} {
		var got []string
		for at := "PC6"; ; {
			var next *Part
			for _, end := range n.Terminals(at) {
				if end.Pin.Name == "SER" && end.Part.Net("RCLK") == chain.store {
					next = end.Part
				}
			}
			if next == nil {
				break
			}
			for _, name := range outputs {
				net := next.Net(name)
				if net == "" {
					net = "-"
				}
				got = append(got, net)
			}
			at = next.Net("QH'")
		}
		if s := strings.Join(got, " "); s != chain.want {
			t.Errorf("chain stored by %s:\n got %s\nwant %s", chain.store, s, chain.want)
		}
	}
}

// References are unique, and so are the pin numbers of a part; the last two digits of what belongs to a position are that position.
func TestReferences(t *testing.T) {
	seen := map[string]bool{}
	for _, p := range New().Parts {
		if seen[p.Ref] {
			t.Errorf("%s twice", p.Ref)
		}
		seen[p.Ref] = true
		numbers := map[string]bool{}
		for _, pin := range p.Pins {
			if numbers[pin.Number] {
				t.Errorf("%s: pin %s twice", p.Ref, pin.Number)
			}
			numbers[pin.Number] = true
		}
		if p.Position != 0 && !strings.HasSuffix(p.Ref, string([]byte{'0' + byte(p.Position/10), '0' + byte(p.Position%10)})) {
			t.Errorf("%s at position %d", p.Ref, p.Position)
		}
		if p.Description == "" || p.Footprint == "" || p.Rating == "" || p.Value == "" {
			t.Errorf("%s lacks a value, rating, description or footprint", p.Ref)
		}
	}
}
