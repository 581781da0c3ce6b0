package screen

import (
	"fmt"
	"io"
	"math"
	"strings"

	"chipassay/host/explore"
)

// WriteStep prints a state for a log or a lesson: a line for each pin, and remarks below.
func WriteStep(w io.Writer, s explore.State) error {
	var b strings.Builder
	fmt.Fprintf(&b, "step %d  %s\n", s.Step, s.Did)
	fmt.Fprintf(&b, "  %3s %-7s %-6s %-9s %5s  %-10s  %s\n", "pin", "", "drive", "seen", "V", "data sheet", "lamp")
	for i := range s.Pins {
		p := &s.Pins[i]
		drive, sheet, lamp := "", "", ""
		if p.Input {
			drive = p.Drive.String()
		}
		switch {
		case p.Differs():
			sheet = explore.Letter(p.Expected) + " differs"
		case p.Compared && !p.Input:
			sheet = explore.Letter(p.Expected)
		case !p.Input:
			sheet = "unknown"
		}
		if p.Lamp != nil && !p.Input {
			lamp = fmt.Sprintf("%s, %.1f mA", p.Lamp.Words(), p.Lamp.MA)
		}
		line := fmt.Sprintf("  %3d %-7s %-6s %-9s %5s  %-10s  %s", p.Number, p.Name, drive, p.Seen, volts(p.Volts), sheet, lamp)
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
	for _, note := range s.Notes {
		fmt.Fprintf(&b, "  %s\n", note)
	}
	b.WriteByte('\n')
	_, err := io.WriteString(w, b.String())
	return err
}

// volts prints V; a dash for what was not measured.
func volts(v float64) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf("%.2f", math.Max(0, v))
}

// WriteTables prints the function tables with a mark at each row that was seen.
func WriteTables(w io.Writer, tables []*explore.Table) error {
	for _, t := range tables {
		seen, differ, all := t.Ticked()
		if seen+differ == 0 {
			continue
		}
		for _, line := range append([]string{t.Heading()}, tableLines(t)...) {
			if _, err := fmt.Fprintln(w, line); err != nil {
				return err
			}
		}
		if _, err := fmt.Fprintln(w); err != nil || all == 0 {
			return err
		}
	}
	return nil
}

// tableLines are the head of a table and its rows: [x] seen, [!] not as the data sheet has it.
func tableLines(t *explore.Table) []string {
	widths := make([]int, len(t.Columns))
	for i, name := range t.Columns {
		widths[i] = len([]rune(name))
		for _, r := range t.Rows {
			widths[i] = max(widths[i], len([]rune(r.Cells[i])))
		}
	}
	line := func(mark string, cells []string) string {
		for i, cell := range cells {
			mark += "  " + cell + strings.Repeat(" ", widths[i]-len([]rune(cell)))
		}
		return strings.TrimRight(mark, " ")
	}
	lines := []string{line("   ", t.Columns)}
	for _, r := range t.Rows {
		mark := "[ ]"
		switch {
		case r.Differs:
			mark = "[!]"
		case r.Seen:
			mark = "[x]"
		}
		lines = append(lines, line(mark, r.Cells))
	}
	return lines
}
