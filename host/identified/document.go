// Package identified holds the document of an identification, what a chip without a marking
// is and by what evidence, and its renderings: terminal text, JSON, and a self-contained
// HTML page. The document of its own test, as the part that it seems to be, is in it.
package identified

import (
	"cmp"
	"io"
	"slices"
	"strings"
	"time"

	"chipassay/host/assay/contact"
	"chipassay/host/identify"
	"chipassay/host/marking"
	"chipassay/host/report"
	"chipassay/host/verdict"
)

// Version is that of the documents written here.
const Version = 1

// What an identification may say besides the verdicts of a test. A pass as one of several
// parts is none of the chip.
const (
	NotCertain verdict.Verdict = "not-certain" // it passes the test of what it may be, and may be another part
	NotKnown   verdict.Verdict = "not-known"   // no part explains what it does
)

// A Document is what there is to say about a chip whose marking is gone: what it is,
// by what evidence, and how it did in its own test.
type Document struct {
	Version        int               `json:"version"`
	Marking        string            `json:"marking,omitempty"`      // what could be read of it
	Contradicted   []string          `json:"contradicted,omitempty"` // numbers that the marking gives and the chip is not
	DateCode       *marking.DateCode `json:"date_code"`              // null where none was read
	Pins           int               `json:"pins"`                   // of the package; 0 where it was not found
	Supply         []int             `json:"supply"`                 // pins: VCC, GND; empty where they were not found
	Open           []int             `json:"open"`                   // signal pins without contact
	Candidates     []Candidate       `json:"candidates"`             // the likeliest first
	Silent         []string          `json:"silent"`                 // numbers that nothing excludes, for they need parts outside
	ToldApart      map[string]string `json:"told_apart_by"`          // in what each of the others differs from the first: "output current", "nothing"
	Certain        bool              `json:"certain"`
	Doubts         []string          `json:"doubts"` // why it is not certain, the weightiest first
	Verdict        verdict.Verdict   `json:"verdict"`
	Reason         string            `json:"reason"`
	Technology     string            `json:"technology"`      // of the inputs: bipolar, MOS; empty where not known
	DrawMA         *float64          `json:"draw_ma"`         // out of an input held low; null where not measured
	Table          *FunctionTable    `json:"table,omitempty"` // measured, of a chip that no part explains
	Nearest        *Nearest          `json:"nearest,omitempty"`
	Steps          int               `json:"steps"` // of probing
	AdapterSeconds float64           `json:"adapter_seconds"`
	Tests          int               `json:"tests"`               // own tests of what it may be that were run
	TestedAs       string            `json:"tested_as,omitempty"` // type
	Test           *report.Document  `json:"test"`                // as that type; null where there was none
	Adapter        string            `json:"adapter"`
	Firmware       string            `json:"firmware"`
	Started        time.Time         `json:"started"`
	Caveat         string            `json:"caveat"`
}

// Candidate is a part that a chip may be.
type Candidate struct {
	Part         string       `json:"part"`
	Title        string       `json:"title"`
	SameFunction []string     `json:"same_function"` // numbers of others on the same pins that no test tells from it
	Families     []string     `json:"families"`      // that the measured inputs allow, the likeliest first
	Faults       []string     `json:"faults,omitempty"`
	Layout       []report.Pin `json:"layout,omitempty"` // of the first: its pins
}

// Nearest is the part that a chip which no single fault explains answers as but for some pins.
type Nearest struct {
	Part string `json:"part"`
	But  []int  `json:"but"` // pins
}

// Of is the document of an answer. The date code is that of the marking, or nil.
func Of(a *identify.Answer, marked string, date *marking.DateCode) Document {
	d := Document{
		Version: Version, Marking: marked, Contradicted: a.Contradicted(), DateCode: date,
		Pins: a.Seat.Pins, Supply: []int{}, Open: append([]int{}, slices.Collect(a.Open.All())...),
		Candidates: []Candidate{}, ToldApart: map[string]string{}, Silent: append([]string{}, a.Silent...), Certain: a.Certain, Doubts: append([]string{}, a.Doubts...),
		Verdict: a.Verdict, Reason: a.Reason, Technology: a.Technology,
		Steps: a.Steps, AdapterSeconds: report.Rounded(a.Probing.Seconds()), Tests: a.Tests, Caveat: report.Caveat,
	}
	if a.Seat.Pins > 0 {
		d.Supply = []int{a.Seat.VCC, a.Seat.GND}
	}
	d.Table = tableOf(a)
	if n := a.Nearest; n != nil {
		d.Nearest = &Nearest{Part: n.Variant.Part.Number, But: slices.Collect(n.But.All())}
	}
	if a.Draw > 0 {
		d.DrawMA = new(report.Rounded(a.Draw))
	}
	for i, c := range a.Candidates {
		d.Candidates = append(d.Candidates, candidateOf(a, c))
		for _, number := range append([]string{c.Part.Number}, c.SameFunction...) {
			if i == 0 && number != c.Part.Number || i > 0 && len(c.Faults) == 0 {
				d.ToldApart[number] = a.Apart(a.Candidates[0], number)
			}
		}
	}
	if len(a.Candidates) > 0 {
		d.Open = slices.DeleteFunc(d.Open, func(pin int) bool { return !contact.Judges(a.Candidates[0].Variant.Pins[pin-1]) })
		for _, p := range a.Candidates[0].Variant.Pins {
			d.Candidates[0].Layout = append(d.Candidates[0].Layout, report.Pin{Number: p.Number, Name: p.Name, Role: p.Role.String(), LeftOut: p.Untested})
		}
	}
	if r := a.Test; r != nil {
		d.TestedAs = r.Type.Name()
		d.Test = new(report.Of(r, "", "", date, ""))
		d.Test.Identified = d.Words()
	}
	switch {
	case a.Verdict.Passed() && !a.Certain:
		d.Verdict = NotCertain
	case a.Verdict == verdict.NotTested && a.Record != nil && (len(a.Candidates) == 0 || len(a.Candidates[0].Faults) > 0):
		d.Verdict = NotKnown
	}
	return d
}

