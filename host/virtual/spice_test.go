package virtual

import (
	"fmt"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"chipassay/firmware/carrier/ngspice"
)

// A spiceState is a state of a deck: the sources that are set to other values before
// its operating point is found, in the order of a data book's test conditions.
type spiceState []string // "Vin=0.8"

// operate finds the operating points of a deck in several states, one after another:
// what a state sets stays. For each it gives the values of the vectors asked for.
func operate(t testing.TB, deck string, states []spiceState, vectors []string) []map[string]float64 {
	t.Helper()
	var b strings.Builder
	fmt.Fprintf(&b, "* chips in states\n%s\n.option gmin=1e-13\n.control\nset numdgt=7\n", deck)
	for _, s := range states {
		for _, set := range s {
			source, value, _ := strings.Cut(set, "=")
			fmt.Fprintf(&b, "alter %s dc = %s\n", source, value)
		}
		fmt.Fprintf(&b, "op\necho state\n")
		for at := 0; at < len(vectors); at += 20 { // a line has its limit
			fmt.Fprintf(&b, "print %s\n", strings.Join(vectors[at:min(at+20, len(vectors))], " "))
		}
	}
	b.WriteString("quit\n.endc\n.end\n")
	out := ngspice.Run(t, b.String())
	var points []map[string]float64
	for i, text := range strings.Split(out, "\nstate\n")[1:] {
		values := map[string]float64{}
		for _, m := range vectorLine.FindAllStringSubmatch(text, -1) {
			v, err := strconv.ParseFloat(m[2], 64)
			if err != nil {
				t.Fatal(err)
			}
			values[m[1]] = v
		}
		if len(values) < len(vectors) {
			t.Fatalf("state %d, %v: ngspice printed %d of %d values:\n%s", i, states[i], len(values), len(vectors), text)
		}
		points = append(points, values)
	}
	if len(points) != len(states) {
		t.Fatalf("ngspice found %d of %d operating points:\n%s", len(points), len(states), out)
	}
	return points
}

var vectorLine = regexp.MustCompile(`(?m)^(\S+) = ([-+.\deE]+)\s*$`)

// include gives the lines that bring the chips' subcircuits into a deck.
func include(t testing.TB, files ...string) string {
	t.Helper()
	var b strings.Builder
	for _, f := range files {
		path, err := filepath.Abs(filepath.Join("testdata", "spice", f+".cir"))
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, ".include %s\n", path)
	}
	return b.String()
}

// bench puts one chip on a bench as a data sheet's test circuits do: Vcc at its supply; a
// source Va at one input of a gate, Vb at its other and Vc at the other gates' inputs; at the
// gate's output y a current Iy into the chip, and, with Von=1, the source Vy.
func bench(chip string, pins []string) string {
	return fmt.Sprintf("X1 %s %s\nVcc vcc 0 5\nVa a 0 0\nVb b 0 0\nVc c 0 0\nIy 0 y 0\nVy s 0 0\nSy s y on 0 tied\nVon on 0 0\n"+
		".model tied sw(vt=0.5 ron=1m roff=1e12)\n", strings.Join(pins, " "), chip)
}

// A sheetLine is one line of a data sheet: what is set, and between which limits what is
// measured is. Currents out of the chip at an input or output are positive.
type sheetLine struct {
	what      string
	set       string
	vector    string
	low, high float64
}

// The pinouts on the bench: a NAND of a quad in a 7400's pinout and in a 4011's, a buffer of a
// 74LS125 with its enable at b, an inverter of a 4049.
var (
	bench7400  = strings.Fields("a b y c c y2 0 y3 c c y4 c c vcc")
	bench4011  = strings.Fields("a b y y2 c c 0 c c y3 y4 c c vcc")
	bench74125 = strings.Fields("b a y c c y2 0 y3 c c y4 c c vcc")
	bench4049  = strings.Fields("vcc y a y2 c y3 c 0 c y4 c y5 nc c y6 nc2")
)

