package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"chipassay/host/assay"
	"chipassay/host/verdict"
	"chipassay/vectors/part"
)

// Headline is the verdict as a heading.
func (d Document) Headline() string { return d.Verdict.Heading(d.inPart()) }

// inPart reports whether a chip that passed was not tested whole: some pins, or what a capacitor times.
func (d Document) inPart() bool { return len(d.Partial) > 0 || assay.InPart(d.Reason) }

// Why is why the verdict is what it is: of a pass with a but, that.
func (d Document) Why() string {
	if d.Verdict == verdict.PassBut && len(d.But) > 0 {
		return strings.Join(d.But, "; ")
	}
	return d.Reason
}

// A Fact is a line of a report: what, and then how it is.
type Fact struct {
	Label, Value string
	More         string // in smaller print; may be empty
	Mono         bool   // a digest
}

// Known are the facts that have a value.
func Known(facts ...Fact) []Fact {
	return slices.DeleteFunc(facts, func(f Fact) bool { return f.Value == "" })
}

// pinName is a pin's data-sheet name, as far as the document has it.
func (d Document) pinName(n int) string {
	if 1 <= n && n <= len(d.Pins) {
		return d.Pins[n-1].Name
	}
	for _, l := range d.Levels { // version 1
		if l.Pin == n {
			return l.Name
		}
	}
	for _, f := range d.Failures {
		if f.Pin == n {
			return f.Name
		}
	}
	return ""
}

// PinWords names pins by number and data-sheet name: "pins 6 (2Y), 8 (3Y)"; empty for none.
func (d Document) PinWords(pins []int) string {
	var words []string
	for _, n := range pins {
		word := fmt.Sprint(n)
		if name := d.pinName(n); name != "" {
			word += " (" + name + ")"
		}
		words = append(words, word)
	}
	if len(words) > 1 {
		words[0] = "pins " + words[0]
	} else if len(words) == 1 {
		words[0] = "pin " + words[0]
	}
	return strings.Join(words, ", ")
}

