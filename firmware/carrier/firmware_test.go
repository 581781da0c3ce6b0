package carrier

import (
	"fmt"
	"math/bits"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// source reads a file of the firmware.
func source(t *testing.T, path ...string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(append([]string{".."}, path...)...))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// behind gives the line that a resistor of these ohms leads to from a net.
func behind(n *Netlist, net string, ohms float64) string {
	for _, end := range n.Terminals(net) {
		if end.Part.Kind != Resistor || end.Part.Ohms != ohms {
			continue
		}
		for _, pin := range end.Part.Pins {
			if strings.HasPrefix(pin.Net, "P") {
				return pin.Net
			}
		}
	}
	return ""
}

// What pins.h calls each line is what the netlist has on it.
func TestPinsOfTheFirmware(t *testing.T) {
	n := New()
	want := map[string]string{
		"SHIFT_DATA":     n.Part("U11").Net("SER"),
		"SHIFT_CLOCK":    n.Part("U11").Net("SRCLK"),
		"LOW_STORE":      n.Part("U11").Net("RCLK"),
		"BIAS_STORE":     n.Part("U21").Net("RCLK"),
		"LOAD_STORE":     n.Part("U31").Net("RCLK"),
		"LOW_OFF":        n.Part("U11").Net("/OE"),
		"BIAS_OFF":       n.Part("U21").Net("/OE"),
		"LOAD_OFF":       n.Part("U31").Net("/OE"),
		"LOW_BACK":       n.Part("JP1").Net("end"),
		"BIAS_BACK":      n.Part("U41").Net("DOUT"),
		"LOAD_BACK":      n.Part("U42").Net("DOUT"),
		"CONVERTERS_OFF": n.Part("U41").Net("/CS"),
		"MONITOR_CLOCK":  n.Part("U51").Net("SCL"),
		"READY_LAMP":     behind(n, n.Part("D1").Net("A"), 1e3),
		"BUSY_LAMP":      behind(n, n.Part("D2").Net("A"), 1e3),
		"POWER_LAMP":     behind(n, n.Part("D3").Net("A"), 1e3),
		"BUTTON":         n.Part("S1").Net("1"),
	}
	for _, p := range n.Parts {
		if p.Kind == PNP {
			want[fmt.Sprintf("HIGH_%d", p.Position)] = behind(n, p.Net("B"), 2200)
		}
	}
	got := map[string]string{}
	for _, m := range regexp.MustCompile(`(\w+) = _BV\((P[A-L][0-7])\)`).FindAllStringSubmatch(source(t, "board", "atmega2560", "pins.h"), -1) {
		got[m[1]] = m[2]
	}
	for name, line := range want {
		if got[name] != line {
			t.Errorf("pins.h has %s at %q, the netlist at %q", name, got[name], line)
		}
	}
	for name, line := range got {
		if want[name] == "" {
			t.Errorf("pins.h names %s at %s, which this test does not know", name, line)
		}
	}
}

// The bytes of a socket word go to the ports that drive and sense these positions.
func TestPortsOfTheFirmware(t *testing.T) {
	text := source(t, "board", "atmega2560", "socket.c")
	for i, l := range Lanes() {
		at := bits.TrailingZeros32(l.Bit())
		line := func(pattern string) string {
			m := regexp.MustCompile(pattern).FindStringSubmatch(text)
			if m == nil {
				t.Fatalf("socket.c has no %s", pattern)
			}
			return "P" + m[1] + strconv.Itoa(at%8)
		}
		// DDRC and DDRB are joined with |= for their other lines.
		if got := line(fmt.Sprintf(`DDR([A-L]) \|?= byte_of\(dir, %d\);`, at/8)); got != l.Drive {
			t.Errorf("%s is driven by %s, in the netlist by %s", l.Name, got, l.Drive)
		}
		sensed := l.Sense
		if !l.Near() {
			sensed = l.Drive // the line that drives it, while it does not
		}
		if got := strings.Replace(line(fmt.Sprintf(`read\.byte\[%d\] = PIN([A-L])`, at/8)), "PIN", "P", 1); got != sensed {
			t.Errorf("%s reads at %s, in the netlist at %s", l.Name, got, sensed)
		}
		if want := []int{0, 8, 16, 24}; i%14 == 0 && !slices.Contains(want, at) {
			t.Errorf("%s is bit %d", l.Name, at)
		}
	}
}

// Words and orders of the switches.
func TestSwitchesOfTheFirmware(t *testing.T) {
	var high, low uint32
	var order []string
	for _, l := range Lanes() {
		if l.High != "" {
			high |= l.Bit()
		}
		if l.Low != "" {
			low |= l.Bit()
		}
	}
	header := source(t, "board", "revision_b", "revision_b.h")
	for name, want := range map[string]uint32{"REVISION_B_HIGH": high, "REVISION_B_LOW": low} {
		m := regexp.MustCompile(name + ` UINT32_C\((0x[0-9A-F]+)\)`).FindStringSubmatch(header)
		if m == nil {
			t.Fatalf("revision_b.h has no %s", name)
		}
		if got, err := strconv.ParseUint(m[1], 0, 32); err != nil || uint32(got) != want {
			t.Errorf("%s is %s, in the netlist %#010x", name, m[1], want)
		}
	}
	for _, ref := range []string{"U11", "U12"} {
		for _, name := range strings.Fields("QA QB QC QD QE QF QG QH") {
			if net := New().Part(ref).Net(name); net != "" {
				order = append(order, strings.TrimPrefix(net, "gate_"))
			}
		}
	}
	_, body, _ := strings.Cut(source(t, "board", "atmega2560", "registers.c"), "low_bits(")
	body, _, _ = strings.Cut(body, "};")
	var got []string
	for _, m := range regexp.MustCompile(`UINT32_C\(1\) << (\d+)`).FindAllStringSubmatch(body, -1) {
		for _, l := range Lanes() {
			if strconv.Itoa(bits.TrailingZeros32(l.Bit())) == m[1] {
				got = append(got, l.Name)
			}
		}
	}
	if !slices.Equal(got, order) {
		t.Errorf("registers.c shifts %v, the netlist has %v", got, order)
	}
}

var (
	linesNamed = regexp.MustCompile(`P([A-L])([0-7])(?:-P[A-L]([0-7]))?`)
	rowOfTable = regexp.MustCompile(`(?m)^\| ([^|]+) \| ([^|]+) \| ([^|]+) \|$`)
)

// expanded gives the lines that a cell of the table names: PA0-PA7 are eight.
func expanded(cell string) []string {
	var lines []string
	for _, m := range linesNamed.FindAllStringSubmatch(cell, -1) {
		last := m[2]
		if m[3] != "" {
			last = m[3]
		}
		for bit := m[2][0]; bit <= last[0]; bit++ {
			lines = append(lines, "P"+m[1]+string(bit))
		}
	}
	return lines
}

// The README's pin table names every line that the netlist uses, once, and the serial
// line; a row that drives, senses or switches names them in the netlist's order.
func TestPinTableOfTheReadme(t *testing.T) {
	_, section, found := strings.Cut(source(t, "README.md"), "## Pin map, revision B\n")
	if !found {
		t.Skip("firmware/README.md has no table of revision B yet")
	}
	section, _, _ = strings.Cut(section, "\n## ")
	n := New()
	seen := map[string]string{}
	for _, row := range rowOfTable.FindAllStringSubmatch(section, -1) {
		function, lines := row[1], expanded(row[2])
		for _, line := range lines {
			if seen[line] != "" {
				t.Errorf("%s is in the rows of %q and %q", line, seen[line], function)
			}
			seen[line] = function
		}
		for column, want := range map[string][]string{
			"drive L1-L8": drives("L", 1, 8), "drive L9-L14": drives("L", 9, 14),
			"drive R1-R8": drives("R", 1, 8), "drive R9-R14": drives("R", 9, 14),
			"sense L1-L8": senses("L"), "sense R1-R8": senses("R"),
			"sense L1-L8, R1-R8": append(senses("L"), senses("R")...),
		} {
			if function == column && !slices.Equal(lines, want) {
				t.Errorf("%s: %v, in the netlist %v", function, lines, want)
			}
		}
		for _, m := range regexp.MustCompile(`(PH\d) pos\. (\d+)`).FindAllStringSubmatch(row[2], -1) {
			position, err := strconv.Atoi(m[2])
			if err != nil || LaneAt(position).High != m[1] {
				t.Errorf("%s switches position %s, in the netlist %s does", m[1], m[2], LaneAt(position).High)
			}
		}
	}
	for _, pin := range n.Part("A1").Pins {
		if pin.Type == Bidirectional && seen[pin.Name] == "" {
			t.Errorf("%s is in no row", pin.Name)
		}
		delete(seen, pin.Name)
	}
	for line, function := range seen {
		t.Errorf("%s: %s is no line of the board", function, line)
	}
}

func drives(column string, first, last int) (lines []string) {
	for row := first; row <= last; row++ {
		lines = append(lines, lane(column, row).Drive)
	}
	return lines
}

func senses(column string) (lines []string) {
	for row := 1; row <= 8; row++ {
		lines = append(lines, lane(column, row).Sense)
	}
	return lines
}

func lane(column string, row int) Lane {
	lanes := Lanes()
	return lanes[slices.IndexFunc(lanes, func(l Lane) bool { return l.Name == fmt.Sprint(column, row) })]
}