// ttl7400, from memory of the data books. Its typical values are those at 5 V and 25 °C.
func ttl7400() []sheetLine {
	return []sheetLine{
		{"VOH at -0.4 mA, typically 3.4 V", "Va=0.4 Vb=5 Iy=-0.4m", "v(y)", 3.2, 3.7},
		{"VOH at -0.4 mA and 4.75 V with VIL", "Vcc=4.75 Va=0.8 Vb=5 Iy=-0.4m", "v(y)", 2.4, 3.7},
		{"VOL at 16 mA, typically 0.2 V", "Vcc=4.75 Va=2 Vb=2 Iy=16m", "v(y)", 0.1, 0.3},
		{"IIL at 0.4 V, typically 1 mA", "Vcc=5.25 Va=0.4 Vb=5", "i(va)", 0.8e-3, 1.6e-3},
		{"IIH at 2.4 V", "Vcc=5.25 Va=2.4 Vb=0", "i(va)", -40e-6, 1e-6},
		{"IOS", "Vcc=5.25 Vb=5 Von=1", "i(vy)", 18e-3, 55e-3},
		{"ICCH, typically 4 mA", "Vcc=5.25", "i(vcc)", -8e-3, -3e-3},
		{"ICCL, typically 12 mA", "Vcc=5.25 Va=5 Vb=5 Vc=5", "i(vcc)", -22e-3, -9e-3},
		{"below the threshold of 1.3 V", "Va=1.15 Vb=5", "v(y)", 2.4, 4.5},
		{"above the threshold of 1.3 V", "Va=1.5 Vb=5", "v(y)", 0, 0.4},
	}
}

// The chips' transistor-level models keep their data sheets, at 27 °C (from memory): the
// limits, and where a typical value is named some way to either side of that.
func TestSpiceChipsKeepTheirDataSheets(t *testing.T) {
	for _, c := range []struct {
		file, chip string
		pins       []string
		readings   []sheetLine
	}{
		{"7400", "ttl_7400", bench7400, ttl7400()},
		{"7400", "ttl_7400_bare", bench7400, ttl7400()},
		{"7403", "ttl_7403", bench7400, []sheetLine{
			{"VOL at 16 mA, typically 0.2 V", "Vcc=4.75 Va=2 Vb=2 Iy=16m", "v(y)", 0.1, 0.3},
			{"IOH at 5.5 V", "Vcc=4.75 Va=0.8 Vb=5 Vy=5.5 Von=1", "i(vy)", -1e-9, 250e-6},
			{"IIL at 0.4 V, typically 1 mA", "Vcc=5.25 Va=0.4 Vb=5", "i(va)", 0.8e-3, 1.6e-3},
			{"ICCL, typically 12 mA", "Vcc=5.25 Va=5 Vb=5 Vc=5", "i(vcc)", -22e-3, -9e-3},
		}},
		{"74ls00", "ls_74ls00", bench7400, []sheetLine{
			{"VOH at -0.4 mA, typically 3.4 V", "Va=0.4 Vb=5 Iy=-0.4m", "v(y)", 3.2, 3.7},
			{"VOH at -0.4 mA and 4.75 V with VIL", "Vcc=4.75 Va=0.8 Vb=5 Iy=-0.4m", "v(y)", 2.7, 3.7},
			{"VOL at 4 mA, typically 0.25 V", "Vcc=4.75 Va=2 Vb=2 Iy=4m", "v(y)", 0.15, 0.4},
			{"VOL at 8 mA, typically 0.35 V", "Vcc=4.75 Va=2 Vb=2 Iy=8m", "v(y)", 0.2, 0.5},
			{"IIL at 0.4 V", "Vcc=5.25 Va=0.4 Vb=5", "i(va)", 0.15e-3, 0.4e-3},
			{"IIH at 2.7 V", "Vcc=5.25 Va=2.7 Vb=0", "i(va)", -20e-6, 1e-6},
			{"IOS", "Vcc=5.25 Vb=5 Von=1", "i(vy)", 20e-3, 100e-3},
			{"ICCH, typically 0.8 mA", "Vcc=5.25", "i(vcc)", -1.6e-3, -0.5e-3},
			{"ICCL, typically 2.4 mA", "Vcc=5.25 Va=5 Vb=5 Vc=5", "i(vcc)", -4.4e-3, -1.6e-3},
			{"below the threshold of 1.1 V", "Va=0.95 Vb=5", "v(y)", 2.7, 4.5},
			{"above the threshold of 1.1 V", "Va=1.3 Vb=5", "v(y)", 0, 0.4},
		}},
		{"74ls125", "ls_74ls125", bench74125, []sheetLine{
			{"VOH at -2.6 mA", "Vcc=4.75 Va=2 Vb=0.8 Iy=-2.6m", "v(y)", 2.4, 3.6},
			{"VOL at 12 mA, typically 0.25 V", "Vcc=4.75 Va=0.8 Vb=0.8 Iy=12m", "v(y)", 0.15, 0.4},
			{"VOL at 24 mA, typically 0.35 V", "Vcc=4.75 Va=0.8 Vb=0.8 Iy=24m", "v(y)", 0.2, 0.5},
			{"IOZ at 2.7 V", "Vcc=5.25 Va=5 Vb=2 Vy=2.7 Von=1", "i(vy)", -20e-6, 20e-6},
			{"IOZ at 0.4 V", "Vcc=5.25 Va=5 Vb=2 Vy=0.4 Von=1", "i(vy)", -20e-6, 20e-6},
			{"IIL at 0.4 V", "Vcc=5.25 Va=0.4", "i(va)", 0.15e-3, 0.4e-3},
			{"IOS", "Vcc=5.25 Va=5 Von=1", "i(vy)", 40e-3, 225e-3},
			{"ICC, outputs low, typically 11 mA", "Vcc=5.25", "i(vcc)", -20e-3, -6e-3},
			{"ICC, outputs off, typically 12 mA", "Vcc=5.25 Vb=5 Vc=5", "i(vcc)", -22e-3, -6e-3},
		}},
		{"4011", "cmos_4011ub", bench4011, cmos4011()},
		{"4011", "cmos_4011b", bench4011, cmos4011()},
		{"4049", "cmos_4049ub", bench4049, []sheetLine{
			{"IOL at 0.4 V, typically 6 mA", "Va=5 Vy=0.4 Von=1", "i(vy)", -8e-3, -3.2e-3},
			{"IOH at 4.6 V, typically 1.25 mA", "Vy=4.6 Von=1", "i(vy)", 0.64e-3, 2e-3},
			{"VIL", "Va=1", "v(y)", 4.5, 5.001},
			{"VIH", "Va=4", "v(y)", 0, 0.5},
			{"an input over VCC", "Vcc=5 Va=15", "i(va)", -1e-6, 1e-6},
		}},
		{"74hc00", "hc_74hc00", bench7400, []sheetLine{
			{"VOL at 4 mA, typically 0.15 to 0.17 V", "Vcc=4.5 Va=3.15 Vb=3.15 Iy=4m", "v(y)", 0.12, 0.26},
			{"VOH at -4 mA, typically 4.3 V", "Vcc=4.5 Va=1.35 Vb=4.5 Iy=-4m", "v(y)", 3.98, 4.4},
			{"below the threshold", "Vcc=4.5 Va=1.8 Vb=4.5", "v(y)", 4.4, 4.5},
			{"above the threshold", "Vcc=4.5 Va=2.7 Vb=4.5", "v(y)", 0, 0.1},
		}},
		{"nmos", "nmos_quad", bench7400, nmos2114()},
		{"nmos", "nmos_quad_pumped", bench7400, nmos2114()},
	} {
		t.Run(c.chip, func(t *testing.T) {
			var states []spiceState
			for _, r := range c.readings {
				states = append(states, append(strings.Fields("Vcc=5 Va=0 Vb=0 Vc=0 Iy=0 Vy=0 Von=0"), strings.Fields(r.set)...))
			}
			points := operate(t, include(t, c.file)+bench(c.chip, c.pins), states, []string{"v(y)", "i(vcc)", "i(va)", "i(vy)"})
			for i, r := range c.readings {
				if got := points[i][r.vector]; got < r.low || got > r.high {
					t.Errorf("%s: %s is %.4g, want %.4g to %.4g", r.what, r.vector, got, r.low, r.high)
				}
			}
		})
	}
}

