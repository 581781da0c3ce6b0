package virtual

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// spice runs a netlist's operating point through ngspice and gives the voltages
// of its nodes n1, n2 … by number.
func spice(t *testing.T, netlist string) map[int]float64 {
	t.Helper()
	program, err := exec.LookPath("ngspice")
	if err != nil {
		t.Fatal("ngspice is missing; install it: apt-get install -y --no-install-recommends ngspice")
	}
	file := filepath.Join(t.TempDir(), "socket.cir")
	text := "socket\n" + netlist + ".op\n.print op all\n.end\n"
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(program, "-b", file).CombinedOutput()
	if err != nil {
		t.Fatalf("ngspice: %v\n%s\n%s", err, text, out)
	}
	volts := map[int]float64{}
	for _, m := range regexp.MustCompile(`(?m)^\s*(?:v\()?n(\d+)\)?\s+=?\s*([-+.\deE]+)\s*$`).FindAllStringSubmatch(string(out), -1) {
		n, _ := strconv.Atoi(m[1])
		if volts[n], err = strconv.ParseFloat(m[2], 64); err != nil {
			t.Fatal(err)
		}
	}
	if len(volts) == 0 {
		t.Fatalf("ngspice printed no voltages:\n%s", out)
	}
	return volts
}

// adapterNetlist is what the adapter has at the 28 positions: n1 to n28, with the
// resistors of design.md and not of node.go.
func adapterNetlist(s *Socket) string {
	var b strings.Builder
	b.WriteString("Vsupply usb 0 5\nRusb usb p5 0.6\nIboard p5 0 80m\n")
	rail := func(name string, to pulls, position int, low, high string) {
		switch {
		case to.on && to.up.Has(position):
			fmt.Fprintf(&b, "R%s%d p5 n%d %s\n", name, position, position, high)
		case to.on:
			fmt.Fprintf(&b, "R%s%d 0 n%d %s\n", name, position, position, low)
		}
	}
	for i, d := range s.chip.Defects {
		if d.Kind == ResistiveShort {
			fmt.Fprintf(&b, "Rbetween%d n%d n%d %g\n", i, s.chip.position(d.Pin), s.chip.position(d.Other), d.Amount)
		}
	}
	for p := 1; p <= adapter.Positions; p++ {
		fmt.Fprintf(&b, "Rleak%d n%d 0 1G\n", p, p)
		for other := range s.of[p].positions.Positions() {
			if other > p {
				fmt.Fprintf(&b, "Rshort%d n%d n%d 1m\n", p, p, other)
			}
		}
		rail("bias", s.pulls[BiasPull], p, "10.03k", "10.035k")
		rail("load", s.pulls[LoadPull], p, "1.03k", "1.035k")
		rail("drive", pulls{s.dir.Has(p), s.level}, p, "145", "145")
		if s.highOn.Has(p) {
			fmt.Fprintf(&b, "Vhigh%d p5 e%d 0.008\nRhigh%d e%d n%d 0.64\nIbase%d p5 0 1.9m\n", p, p, p, p, p, p)
		}
		if s.lowOn.Has(p) {
			fmt.Fprintf(&b, "Rlow%d 0 n%d 0.3\n", p, p)
		}
	}
	return b.String()
}

// networkNetlist is the socket's own network of an unpowered chip, each branch a
// diode with its series resistance.
func networkNetlist(s *Socket) string {
	name := func(node int) string {
		if node < len(s.nodes) {
			for p := range s.nodes[node].positions.Positions() {
				return fmt.Sprintf("n%d", p)
			}
		}
		return fmt.Sprintf("die%d", node)
	}
	var b strings.Builder
	for i, br := range s.network.branches[:len(s.network.branches)-len(s.couplings)] { // adapterNetlist has those
		if br.from == br.to {
			continue
		}
		if br.junctions == 0 {
			fmt.Fprintf(&b, "R%d %s %s %g\n", i, name(br.from), name(br.to), br.ohms)
			continue
		}
		fmt.Fprintf(&b, "D%d %s %s m%d\n.model m%d D(IS=%g N=%g RS=%g)\n", i, name(br.from), name(br.to), i, i, br.saturation, br.junctions, br.ohms)
	}
	return b.String()
}

func compare(t *testing.T, what string, s *Socket, volts map[int]float64, within float64) {
	t.Helper()
	for p := range s.chip.pads {
		position := s.chip.position(p + 1)
		got, want := s.of[position].volts, volts[position]
		if math.Abs(got-want) > within {
			t.Errorf("%s: pin %d is at %.3f V, ngspice says %.3f V", what, p+1, got, want)
		}
	}
}

