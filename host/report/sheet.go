// Package report writes down what a test of a chip found, and what it did not
// look at: for the terminal, as JSON for other programs, and as an HTML page
// that prints on A4 and needs nothing but itself.
package report

import (
	"cmp"
	"fmt"
	"html/template"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"chipassay/host/assay"
	"chipassay/host/marking"
	"chipassay/vectors/part"
)

// A Sheet is what there is to say about one chip.
type Sheet struct {
	Typed    string            // the part as the person typed it: "74LS10"
	Place    string            // where the chip lay, as "3"; empty where it does not matter
	DateCode *marking.DateCode // nil where none was given
	Note     string            // the person's own words; may be empty
	Result   *assay.Result
}

// A Tray is a run of many chips, in the order in which they were tested.
type Tray struct {
	Title  string // what lay in it: "Drawer 3, top left"
	Sheets []Sheet
	Charts []template.HTML // pictures of the whole run, for the page; may be empty
}

// Caveat closes every report.
const Caveat = "This report says what this test saw on the day. It is not a release for safety-critical use: " +
	"whether the chip may serve there is decided by qualified people under local rules."

// cautions are the part's, and a doubt about the date code.
func (s Sheet) cautions() []string {
	lines := slices.Clone(s.Result.Cautions)
	if s.DateCode != nil && s.DateCode.Doubt != "" {
		lines = append(lines, s.DateCode.Doubt)
	}
	return lines
}

// Headline is the verdict as a heading, and whether the chip passed in part only. What
// is not known to be a pass or a fail is not tested.
func Headline(v assay.Verdict, inPart bool) string {
	switch {
	case v == assay.Pass && inPart:
		return "PASS, in part"
	case v == assay.Pass:
		return "PASS"
	case v == assay.Fail:
		return "FAIL"
	}
	return "NOT TESTED"
}

// Headline is the verdict of the sheet as a heading.
func (s Sheet) Headline() string { return Headline(s.Result.Verdict, len(s.Result.Partial) > 0) }

// Headline is the verdict of a kept report as a heading.
func (c Chip) Headline() string { return Headline(assay.Verdict(c.Verdict), len(c.Partial) > 0) }

// A Gate is a named gate of the chip and what the test says of it.
type Gate struct {
	Name  string `json:"name"`
	Pins  []int  `json:"pins"`
	State string `json:"state"` // one of gateStates
}

// gateStates are what may be said of a gate, in the order of the report.
var gateStates = []string{"sound", "failed", "tested in part", "not tested"}

// gates tells which gates are sound. One with a pin that the test leaves out is
// tested in part at best.
func (s Sheet) gates() []Gate {
	r := s.Result
	states := []Gate{}
	for _, g := range r.Type.Variant.Gates {
		state := "not tested"
		switch leftOut := func(n int) bool { return r.Type.Variant.Pins[n-1].Untested != "" }; {
		case slices.Contains(r.GatesFailed, g.Name):
			state = "failed"
		case slices.Contains(r.GatesSound, g.Name) && slices.ContainsFunc(g.Pins, leftOut):
			state = "tested in part"
		case slices.Contains(r.GatesSound, g.Name):
			state = "sound"
		}
		states = append(states, Gate{g.Name, g.Pins, state})
	}
	return states
}

// gateWords names the gates by state: "1 and 3 sound, 2 failed".
func (s Sheet) gateWords() string {
	var words []string
	for _, state := range gateStates {
		var names []string
		for _, g := range s.gates() {
			if g.State == state {
				names = append(names, g.Name)
			}
		}
		if names != nil {
			words = append(words, and(names)+" "+state)
		}
	}
	return strings.Join(words, ", ")
}

// and joins names: "1", "1 and 2", "1, 2 and 3".
func and(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " and " + names[last]
}

