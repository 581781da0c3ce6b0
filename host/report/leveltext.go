package report

import (
	"bufio"
	"cmp"
	"fmt"

	"chipassay/host/assay"
)

// nameWidth is how wide a pin's name is in the table of levels, in characters.
const nameWidth = 8

// writeLevels writes the table of levels, the notes below it.
func (s Sheet) writeLevels(b *bufio.Writer) {
	if s.Result.Levels == nil {
		return
	}
	b.WriteString("\n  Levels\n")
	groups := s.levelGroups()
	if groups != nil {
		fmt.Fprintf(b, "    pin %*s  %17s  %-11s  %-12s  %s\n", nameWidth-1, "", "measured  ", "limit", "mA of rated", "standing")
	}
	for _, g := range groups {
		fmt.Fprintf(b, "  %s\n", g.Title)
		for _, r := range g.Rows {
			value := fmt.Sprintf("%14s %-2s", r.Value+" ± "+r.Uncertainty, r.Unit)
			fmt.Fprintf(b, "    %2d %-*s  %s  %-11s  %-12s  %s\n", r.Pin, nameWidth, clip(Printable(r.Name), nameWidth),
				value, r.Limit, cmp.Or(r.Load, "-"), r.Standing)
		}
	}
	for _, note := range s.levelNotes() {
		item(b, note)
	}
}

// clip cuts a text to a width in characters, and shows that it did.
func clip(text string, width int) string {
	if runes := []rune(text); len(runes) > width {
		return string(runes[:width-1]) + "…"
	}
	return text
}

func (s Sheet) writeMargins(b *bufio.Writer) {
	if len(s.Result.Margins) == 0 {
		return
	}
	b.WriteString("\n  Drive margin\n")
	paragraph(b, "  ", marginMeaning)
	for _, line := range s.margins() {
		item(b, line)
	}
}

// writeCriteria writes what each grade asks for, and how sure the tester is.
func (s Sheet) writeCriteria(b *bufio.Writer) {
	b.WriteString("\n  What the grades mean\n")
	for _, c := range s.criteria() {
		label := c.Grade
		if c.Own {
			label += " (this chip)"
		}
		textFact(b, fact{Label: label, Value: c.Asks})
	}
	textFact(b, fact{Label: "tester's uncertainty", Value: assay.Uncertainty})
}