// The whole-socket solution of an unpowered chip is that of ngspice within 5 mV.
func TestUnpoweredSocketAgainstNgspice(t *testing.T) {
	type situation struct {
		family     string
		defects    []string
		bias, load pulled
		high, low  []int // positions driven
	}
	const ground, supply = 7, 28 // of a 14-pin package
	var situations []situation
	for _, family := range []string{"74", "74LS", "74HC"} {
		situations = append(situations,
			situation{family, nil, allLow, allOff, []int{ground}, nil},
			situation{family, nil, allOff, allLow, []int{ground}, nil},
			situation{family, []string{"reversed"}, allLow, allOff, []int{ground}, nil},
			situation{family, []string{"reversed"}, allOff, allLow, []int{ground}, nil},
			situation{family, []string{"7 open"}, allLow, allOff, []int{1, 2, 3, supply}, nil},
			situation{family, nil, allHigh, allOff, nil, []int{ground}},
			situation{family, nil, allHigh, allOff, nil, []int{supply}},
		)
	}
	situations = append(situations,
		situation{"74H", []string{"shifted"}, allLow, allOff, []int{8}, nil},
		situation{"74S", []string{"3 leaks 2 mA", "5 shorted to 6"}, allLow, allOff, []int{ground}, nil},
		situation{"4000B", []string{"14 open"}, allOff, allLow, []int{1, 2}, []int{5}},
		situation{"74L", []string{"14 shorted to 7"}, allHigh, allLow, nil, nil},
		situation{"74", []string{"1 shorted to 3 150 ohms"}, allLow, allOff, []int{1, ground}, nil},
		situation{"74LS", []string{"4 shorted to 6 3300 ohms", "6 shorted to 8 22 ohms"}, allHigh, allOff, nil, []int{4, ground}},
		situation{"74HC", []string{"2 shorted to 14 1000 ohms"}, allLow, allOff, []int{2}, []int{ground}},
		situation{"4000B", []string{"1 shorted to 2 10000 ohms", "5 open"}, allLow, allOff, []int{1, 5}, []int{ground}},
	)
	for _, c := range situations {
		s := NewSocket(quadNAND(t, c.family, part.TotemPole, c.defects...), 1)
		pull(s, c.bias, c.load)
		s.Drive(adapter.At(append(c.high, c.low...)...), adapter.At(c.high...))
		volts := spice(t, adapterNetlist(s)+networkNetlist(s))
		compare(t, fmt.Sprintf("%s %v, bias %v, load %v, driven high %v, low %v", c.family, c.defects, c.bias, c.load, c.high, c.low), s, volts, 0.005)
	}
	t.Logf("%d situations", len(situations))
}

// gates are four NAND gates at the level of transistors, as the data books draw
// them (from memory). The multi-emitter transistor is two with joined bases and
// collectors. Every tub has its substrate diode.
var gates = map[string]string{
	"74": `
.model q NPN(IS=1e-15 BF=40 BR=0.05 RC=8 RB=50)
.model d D(IS=1e-14 RS=20)
.model tub D(IS=1e-14 RS=2)
.subckt nand a b y vcc
Q1 c1 b1 a q
Q2 c1 b1 b q
R1 vcc b1 4k
D1 gnd a d
D2 gnd b d
Q3 c3 c1 e3 q
R2 vcc c3 1.6k
R3 e3 gnd 1k
Q4 y e3 gnd q
Q5 c5 c3 e5 q
R4 vcc c5 130
D3 e5 y d
D4 gnd y d
.ends
`,
	"74LS": `
.model q NPN(IS=1e-15 BF=40 BR=0.05 RC=8 RB=50)
.model d D(IS=1e-14 RS=20)
.model s D(IS=3e-11 RS=20)
.model tub D(IS=1e-14 RS=2)
.subckt nand a b y vcc
R1 vcc b1 20k
D1 b1 a s
D2 b1 b s
D5 gnd a s
D6 gnd b s
Q3 c3 b1 e3 q
D7 b1 c3 s
R2 vcc c3 8k
R3 e3 gnd 2.5k
Q4 y e3 gnd q
D8 e3 y s
Q5 c5 c3 e5 q
Q6 c5 e5 y q
R5 e5 y 4k
R4 vcc c5 120
D4 gnd y d
.ends
`,
}

// transistorNetlist puts a quad NAND of transistors into the socket, its ground
// pin at one position and its supply pin at another.
func transistorNetlist(family string, s *Socket) string {
	at := func(pin int) int { return s.chip.position(pin) }
	body := strings.ReplaceAll(gates[family], "gnd", fmt.Sprintf("n%d", at(7)))
	body = strings.ReplaceAll(body, "a b y vcc", "a b y vcc g")
	body = regexp.MustCompile(fmt.Sprintf(`\bn%d\b`, at(7))).ReplaceAllString(body, "g")
	for i, g := range [][3]int{{1, 2, 3}, {4, 5, 6}, {9, 10, 8}, {12, 13, 11}} {
		body += fmt.Sprintf("X%d n%d n%d n%d n%d n%d nand\n", i, at(g[0]), at(g[1]), at(g[2]), at(14), at(7))
	}
	return body + fmt.Sprintf("Dtub n%d n%d tub\n", at(7), at(14))
}