// Sentence begins a reason or a finding with a capital and ends it with a full stop.
func Sentence(text string) string {
	text = strings.TrimSpace(text)
	first, size := utf8.DecodeRuneInString(text)
	if size == 0 {
		return ""
	}
	text = string(unicode.ToUpper(first)) + text[size:]
	if !strings.ContainsRune(".?!", rune(text[len(text)-1])) {
		text += "."
	}
	return text
}

// sentences are the lines as sentences, without those that say what the reason says.
func (s Sheet) sentences(lines []string) []string {
	var out []string
	for _, line := range lines {
		if line != s.Result.Reason {
			out = append(out, Sentence(line))
		}
	}
	return out
}

// pinWords names pins by number and data-sheet name: "6 (2Y), 8 (3Y)".
func pinWords(v *part.Variant, pins []int) string {
	var words []string
	for _, n := range pins {
		words = append(words, fmt.Sprintf("%d (%s)", n, v.Pins[n-1].Name))
	}
	return strings.Join(words, ", ")
}

// dateWords says what a date code stands for: "week 38 of 1979, 17 to 23
// September 1979", and the other years where the code does not tell the decade.
func dateWords(d *marking.DateCode) string {
	p := d.Period()
	from := "2"
	switch {
	case d.From.Year() != d.To.Year():
		from = "2 January 2006"
	case d.From.Month() != d.To.Month():
		from = "2 January"
	}
	words := fmt.Sprintf("week %d of %d, %s to %s", p.Week, p.Year, d.From.Format(from), d.To.Format("2 January 2006"))
	var others []string
	for _, c := range d.Candidates {
		if c != p {
			others = append(others, fmt.Sprint(c.Year))
		}
	}
	if others != nil {
		words += "; or the same week of " + strings.Join(others, ", ")
	}
	return words
}

// dateYear is a date code with its year, for a line of a list: "7938 (1979)",
// with a question mark where the decade is not told.
func (s Sheet) dateYear() string {
	if s.DateCode == nil {
		return "none given"
	}
	mark := ""
	if len(s.DateCode.Candidates) > 1 || s.DateCode.Doubt != "" {
		mark = "?"
	}
	return fmt.Sprintf("%s (%d%s)", s.DateCode.Raw, s.DateCode.Period().Year, mark)
}

// Counts says how many chips passed, failed and were not tested.
func (t Tray) Counts() (pass, fail, notTested int) {
	for _, s := range t.Sheets {
		switch s.Result.Verdict {
		case assay.Pass:
			pass++
		case assay.Fail:
			fail++
		default:
			notTested++
		}
	}
	return pass, fail, notTested
}

// Summary counts the verdicts: "12 chips: 7 pass, 4 fail, 1 not tested".
func (t Tray) Summary() string {
	pass, fail, notTested := t.Counts()
	noun := "chips"
	if len(t.Sheets) == 1 {
		noun = "chip"
	}
	return fmt.Sprintf("%d %s: %d pass, %d fail, %d not tested", len(t.Sheets), noun, pass, fail, notTested)
}

// A fact is a line of the report: what, and then how it is.
type fact struct {
	Label, Value string
	More         string // a sentence in smaller print; may be empty
	Mono         bool   // a digest
}

// chipFacts say what the chip is.
func (s Sheet) chipFacts() []fact {
	t := s.Result.Type
	v := t.Variant
	facts := []fact{
		{Label: "Part as typed", Value: cmp.Or(s.Typed, t.Name())},
		{Label: "Understood as", Value: t.String(), More: v.Note},
		{Label: "Family", Value: t.Family.Name + ", " + t.Family.Title},
		{Label: "Package", Value: fmt.Sprintf("%d-pin DIP", len(v.Pins)),
			More: fmt.Sprintf("%s at pin %d, %s at pin %d", pinName(v, v.VCC()), v.VCC(), pinName(v, v.GND()), v.GND())},
	}
	if s.Place != "" {
		facts = append(facts, fact{Label: "Place", Value: s.Place})
	}
	if d := s.DateCode; d != nil {
		facts = append(facts, fact{Label: "Date code", Value: d.Raw + ": " + dateWords(d), More: d.Rule})
	} else {
		facts = append(facts, fact{Label: "Date code", Value: "none given"})
	}
	if s.Note != "" {
		facts = append(facts, fact{Label: "Note", Value: s.Note})
	}
	return facts
}

