package sheet

import (
	"fmt"
	"strings"
	"time"

	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// Memory prints what a memory is instead of a function table: its organisation,
// what its controls do, its times, and how it is tested or read.
func Memory(v *part.Variant) string {
	m := v.Memory
	var b strings.Builder
	row := func(label, format string, a ...any) {
		fmt.Fprintf(&b, "%-12s %s\n", label, fmt.Sprintf(format, a...))
	}
	row("memory", "%s", m.Kind)
	row("organisation", "%s", Organisation(m))
	b.WriteString(address(v))
	switch {
	case m.Kind.ROM():
		row("outputs", "%s", busOf(v, m.DataOut))
	case m.CommonData():
		row("data", "in and out at %s", busOf(v, m.DataOut))
	default:
		row("data", "in at %s, out at %s", busOf(v, m.DataIn), busOf(v, m.DataOut))
	}
	if m.Inverted {
		row("", "inverted: reads the complement of what was written")
	}
	for i, line := range controls(v) {
		label := ""
		if i == 0 {
			label = "controls"
		}
		row(label, "%s", line)
	}
	row("access", "%s, of the slowest grade", timed(m.Access))
	if m.WritePulse > 0 {
		row("write pulse", "%s at least, of the slowest grade", timed(m.WritePulse))
	}
	if w := m.Rewrite; w != nil {
		row("writing", "%s %s for %s at least while selected and not enabled; then %s at most", v.Pins[w.Write.Pin-1].Name, map[bool]string{false: "low", true: "high"}[w.Write.Active], timed(w.Pulse), timed(w.Cycle))
	}
	if m.NoRewrite != "" {
		row("writing", "not here: %s", m.NoRewrite)
	}
	if m.RefreshRows > 0 {
		row("refresh", "%d rows within %s", m.RefreshRows, timed(m.RefreshWithin))
	}
	b.WriteString(assayed(v))
	return b.String()
}

// Organisation describes a memory's words and their array: "1024 words of 4 bits, 64 rows × 16 columns".
func Organisation(m *part.Memory) string {
	unit := "bits"
	if m.Bits == 1 {
		unit = "bit"
	}
	return fmt.Sprintf("%d words of %d %s, %d rows × %d columns", m.Words, m.Bits, unit, 1<<m.RowBits, 1<<m.ColumnBits)
}

// address names the pins that choose the word, and which of them the row of the array.
func address(v *part.Variant) string {
	m := v.Memory
	all := busOf(v, m.Address)
	if m.RAS != nil {
		return fmt.Sprintf("%-12s %s take the %d bits of the row, then the %d of the column\n", "address", all, m.RowBits, m.ColumnBits)
	}
	if len(m.Address) < m.AddressBits() { // refused, and its strobes are not declared
		return fmt.Sprintf("%-12s %s, row and column in turn\n", "address", all)
	}
	pick := func(bits []int) []int {
		var pins []int
		for _, bit := range bits {
			pins = append(pins, m.Address[bit])
		}
		return pins
	}
	s := fmt.Sprintf("%-12s %s, bit 0 first; %s choose the row", "address", all, busOf(v, pick(m.Row)))
	if m.ColumnBits > 0 {
		s += fmt.Sprintf(", %s the column", busOf(v, pick(m.Column)))
	}
	return s + "\n"
}

// busOf names pins in their order, a run of numbered ones for short: A0..A9.
func busOf(v *part.Variant, pins []int) string {
	var words []string
	for i := 0; i < len(pins); {
		end := i + 1
		stem, n, ok := numbered(v.Pins[pins[i]-1].Name)
		for ok && end < len(pins) && v.Pins[pins[end]-1].Name == fmt.Sprintf("%s%d", stem, n+end-i) {
			end++
		}
		first, last := v.Pins[pins[i]-1].Name, v.Pins[pins[end-1]-1].Name
		switch {
		case end-i > 2:
			words = append(words, first+".."+last)
		case end-i == 2:
			words = append(words, first, last)
		default:
			words = append(words, first)
		}
		i = end
	}
	return strings.Join(words, " ")
}

// numbered splits A12 into A and 12.
func numbered(name string) (stem string, n int, ok bool) {
	stem = strings.TrimRight(name, "0123456789")
	_, err := fmt.Sscanf(name[len(stem):], "%d", &n)
	return stem, n, err == nil
}

// controls says what each control pin does at which level.
func controls(v *part.Variant) []string {
	m := v.Memory
	var lines []string
	add := func(c *part.Control, does string) {
		if c != nil {
			lines = append(lines, active(v, *c)+" "+does)
		}
	}
	add(m.RAS, "takes the row")
	add(m.CAS, "takes the column, and starts the read or the write")
	if levels := selects(v); levels != "" {
		lines = append(lines, levels)
	}
	add(m.Write, "writes")
	add(m.Enable, "enables the outputs")
	for _, p := range v.Pins {
		if p.Role == part.Input && p.Tied != part.NotTied {
			level := map[part.Tie]string{part.TiedLow: "low", part.TiedHigh: "high"}[p.Tied]
			lines = append(lines, fmt.Sprintf("%s held %s", p.Name, level))
		}
	}
	return lines
}

// selects says at which levels the select pins select the chip.
func selects(v *part.Variant) string {
	var levels []string
	for _, c := range v.Memory.Select {
		if c.Either {
			levels = append(levels, v.Pins[c.Pin-1].Name)
			continue
		}
		levels = append(levels, active(v, c))
	}
	if len(levels) > 0 && v.Memory.Select[0].Either {
		return strings.Join(levels, ", ") + ": high or low, as the mask was made; reading finds which level selects"
	}
	switch len(levels) {
	case 0:
		return ""
	case 1:
		return levels[0] + " selects the chip"
	}
	return strings.Join(levels, " and ") + " together select the chip"
}

// active names a control pin with the level at which it acts: "/CS low".
func active(v *part.Variant, c part.Control) string {
	level := "low"
	if c.Active {
		level = "high"
	}
	return v.Pins[c.Pin-1].Name + " " + level
}

// timed writes a time as data sheets do: 450 ns, 2 ms, and 1 µs from there on.
func timed(d time.Duration) string {
	text := d.String()
	digits := strings.TrimRight(text, "nµms")
	return digits + " " + text[len(digits):]
}

// assayed says how the adapter tests a RAM, or reads a ROM.
func assayed(v *part.Variant) string {
	n := v.Families[0].TypeName(v.Part.Number)
	switch {
	case v.Refusal != "":
		return fmt.Sprintf("%-12s not with this adapter, which refuses to power it\n", "test")
	case v.Memory.Kind == part.MaskROM:
		return fmt.Sprintf("%-12s chipassay dump %s reads all words, twice; --compare FILE judges them\n", "reading", n)
	case v.Memory.Rewrite != nil:
		return fmt.Sprintf("%-12s chipassay dump %s reads all words, twice; --compare FILE judges them, --blank\n%12s sees that nothing is written\n%-12s chipassay test %s --erase-and-test writes and reads every word, twice;\n%12s what it holds is lost\n", "reading", n, "", "test", n, "")
	case v.Memory.Kind.ROM():
		return fmt.Sprintf("%-12s chipassay dump %s reads all words, twice; --compare FILE judges them, --blank\n%12s sees that nothing is written\n", "reading", n, "")
	}
	return fmt.Sprintf("%-12s chipassay test %s writes and reads every word by a march test: %s,\n%12s or another by --march\n", "test", n, march.Default, "")
}