// Against transistors the model of families is a first order: what decides, the
// inputs of an unpowered chip and the levels of a powered one, agrees within the
// tolerance beside each. The other input of each gate is driven high, as IIL is
// measured; two inputs of a gate at one level share its base resistor, which the
// model does not know.
func TestFamilyModelAgainstTransistorsInNgspice(t *testing.T) {
	off, low, high := allOff, allLow, allHigh
	others := pins(9, 12, 3, 6) // where pins 2, 5, 10 and 13 of a reversed chip are
	for _, c := range []struct {
		family     string
		defects    []string
		power      bool
		bias, load pulled
		high, low  adapter.Word
		pins       []int
		within     float64
		why        string
	}{
		{"74", nil, false, low, off, pins(7), 0, []int{1, 5, 3, 8}, 0.15, "right way round: one junction below ground"},
		{"74LS", nil, false, low, off, pins(7), 0, []int{1, 5, 3, 8}, 0.15, "the same"},
		{"74", nil, false, off, low, pins(7), 0, []int{1, 5, 3, 8}, 0.15, "the same under the load rail"},
		{"74LS", nil, false, off, low, pins(7), 0, []int{1, 5, 3, 8}, 0.15, "the same"},
		{"74", []string{"reversed"}, false, low, off, pins(7) | others, 0, []int{1, 4, 9}, 0.25, "reversed: inputs hang on 4 kΩ"},
		{"74LS", []string{"reversed"}, false, low, off, pins(7) | others, 0, []int{1, 4, 9}, 0.6, "reversed: inputs hang on 20 kΩ, whose current the next stage shares"},
		{"74", []string{"reversed"}, false, off, low, pins(7) | others, 0, []int{1, 4, 9}, 0.25, "reversed, load rail"},
		{"74LS", []string{"reversed"}, false, off, low, pins(7) | others, 0, []int{1, 4, 9}, 0.25, "reversed, load rail"},
		{"74", nil, true, off, low, pins(2, 5, 10, 13), 0, []int{1, 4}, 0.15, "an input held by 1 kΩ"},
		{"74LS", nil, true, off, low, pins(2, 5, 10, 13), 0, []int{1, 4}, 0.1, "an input held by 1 kΩ"},
		{"74", nil, true, off, off, pins(2, 5, 10, 13), pins(1, 4), []int{1, 4}, 0.1, "inputs driven low"},
		{"74LS", nil, true, off, off, pins(2, 5, 10, 13), pins(1, 4), []int{1, 4}, 0.1, "inputs driven low"},
		{"74", nil, true, low, off, pins(2, 5, 10, 13), 0, []int{1, 4}, 0.25, "open inputs, 10 kΩ to ground"},
		{"74LS", nil, true, high, off, pins(2, 5, 10, 13), 0, []int{1, 4}, 0.25, "open inputs, 10 kΩ to 5 V"},
		{"74", nil, true, low, off, 0, pins(1, 4, 9, 12), []int{1, 3, 6}, 0.3, "a high with 10 kΩ to ground"},
		{"74LS", nil, true, low, off, 0, pins(1, 4, 9, 12), []int{1, 3, 6}, 0.3, "a high with 10 kΩ to ground"},
		{"74", nil, true, off, high, pins(1, 2, 4, 5, 9, 10, 12, 13), 0, []int{3, 6}, 0.2, "a low with 1 kΩ to 5 V"},
		{"74LS", nil, true, off, high, pins(1, 2, 4, 5, 9, 10, 12, 13), 0, []int{3, 6}, 0.2, "a low with 1 kΩ to 5 V"},
		{"74", []string{"3 shorted to 6 220 ohms"}, true, off, off, pins(1, 2, 5), pins(4), []int{3, 6}, 0.25, "220 Ω between a low and a high"},
		{"74LS", []string{"3 shorted to 6 220 ohms"}, true, off, off, pins(1, 2, 5), pins(4), []int{3, 6}, 0.45, "the same; the upper transistor takes less than it may"},
		{"74", []string{"4 shorted to 3 470 ohms"}, true, off, off, pins(1, 2, 5), 0, []int{3, 4}, 0.2, "470 Ω from an input to a low"},
		{"74LS", []string{"4 shorted to 3 470 ohms"}, true, off, off, pins(1, 2, 5), 0, []int{3, 4}, 0.2, "470 Ω from an input to a low"},
	} {
		s := NewSocket(quadNAND(t, c.family, part.TotemPole, c.defects...), 1)
		if c.power {
			s.Supply(adapter.At(28), adapter.At(7))
		}
		pull(s, c.bias, c.load)
		s.Drive(c.high|c.low, c.high)
		volts := spice(t, adapterNetlist(s)+transistorNetlist(c.family, s))
		for _, pin := range c.pins {
			got, want := s.of[s.chip.position(pin)].volts, volts[s.chip.position(pin)]
			if math.Abs(got-want) > c.within {
				t.Errorf("%s %v, %s: pin %d is at %.3f V, ngspice says %.3f V", c.family, c.defects, c.why, pin, got, want)
			}
		}
	}
}
