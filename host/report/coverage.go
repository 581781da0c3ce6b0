package report

import (
	"fmt"
	"strings"

	"chipassay/vectors/fault"
)

// A Coverage is what the vectors of a test prove, by fault model.
type Coverage struct {
	StuckAt         Count    `json:"stuck_at"` // equivalence classes, after MIL-STD-883 method 5012
	CellFaults      Count    `json:"cell_faults"`
	PinFaults       Count    `json:"pin_faults"`
	Shorts          Count    `json:"shorts"`
	ShortsByVectors int      `json:"shorts_by_vectors"` // the others are found by the test before power
	Undetected      []string `json:"undetected"`        // detectable, or not decided, and not shown; the first mostUndetected
	UndetectedCount int      `json:"undetected_count"`
	PassesAlso      []string `json:"passes_also"` // numbers that would pass as well
}

// A Count counts the faults of one model.
type Count struct {
	Total      int `json:"total"`
	Detectable int `json:"detectable"` // those that are not proven undetectable
	Detected   int `json:"detected"`
}

// CountOf counts the faults of one model.
func CountOf(t fault.Tally) Count { return Count{t.Total, t.Detectable, t.Detected} }

// mostUndetected bounds the undetected faults that a report lists.
const mostUndetected = 20

// CoverageOf is a coverage as reports give it; nil for none.
func CoverageOf(c *fault.Coverage) *Coverage {
	if c == nil {
		return nil
	}
	o := &Coverage{ShortsByVectors: c.ShortsByVectors, Undetected: []string{}, PassesAlso: orEmpty(c.Intruders)}
	for _, t := range []struct {
		to   *Count
		from fault.Tally
	}{{&o.StuckAt, c.StuckAt}, {&o.CellFaults, c.Cells}, {&o.PinFaults, c.Pins}, {&o.Shorts, c.Shorts}} {
		*t.to = CountOf(t.from)
		o.Undetected = append(o.Undetected, t.from.Missed...)
	}
	o.UndetectedCount = len(o.Undetected)
	o.Undetected = o.Undetected[:min(len(o.Undetected), mostUndetected)]
	return o
}

// namedUndetected is how many undetected faults a line names.
const namedUndetected = 3

// Lines says a coverage in words: a line for what is proven, one for what stays
// undetected, and one for what would pass as well.
func (c *Coverage) Lines() (lines [][2]string) {
	if c == nil {
		return nil
	}
	of := func(n Count) string { return fmt.Sprintf("%d of %d", n.Detected, n.Detectable) }
	proven := "stuck-at " + of(c.StuckAt)
	if c.CellFaults.Total > 0 {
		proven += ", cells " + of(c.CellFaults)
	}
	proven += ", pins " + of(c.PinFaults)
	if c.Shorts.Total > 0 {
		proven += ", shorts " + of(c.Shorts)
		if before := c.Shorts.Detected - c.ShortsByVectors; before > 0 {
			proven += fmt.Sprintf(" (%d of them before power)", before)
		}
	}
	lines = append(lines, [2]string{"Faults detected", proven})
	if c.UndetectedCount > 0 {
		named := c.Undetected[:min(len(c.Undetected), namedUndetected)]
		text := strings.Join(named, "; ")
		if more := c.UndetectedCount - len(named); more > 0 {
			text += fmt.Sprintf("; and %d more", more)
		}
		lines = append(lines, [2]string{"Stays undetected", text})
	}
	if len(c.PassesAlso) > 0 {
		lines = append(lines, [2]string{"Would pass as well", strings.Join(c.PassesAlso, ", ")})
	}
	return lines
}
