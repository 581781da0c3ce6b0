package drawer

import (
	"fmt"
	"strings"

	"chipassay/host/report"
	"chipassay/host/statistics"
	"chipassay/host/verdict"
)

// A Summary is what came of a run. A chip tested again counts as often as it was
// tested; the records say how each stands.
type Summary struct {
	Tray report.Tray // every test that was not taken back
}

// mostPins is how many of the commonest failing pins a summary names.
const mostPins = 3

func (r *Run) summary() Summary {
	return Summary{report.Tray{Title: "Drawer " + r.Drawer, Chips: r.sheets}}
}

// tally counts the chips of a run so far.
func (r *Run) tally() string {
	return fmt.Sprintf("%s  %s", r.Drawer, r.summary().Tray.Summary())
}

// nextChip says which chip is waited for.
func (r *Run) nextChip() string {
	words := fmt.Sprintf("chip %d, %s", len(r.sheets)+1, r.typ.Name())
	if r.next.date != nil {
		words += ", date code " + r.next.date.Raw
	}
	return words
}

// String is the summary for the operator: counts, the yield with its interval, and
// the commonest failing pins.
func (s Summary) String() string {
	lines := []string{s.Tray.Summary()}
	pass, fail := s.Tray.Count(verdict.Pass), s.Tray.Count(verdict.PassBut)+s.Tray.Count(verdict.Fail)
	if pass+fail > 0 {
		y := statistics.YieldOf(pass, pass+fail)
		lines = append(lines, fmt.Sprintf("%.0f %% passed of those tested (95 %% interval %.0f to %.0f %%)", 100*y.Fraction(), 100*y.Low, 100*y.High))
	}
	var pins []string
	for _, c := range statistics.Commonest(s.failedPins, mostPins) {
		pins = append(pins, fmt.Sprintf("%s (%d)", c.Key, c.Chips))
	}
	if len(pins) > 0 {
		lines = append(lines, "pins that failed most: "+strings.Join(pins, ", "))
	}
	return strings.Join(lines, "\n")
}

// failedPins yields a part's pin for each chip at which it failed.
func (s Summary) failedPins(found func(string) bool) {
	for _, sheet := range s.Tray.Chips {
		if sheet.Verdict != verdict.Fail {
			continue
		}
		for _, pin := range sheet.PinsFailed {
			if !found(fmt.Sprintf("%s pin %d", sheet.Part, pin)) {
				return
			}
		}
	}
}
