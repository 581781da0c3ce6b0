package report

import (
	"fmt"
	"slices"
	"strings"

	"chipassay/vectors/fault"
)

// A Coverage is what the vectors of a test prove, by fault model.
type Coverage struct {
	StuckAt         fault.Tally `json:"stuck_at"` // equivalence classes, after MIL-STD-883 method 5012
	CellFaults      fault.Tally `json:"cell_faults"`
	PinFaults       fault.Tally `json:"pin_faults"`
	Shorts          fault.Tally `json:"shorts"`
	ShortsByVectors int         `json:"shorts_by_vectors"` // the others are found by the test before power
	Undetected      []string    `json:"undetected"`        // detectable, or not decided, and not shown; the first mostUndetected
	UndetectedCount int         `json:"undetected_count"`
	PassesAlso      []string    `json:"passes_also"` // numbers that would pass as well
}

// mostUndetected bounds the undetected faults that a report lists.
const mostUndetected = 20

// CoverageOf is a coverage as reports give it; nil for none.
func CoverageOf(c *fault.Coverage) *Coverage {
	if c == nil {
		return nil
	}
	missed := slices.Concat(c.StuckAt.Missed, c.Cells.Missed, c.Pins.Missed, c.Shorts.Missed)
	return &Coverage{c.StuckAt.Counts(), c.Cells.Counts(), c.Pins.Counts(), c.Shorts.Counts(), c.ShortsByVectors,
		orEmpty(missed[:min(len(missed), mostUndetected)]), len(missed), orEmpty(c.Intruders)}
}

// namedUndetected is how many undetected faults a line names.
const namedUndetected = 3

// Facts say a coverage in words: what is proven, what stays undetected, and what would pass
// as well.
func (c *Coverage) Facts() []Fact {
	if c == nil {
		return nil
	}
	proven := ""
	for _, m := range []struct {
		name  string
		tally fault.Tally
	}{{"stuck-at", c.StuckAt}, {"cells", c.CellFaults}, {"pins", c.PinFaults}, {"shorts", c.Shorts}} {
		if m.tally.Total > 0 {
			proven += fmt.Sprintf(", %s %d of %d", m.name, m.tally.Detected, m.tally.Detectable)
		}
	}
	if before := c.Shorts.Detected - c.ShortsByVectors; before > 0 {
		proven += fmt.Sprintf(" (%d of them before power)", before)
	}
	named := c.Undetected[:min(len(c.Undetected), namedUndetected)]
	if more := c.UndetectedCount - len(named); more > 0 {
		named = append(slices.Clone(named), fmt.Sprintf("and %d more", more))
	}
	return Known(
		Fact{Label: "Faults detected", Value: strings.TrimPrefix(proven, ", ")},
		Fact{Label: "Stays undetected", Value: strings.Join(named, "; ")},
		Fact{Label: "Would pass as well", Value: strings.Join(c.PassesAlso, ", ")})
}
