package carrier

import (
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"chipassay/firmware/carrier/ngspice"
)

var printed = regexp.MustCompile(`(?m)^\s*(\S+)\s+=?\s*([-+]?\d\.\d+e[-+]\d+)\s*$`)

// operate gives the operating point's voltages by node, and currents of sources as "v…#branch".
func operate(t *testing.T, n *Netlist, s State, o Operating, chip string) map[string]float64 {
	t.Helper()
	var b strings.Builder
	if err := n.WriteDeck(&b, s, o); err != nil {
		t.Fatal(err)
	}
	return solve(t, b.String()+chip+"\n")
}

// solve gives the operating point of a deck likewise.
func solve(t *testing.T, deck string) map[string]float64 {
	t.Helper()
	out := ngspice.Run(t, deck+".op\n.print op all\n.end\n")
	at := map[string]float64{}
	for _, m := range printed.FindAllStringSubmatch(out, -1) {
		v, err := strconv.ParseFloat(m[2], 64)
		if err != nil {
			t.Fatal(err)
		}
		at[m[1]] = v
	}
	if len(at) < 28 {
		t.Fatalf("ngspice printed %d voltages:\n%s", len(at), out)
	}
	return at
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.Abs(got-want) > within {
		t.Errorf("%s: %.4f, want %.4f ± %.4f", what, got, want, within)
	}
}

// A position that nothing drives stands at its bias: the design asks for 4.49 V and
// 0.01 V at 4.5 V. Its neighbours' bias does not move it: there is no common node.
func TestReleasedPositionsFollowBias(t *testing.T) {
	for _, corner := range []int{-1, 0, 1} {
		s := State{BiasOn: true, BiasUp: 0x15552AAA}
		at := operate(t, New(), s, Operating{Rail: 4.5, Corner: corner}, "")
		for _, l := range Lanes() {
			got, high := at[strings.ToLower(l.Name)], s.BiasUp&l.Bit() != 0
			if high && got < 4.49 || !high && math.Abs(got) > 0.01 {
				t.Errorf("corner %d: %s stands at %.4f V, bias high: %v", corner, l.Name, got, high)
			}
		}
	}
}

// Ohm's law by hand: 120 Ω and the pin's 25, 10 kΩ and the register's 30 or 35, 1 kΩ likewise.
func TestOhmsLaw(t *testing.T) {
	s := State{
		Driven: Word(1, 2, 3, 4, 5, 13), Level: Word(1, 2, 3),
		BiasOn: true, BiasUp: Word(4, 6, 14),
		LoadOn: true, LoadUp: Word(5),
	}
	// 40 mA out of L2, whatever its voltage; a short at L3 to ground and one between R13 and R14.
	at := operate(t, New(), s, Operating{Rail: 5}, "Ichip L2 0 20m\nVshort L3 0 0\nVtie R13 R14 0")
	pulled := func(ohms ...float64) float64 { // parallel
		g := 0.0
		for _, o := range ohms {
			g += 1 / o
		}
		return 1 / g
	}
	// L1: driven high, biased and loaded low.
	down := pulled(10030, 1030)
	near(t, "L1 driven high against bias and load", at["l1"], 5*down/(down+145), 0.001)
	// L2 gives 20 mA to the chip beside that.
	near(t, "L2 with 20 mA drawn", at["l2"], (5.0/145-0.020)/(1/145.0+1/down), 0.001)
	near(t, "mA into a short at L3", at["vshort#branch"]*1000, 5000.0/145, 0.02)
	// L4: driven low, biased high, loaded low.
	near(t, "L4 driven low", at["l4"], 5/10035.0/(1/10035.0+1/145.0+1/1030.0), 0.001)
	// L5: driven low, loaded high.
	near(t, "L5 driven low, load high", at["l5"], 5/1035.0/(1/1035.0+1/145.0+1/10030.0), 0.001)
	// L6: bias high against load low.
	near(t, "L6 biased high, load low", at["l6"], 5*1030.0/(1030+10035), 0.001)
	// What the sense lines see is the position: nothing flows in 4.7 kΩ.
	near(t, "sense line of L2", at["pf1"], at["l2"], 0.001)
	near(t, "converter's input of L14", at["sense_l14"], at["l14"], 0.001)
}

// A short to ground at 5.25 V stays inside the pin's 40 mA with the strongest pin and the least resistor.
func TestShortStaysInsideThePin(t *testing.T) {
	at := operate(t, New(), State{Driven: Word(5), Level: Word(5)}, Operating{Rail: 5.25, Corner: 1, Tolerance: -1}, "Vshort L5 0 0")
	near(t, "mA", at["vshort#branch"]*1000, 5250/(118.8+18), 0.05)
	if at["vshort#branch"] > 0.040 {
		t.Errorf("%.1f mA", at["vshort#branch"]*1000)
	}
}