func pinName(v *part.Variant, n int) string {
	if n < 1 || n > len(v.Pins) {
		return "none"
	}
	return v.Pins[n-1].Name
}

// testFacts say what was done to the chip and what came of it.
func (s Sheet) testFacts() []fact {
	r := s.Result
	facts := []fact{
		{Label: "Vectors", Value: VectorWords(r.VectorsApplied, r.VectorsPlanned, r.Rounds), More: r.Method},
		{Label: "Wrong readings", Value: fmt.Sprint(r.FailureCount)},
	}
	if r.Comparison != "" {
		facts = slices.Insert(facts, 1, fact{Label: "Compared", Value: r.Comparison})
	}
	for _, line := range CoverageOf(r.Coverage).Lines() {
		facts = append(facts, fact{Label: line[0], Value: line[1]})
	}
	if len(r.Partial) > 0 {
		facts = append(facts, fact{Label: "Pins not tested", Value: pinWords(r.Type.Variant, r.Partial)})
	}
	if len(r.PinsFailed) > 0 {
		facts = append(facts, fact{Label: "Pins that failed", Value: pinWords(r.Type.Variant, r.PinsFailed)})
	}
	if words := s.gateWords(); words != "" {
		facts = append(facts, fact{Label: "Gates", Value: words})
	}
	current := fact{Label: "Supply current", Value: "not measured"}
	if r.SupplyCurrentMA >= 0 {
		current.Value, current.More = fmt.Sprintf("%.1f mA", r.SupplyCurrentMA), "at the end of power-up"
	}
	facts = append(facts, current)
	if r.SupplyVolts > 0 {
		facts = append(facts, fact{Label: "Supply at the chip", Value: fmt.Sprintf("%.2f V", r.SupplyVolts), More: "between its own supply pins"})
	}
	if r.Grade != "" {
		facts = append(facts, fact{Label: "Grade", Value: string(r.Grade), More: strings.Join(r.GradeReasons, "; ")})
	}
	return facts
}

// VectorWords says how many vectors were applied, in how many rounds.
func VectorWords(applied, planned, rounds int) string {
	text := fmt.Sprintf("%d of %d applied", applied, planned)
	switch {
	case rounds > 1 && applied == planned:
		text += fmt.Sprintf(" in each of %d rounds", rounds)
	case rounds > 1:
		text += fmt.Sprintf(" in round %d", rounds)
	}
	return text
}

// originFacts say by what means the verdict was reached.
func (s Sheet) originFacts() []fact {
	r := s.Result
	when := "at a time not recorded"
	if !r.Started.IsZero() {
		when = r.Started.Format("2 January 2006, 15:04")
	}
	return []fact{
		{Label: "Tested", Value: fmt.Sprintf("%s, in %s", when, durationWords(r.Duration))},
		{Label: "Adapter", Value: cmp.Or(r.Adapter, "none")},
		{Label: "Firmware", Value: cmp.Or(r.Firmware, "none")},
		{Label: "Definition", Value: r.Definition},
		{Label: "Definition SHA-256", Value: r.DefinitionSHA256, Mono: true},
		{Label: "Vectors SHA-256", Value: cmp.Or(r.VectorsSHA256, "none"), Mono: true},
	}
}

// durationWords is a time in ms, or in s from one second on.
func durationWords(d time.Duration) string {
	if d < time.Second {
		return fmt.Sprintf("%d ms", d.Milliseconds())
	}
	return fmt.Sprintf("%.1f s", d.Seconds())
}

// Printable puts a replacement for what a terminal might obey.
func Printable(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return unicode.ReplacementChar
	}, text)
}