// cmos4011, from memory of the data books: typical currents at 5 V and 25 °C.
func cmos4011() []sheetLine {
	return []sheetLine{
		{"IOL at 0.4 V, typically 1 mA", "Va=5 Vb=5 Vy=0.4 Von=1", "i(vy)", -1.3e-3, -0.51e-3},
		{"IOH at 4.6 V, typically 1 mA", "Vb=5 Vy=4.6 Von=1", "i(vy)", 0.51e-3, 1.3e-3},
		{"VIL", "Va=1 Vb=5", "v(y)", 4.5, 5},
		{"VIH", "Va=4 Vb=5", "v(y)", 0, 0.5},
	}
}

// nmos2114, from memory of the memory data books.
func nmos2114() []sheetLine {
	return []sheetLine{
		{"VOL at 2.1 mA", "Vcc=4.75 Va=2 Vb=2 Iy=2.1m", "v(y)", 0.1, 0.4},
		{"VOH at -1 mA", "Vcc=4.75 Va=0.8 Vb=5 Iy=-1m", "v(y)", 2.4, 3.2},
		{"VOH unloaded, one threshold below VCC", "Va=0.8 Vb=5 Iy=-1u", "v(y)", 2.8, 3.3},
		{"ICC, typically 45 mA", "Vcc=5.25 Va=5 Vb=5 Vc=5", "i(vcc)", -100e-3, -25e-3},
		{"input current", "Vcc=5.25 Va=5.25", "i(va)", -10e-6, 10e-6},
	}
}
