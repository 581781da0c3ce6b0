package report

import (
	"fmt"
	"strings"

	"chipassay/host/assay"
	"chipassay/host/assay/timing"
	"chipassay/host/quantity"
	"chipassay/vectors/part"
)

// A Timing is one section of a chip, a monostable or an oscillator, timed with a capacitor. Times are in
// seconds, with the tester's own uncertainty either way.
type Timing struct {
	Section           string         `json:"section,omitempty"`
	Output            int            `json:"output"` // pin
	Name              string         `json:"name"`
	CapacitorPins     [2]int         `json:"capacitor_pins"` // the negative one first
	CapacitorF        float64        `json:"capacitor_f"`
	CapacitorMeasured bool           `json:"capacitor_measured"` // else as it is marked
	CapacitorWithin   float64        `json:"capacitor_within"`   // of the value, as a part
	ResistorOhms      float64        `json:"resistor_ohms"`
	ResistorWithin    float64        `json:"resistor_within"`
	ResistorIsBias    bool           `json:"resistor_is_bias"` // the adapter's, to its 5 V rail
	Oscillates        bool           `json:"oscillates"`
	Pulse             *timing.Time   `json:"pulse"`        // its width, or the period of an oscillation; null where none was seen
	FrequencyHz       *float64       `json:"frequency_hz"` // null for a monostable
	Duty              *float64       `json:"duty"`         // high, as a part of the period
	LeastS            *float64       `json:"least_s"`      // limits by the formula, with all tolerances; null where it is not judged
	MostS             *float64       `json:"most_s"`
	Limits            []timing.Limit `json:"limits"`         // the same, of each maker's formula
	Formula           string         `json:"formula_source"` // where those that fit come from, or all
	Checks            []timing.Check `json:"checks"`
	Wrong             []string       `json:"wrong"`
	NotJudged         []string       `json:"not_judged"`
}

// timingsOf are the sections of a result that were timed.
func timingsOf(r *assay.Result) (list []Timing) {
	if r.Timing == nil {
		return nil
	}
	for _, s := range r.Timing.Sections {
		t := Timing{Section: s.Name, Output: s.Output, Name: r.Type.Variant.Pins[s.Output-1].Name, CapacitorPins: [2]int{s.Negative, s.Positive},
			CapacitorF: s.Farads, CapacitorMeasured: s.Measured, CapacitorWithin: Rounded(s.Tolerance), ResistorOhms: s.Ohms, ResistorWithin: Rounded(s.OhmsWithin),
			ResistorIsBias: s.ByBias, Oscillates: s.Oscillates, Pulse: s.Pulse, Limits: orEmpty(s.Limits), Formula: strings.Join(s.Sources(), "; or "), Checks: orEmpty(s.Checks),
			Wrong: orEmpty(s.Wrong), NotJudged: orEmpty(s.NotJudged)}
		if s.Oscillates && s.Pulse != nil {
			t.FrequencyHz, t.Duty = new(1/s.Pulse.Seconds), new(Rounded(s.Duty))
		}
		if s.Most > 0 {
			t.LeastS, t.MostS = new(s.Least), new(s.Most)
		}
		list = append(list, t)
	}
	return list
}

// Line is what was timed, in one line without its name: "669 µs ± 1 µs, by the formula 359 µs to 1.24 ms".
func (t Timing) Line() string {
	var words []string
	switch {
	case t.Pulse == nil:
		words = append(words, "no pulse")
	case t.Oscillates:
		words = append(words, fmt.Sprintf("%s, period %v, high for %.0f %% of it", quantity.Hertz(*t.FrequencyHz), t.Pulse, 100**t.Duty))
	default:
		words = append(words, "pulse "+t.Pulse.String())
	}
	if t.MostS != nil {
		words = append(words, "by the formula "+(&timing.Section{Limits: t.Limits}).LimitWords())
	} else {
		words = append(words, "not judged")
	}
	return strings.Join(words, ", ")
}

// Parts are the capacitor and the resistor, in words.
func (t Timing) Parts() string {
	how := "as marked"
	if t.CapacitorMeasured {
		how = "measured"
	}
	with := "clipped on"
	if t.ResistorIsBias {
		with = "the adapter's, to its 5 V"
	}
	formula := t.Formula
	if formula == "" {
		formula = "none holds here"
	}
	return fmt.Sprintf("%s ± %.0f %% (%s), %s ± %.0f %% (%s); formula: %s", quantity.Farads(t.CapacitorF), 100*t.CapacitorWithin, how,
		part.Ohms(t.ResistorOhms), 100*t.ResistorWithin, with, formula)
}

// Tries are the checks, a line each.
func (t Timing) Tries() (lines []string) {
	for _, c := range t.Checks {
		mark := "right"
		if !c.Right {
			mark = "WRONG"
		}
		lines = append(lines, fmt.Sprintf("%s: %s; should: %s; saw: %s", mark, c.What, c.Wants, c.Saw))
	}
	return lines
}

// timingFact is all sections in short.
func (d Document) timingFact() Fact {
	var words []string
	for _, t := range d.Timing {
		words = append(words, t.Name+" "+t.Line())
	}
	return Fact{Label: "Timed", Value: strings.Join(words, "; ")}
}