func candidateOf(a *identify.Answer, c identify.Candidate) Candidate {
	o := Candidate{Part: c.Part.Number, Title: c.Part.Title, SameFunction: append([]string{}, c.SameFunction...), Families: []string{}, Faults: c.Faults}
	for _, f := range a.Likely(c) {
		o.Families = append(o.Families, f.Name)
	}
	return o
}

// WriteJSON writes the identification as one object.
func (d Document) WriteJSON(w io.Writer) error { return report.WriteJSON(w, d) }

// Headline is the verdict as a heading.
func (d Document) Headline() string {
	switch d.Verdict {
	case NotCertain:
		return "NOT CERTAIN"
	case NotKnown:
		return "NOT KNOWN"
	}
	return d.Verdict.Heading(d.Test != nil && len(d.Test.Partial) > 0)
}

// Name is the type that the chip was tested as, else the number of what it may be; empty
// where it may be nothing.
func (d Document) Name() string {
	if d.TestedAs == "" && len(d.Candidates) > 0 {
		return d.Candidates[0].Part
	}
	return d.TestedAs
}

// Why is why the verdict is what it is.
func (d Document) Why() string {
	switch {
	case d.Verdict == NotCertain && len(d.Doubts) > 0:
		return "passes as a " + d.Name() + "; not certain: " + d.Doubts[0]
	case d.Verdict == verdict.Fail && len(d.Candidates) > 0:
		return "as a " + d.Name() + ": " + d.Reason
	case d.Verdict == verdict.PassBut && d.Test != nil:
		return d.Test.Why()
	}
	return d.Reason
}

// What says what the chip is: its number and title.
func (d Document) What() string {
	switch {
	case len(d.Candidates) > 0:
	case d.Table != nil:
		return "A chip that the library lacks, or a broken one"
	default:
		return ""
	}
	what := d.Name() + " " + d.Candidates[0].Title
	switch {
	case d.Certain:
		return what
	case d.Verdict == NotKnown:
		return "Nearest to a " + what
	}
	return "Probably a " + what
}

// Evidence are the facts that speak for the answer, and against it, the most important
// first; the last is how it was reached.
func (d Document) Evidence() []report.Fact {
	facts := []report.Fact{{Label: "Marking", Value: d.markingWords()}, {Label: "Package", Value: d.packageWords()}}
	if d.Table != nil {
		facts = append(facts, report.Fact{Label: "Inputs", Value: cmp.Or(pinList(d.Table.Inputs), "none") + d.inputWords(": ")})
		facts = append(facts, d.Table.equationFacts()...)
	}
	return report.Known(append(facts,
		report.Fact{Label: "Same logic", Value: d.sameWords()},
		report.Fact{Label: "Family", Value: d.familyWords()},
		report.Fact{Label: "Or else", Value: d.elseWords()},
		report.Fact{Label: "Doubt", Value: strings.Join(d.restOfDoubts(), "; ")},
		report.Fact{Label: "No contact", Value: pinList(d.Open)},
		report.Fact{Label: "Date code", Value: d.dateWords()},
		report.Fact{Label: "Probed", Value: d.probedWords()})...)
}

// testFacts are what matters most of the own test.
func (d Document) testFacts() []report.Fact {
	if d.Test == nil {
		return nil
	}
	return slices.DeleteFunc(d.Test.BriefFacts(), func(f report.Fact) bool {
		return !slices.Contains([]string{"Vectors", "Failed", "Levels", "Caution"}, f.Label)
	})
}

// restOfDoubts are the doubts that the verdict's line does not give.
func (d Document) restOfDoubts() []string {
	if d.Verdict == NotCertain && len(d.Doubts) > 0 {
		return d.Doubts[1:]
	}
	return d.Doubts
}

// Class is the verdict as a class of the style sheet.
func (d Document) Class() string { return d.Verdict.Class() }

// Sentence is why the verdict is what it is, as a sentence.
func (d Document) Sentence() string { return report.Sentence(d.Why()) }

// PageTitle is the page's own.
func (d Document) PageTitle() string {
	return cmp.Or(d.Name(), "A chip without a marking") + ": " + d.Headline()
}

// Package is what the chip most probably is, to be drawn; nil where that is not known.
func (d Document) Package() *report.Document {
	if len(d.Candidates) == 0 {
		return nil
	}
	return &report.Document{Type: d.Name(), Pins: d.Candidates[0].Layout}
}