// The chip's supply, as the design has it from a port of 5.00 and 4.75 V at 90 and 200 mA.
func TestSupplyOfTheChip(t *testing.T) {
	for _, c := range []struct{ usb, amps, want float64 }{
		{5, 0.090, 4.82}, {5, 0.200, 4.66}, {4.75, 0.090, 4.57}, {4.75, 0.200, 4.41},
	} {
		for _, l := range Lanes() {
			if l.High == "" || c.amps == 0.090 && l.Position != 28 {
				continue
			}
			low := 8
			if l.Position == 8 {
				low = 24
			}
			s := State{High: l.Bit(), Low: Word(low)}
			chip := "Ichip " + l.Name + " " + LaneAt(low).Name + " " + strconv.FormatFloat(c.amps, 'g', -1, 64)
			at := operate(t, New(), s, Operating{USB: c.usb}, chip)
			near(t, "V at position "+l.Name, at[strings.ToLower(l.Name)], c.want, 0.03)
			near(t, "V at ground of "+l.Name, at[strings.ToLower(LaneAt(low).Name)], 0.3*c.amps, 0.015)
		}
	}
	// The weakest: gain 200 and 0.45 Ω still carry the 300 mA that the firmware allows.
	at := operate(t, New(), State{High: Word(28), Low: Word(8)}, Operating{Rail: 4.75, Corner: -1, Tolerance: 1}, "Ichip R1 L8 300m")
	if at["r1"] < 4.2 {
		t.Errorf("300 mA at the weakest: %.3f V", at["r1"])
	}
	near(t, "V of ground at the weakest", at["l8"], 0.3*0.5, 0.01) // 0.45 Ω at 5.0 V, 0.5 at 4.75
}

// In reset no switch is closed and no position is held.
func TestReset(t *testing.T) {
	for _, groups := range [][]Group{nil, {Load}, AllGroups()} {
		at := operate(t, New().Fitted(groups...), State{Reset: true}, Operating{Rail: 5},
			"Rhold1 R1 0 1meg\nRhold8 L8 rail 1meg")
		near(t, "position 28", at["r1"], 0, 0.05)
		leaks := 3.0 // drive, sense, bias: 50 MΩ each
		if groups != nil {
			leaks++ // load
		}
		near(t, "position 8", at["l8"], 5*50/leaks/(50/leaks+1), 0.01)
		for _, enable := range []string{"pb6", "pg2"} {
			near(t, enable, at[enable], 5, 0.01)
		}
		near(t, "gate of position 8", at["gate_l8"], 0, 0.01)
	}
}

// The reference, the serial outputs through the links, the thresholds.
func TestTheRest(t *testing.T) {
	at := operate(t, New(), State{BiasOn: true}, Operating{Rail: 4.5}, "Vl1 L1 0 2.0\nVl2 L2 0 2.8\nVl3 L3 0 1.3")
	near(t, "reference", at["ref2v5"], 2.5, 0.0125)
	near(t, "L1 at 2.0 V of 4.5 may be either", at["read_pf0"], 0.5, 0)
	near(t, "L2 at 2.8 V reads", at["read_pf1"], 1, 0)
	near(t, "L3 at 1.3 V reads", at["read_pf2"], 0, 0)
	for _, c := range []struct {
		net    string
		groups []Group
	}{{"bias_chain_2", nil}, {"bias_chain_4", AllGroups()}} {
		var b strings.Builder
		if err := New().Fitted(c.groups...).WriteDeck(&b, State{}, Operating{Rail: 5}); err != nil {
			t.Fatal(err)
		}
		deck := strings.ReplaceAll(b.String(), "Vlevel_"+c.net+" level_"+c.net+" 0 0", "Vlevel_"+c.net+" level_"+c.net+" 0 1")
		near(t, "PD2 behind "+c.net, solve(t, deck)["pd2"], 5, 0.01)
	}
}

// A position with a low-side switch rises from 0 V to VIH (0.6 of the rail) within 10 µs, to
// 5 mV within 40 µs, as the design has it from the transistor's 500 pF.
func TestSettlingFromBias(t *testing.T) {
	var b strings.Builder
	if err := New().WriteDeck(&b, State{BiasOn: true, BiasUp: Word(8)}, Operating{Rail: 5}); err != nil {
		t.Fatal(err)
	}
	const source = "Vlevel_bias_L8 level_bias_L8 0 "
	deck := strings.Replace(b.String(), source+"1", source+"pulse(0 1 1u 1n 1n 1)", 1)
	if deck == b.String() {
		t.Fatal("no source of the bias at L8")
	}
	out := ngspice.Run(t, deck+".tran 50n 50u\n.measure tran digital when v(L8)=3.0 rise=1\n.measure tran voltage when v(L8)=4.995 rise=1\n.end\n")
	for name, c := range map[string]struct{ least, most float64 }{"digital": {2e-6, 11e-6}, "voltage": {10e-6, 41e-6}} {
		m := regexp.MustCompile(name + `\s*=\s*(\S+)`).FindStringSubmatch(out)
		if len(m) == 0 {
			t.Fatalf("%s: not reached\n%s", name, out)
		}
		at, err := strconv.ParseFloat(m[1], 64)
		if err != nil || at < c.least || at > c.most {
			t.Errorf("%s: %g s", name, at)
		}
	}
}

// example.cir runs beside carrier.cir: the inverter pulls its output low against the
// bias, 10 kΩ to the rail over some 500 Ω.
func TestExample(t *testing.T) {
	dir := t.TempDir()
	for name, write := range map[string]func(io.Writer) error{"carrier.cir": New().WriteSpice, "example.cir": WriteExample} {
		var b strings.Builder
		if err := write(&b); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.Command("ngspice", "-b", "example.cir")
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	at := map[string]float64{}
	for _, m := range regexp.MustCompile(`(?m)^v\((\w+)\) = (\S+)`).FindAllStringSubmatch(string(out), -1) {
		if at[m[1]], err = strconv.ParseFloat(m[2], 64); err != nil {
			t.Fatal(err)
		}
	}
	near(t, "output", at["l2"], 5*500/10500.0, 0.08)
	near(t, "input", at["l1"], at["rail"], 0.1)
	near(t, "read", at["read_pf1"], 0, 0)
}
