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

// The names of pins.h and the README's pin map are held against the netlist in ../build.

// source reads a file of the firmware.
func source(t *testing.T, path ...string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(append([]string{".."}, path...)...))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
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