// gateWords names the gates by state: "1 and 3 sound, 2 failed".
func (d Document) gateWords() string {
	var words []string
	for _, state := range gateStates {
		var names []string
		for _, g := range d.Gates {
			if g.State == state {
				names = append(names, g.Name)
			}
		}
		if names != nil {
			words = append(words, part.And(names)+" "+state)
		}
	}
	return strings.Join(words, ", ")
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

// Sentences are the lines as sentences, without those that the verdict's reason says.
func (d Document) Sentences(lines []string) (sentences []string) {
	for _, line := range lines {
		if line != d.Reason && line != d.Why() {
			sentences = append(sentences, Sentence(line))
		}
	}
	return sentences
}

// Found are what was found besides, sentences.
func (d Document) Found() []string { return d.Sentences(d.Findings) }

// ChipFacts say what the chip is.
func (d Document) ChipFacts() []Fact {
	known := Fact{Label: "Part as typed", Value: d.Typed}
	if d.Identified != "" {
		known = Fact{Label: "How it is known", Value: d.Identified}
	}
	var box Fact
	if len(d.Pins) > 0 {
		box = Fact{Label: "Package", Value: fmt.Sprintf("%d-pin DIP", len(d.Pins)),
			More: fmt.Sprintf("%s at pin %d, %s at pin %d", d.pinName(d.VCC), d.VCC, d.pinName(d.GND), d.GND)}
	}
	date := Fact{Label: "Date code", Value: d.DateCode.String()}
	if d.DateCode != nil {
		date.Value, date.More = d.DateCode.Raw+": "+d.DateCode.Words(), d.DateCode.Rule
	}
	note := d.Note
	if strings.HasPrefix(d.Identified, note) { // it is the record's that the part was identified
		note = ""
	}
	return Known(known,
		Fact{Label: "Identified as", Value: d.Type + " " + d.Title, More: d.Variant},
		Fact{Label: "Family", Value: strings.Trim(d.Family+", "+d.FamilyTitle, ", ")},
		box,
		Fact{Label: "Place", Value: d.Place},
		date,
		Fact{Label: "Note", Value: note})
}

// resultFacts are what came of the test, for every report.
func (d Document) resultFacts() []Fact {
	vectors, gates, tied := vectorWords(d.VectorsApplied, d.VectorsPlanned, d.Rounds), d.gateWords(), ""
	if len(d.Tied) > 0 {
		tied = "tested only with " + strings.Join(d.Tied, " ")
	}
	if d.FailureCount > 0 {
		vectors += fmt.Sprintf(", %d readings wrong", d.FailureCount)
	}
	if d.Class() == string(verdict.NotTested) {
		gates = ""
	}
	return []Fact{
		{Label: "Tied", Value: tied},
		{Label: "Vectors", Value: vectors, More: d.Method},
		{Label: "Failed", Value: d.PinWords(d.PinsFailed)},
		{Label: "Not tested", Value: d.PinWords(d.Partial)},
		{Label: "Gates", Value: gates},
	}
}

// TestFacts say what was done to the chip and what came of it.
func (d Document) TestFacts() []Fact {
	runs, march := "", ""
	if d.Runs > 1 {
		runs = fmt.Sprintf("%d, of which %d went wrong", d.Runs, d.RunsFailed)
	}
	if m := d.Memory; m != nil {
		march = fmt.Sprintf("%s on %d words of %d bits", m.Test, m.Words, m.Bits)
	}
	supply := Fact{Label: "Supply", Value: "not measured"}
	if words := d.supplyWords(); words != "" {
		supply.Value, supply.More = words, "at the end of power-up"
	}
	return Known(slices.Concat(d.resultFacts(), []Fact{
		{Label: "Memory", Value: march},
		{Label: "Compared", Value: d.Comparison},
		{Label: "Runs", Value: runs},
	}, d.coverageFacts(), []Fact{
		d.troubleFact(),
		supply,
		{Label: "Grade", Value: d.Grade.String(), More: strings.Join(d.GradeReasons, "; ")},
	})...)
}

// coverageFacts say what the vectors prove, and that what was timed is not in it.
func (d Document) coverageFacts() []Fact {
	facts := d.Coverage.Facts()
	if len(d.Timing) > 0 {
		for i := range facts {
			facts[i].More = "by the vectors alone, without what was timed"
		}
	}
	return facts
}

// supplyWords are what was measured of the supply: "6.2 mA, 4.82 V at the chip".
func (d Document) supplyWords() string {
	var words []string
	if d.SupplyCurrentMA != nil {
		words = append(words, fmt.Sprintf("%.1f mA", *d.SupplyCurrentMA))
	}
	if d.SupplyVolts != nil {
		words = append(words, fmt.Sprintf("%.2f V at the chip", *d.SupplyVolts))
	}
	return strings.Join(words, ", ")
}

// troubleFact says what kept the chip from being tested. What is still there after the chip
// was reseated is why it was rejected.
func (d Document) troubleFact() Fact {
	words := map[assay.Trouble]string{
		assay.NoContactPins: "pins without contact", assay.ShortedPins: "shorted pins", assay.TooMuchSupply: "far too much supply current",
	}
	f := Fact{Label: "Why not tested", Value: cmp.Or(words[d.Trouble], string(d.Trouble))}
	if d.Verdict == verdict.Fail && d.Trouble.Condemns() {
		f.Label, f.More = "Rejected for", "the same after reseating"
	}
	return f
}

// vectorWords says how many vectors were applied, in how many rounds.
func vectorWords(applied, planned, rounds int) string {
	text := fmt.Sprintf("%d of %d applied", applied, planned)
	switch {
	case planned == 0:
		return "none applied"
	case rounds > 1 && applied == planned:
		text += fmt.Sprintf(" in each of %d rounds", rounds)
	case rounds > 1:
		text += fmt.Sprintf(" in round %d", rounds)
	}
	return text
}

// OriginFacts say by what means the verdict was reached.
func (d Document) OriginFacts() []Fact {
	took := fmt.Sprintf("%.0f ms", d.DurationMS)
	if d.DurationMS >= 1000 {
		took = fmt.Sprintf("%.1f s", d.DurationMS/1000)
	}
	return []Fact{
		{Label: "Tested", Value: fmt.Sprintf("%s, in %s", Moment(d.Started), took)},
		{Label: "Adapter", Value: cmp.Or(d.Adapter, "none"), More: "firmware " + cmp.Or(d.Firmware, "not known")},
		{Label: "Definition", Value: d.Definition},
		{Label: "Definition SHA-256", Value: cmp.Or(d.DefinitionSHA256, "none"), Mono: true},
		{Label: "Vectors SHA-256", Value: cmp.Or(d.VectorsSHA256, "none"), Mono: true},
	}
}

// Moment is a time in words, with its zone.
func Moment(t time.Time) string {
	if t.IsZero() {
		return "at a time not recorded"
	}
	return t.Format("2 January 2006, 15:04 MST")
}

// GradeFacts say what each grade asks for, and how sure the tester is.
func (d Document) GradeFacts() (facts []Fact) {
	for _, c := range d.GradeCriteria {
		label := c.Grade.String()
		if c.Grade == d.Grade {
			label += " (this chip)"
		}
		facts = append(facts, Fact{Label: label, Value: c.Asks})
	}
	return append(facts, Fact{Label: "tester's uncertainty", Value: d.TesterUncertainty})
}

// MarginMeaning says what the inputs of MarginLines have in common.
const MarginMeaning = "By the data sheet's worst case the adapter cannot drive these inputs to a valid low: the current that " +
	"may flow out of one lifts it above VIL across the adapter's drive resistance. A typical chip draws less and is tested " +
	"anyway; if it gives wrong answers, the adapter may be at fault."

// MarginLines are the inputs that the adapter may not drive low, a sentence each.
func (d Document) MarginLines() (lines []string) {
	for _, m := range d.Margins {
		lines = append(lines, Sentence(fmt.Sprintf("%s: driven low it may be as high as %.2f V, above the VIL of %.1f V", d.PinWords([]int{m.Pin}), m.Volts, m.VIL)))
	}
	return lines
}
