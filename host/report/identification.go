package report

import (
	"cmp"
	"io"
	"slices"
	"strings"
	"time"

	"chipassay/host/assay/contact"
	"chipassay/host/identify"
	"chipassay/host/marking"
	"chipassay/host/verdict"
)

// IdentificationVersion is that of the identifications written here.
const IdentificationVersion = 1

// What an identification may say besides the verdicts of a test. A pass as one of several
// parts is none of the chip.
const (
	NotCertain verdict.Verdict = "not-certain" // it passes the test of what it may be, and may be another part
	NotKnown   verdict.Verdict = "not-known"   // no part explains what it does
)

// An Identification is what there is to say about a chip whose marking is gone: what it is,
// by what evidence, and how it did in its own test.
type Identification struct {
	Version        int               `json:"version"`
	Marking        string            `json:"marking,omitempty"` // what could be read of it
	DateCode       *DateCode         `json:"date_code"`         // null where none was read
	Pins           int               `json:"pins"`              // of the package; 0 where it was not found
	Supply         []int             `json:"supply"`            // pins: VCC, GND; empty where they were not found
	Open           []int             `json:"open"`              // signal pins without contact
	Candidates     []IdentifiedAs    `json:"candidates"`        // the likeliest first
	Silent         []string          `json:"silent"`            // numbers that nothing excludes, for they need parts outside
	ToldApart      map[string]string `json:"told_apart_by"`     // in what each of the others differs from the first: "output current", "nothing"
	Certain        bool              `json:"certain"`
	Doubts         []string          `json:"doubts"` // why it is not certain, the weightiest first
	Verdict        verdict.Verdict   `json:"verdict"`
	Reason         string            `json:"reason"`
	Technology     string            `json:"technology"`      // of the inputs: bipolar, MOS; empty where not known
	DrawMA         *float64          `json:"draw_ma"`         // out of an input held low; null where not measured
	Table          *FunctionTable    `json:"table,omitempty"` // measured, of a chip that no part explains
	Steps          int               `json:"steps"`           // of probing
	AdapterSeconds float64           `json:"adapter_seconds"`
	Tests          int               `json:"tests"`               // own tests of what it may be that were run
	TestedAs       string            `json:"tested_as,omitempty"` // type
	Test           *Document         `json:"test"`                // as that type; null where there was none
	Adapter        string            `json:"adapter"`
	Firmware       string            `json:"firmware"`
	Started        time.Time         `json:"started"`
	Caveat         string            `json:"caveat"`
}

// IdentifiedAs is a part that a chip may be.
type IdentifiedAs struct {
	Part         string   `json:"part"`
	Title        string   `json:"title"`
	SameFunction []string `json:"same_function"` // numbers of others on the same pins that no test tells from it
	Families     []string `json:"families"`      // that the measured inputs allow, the likeliest first
	Faults       []string `json:"faults,omitempty"`
	Layout       []Pin    `json:"layout,omitempty"` // of the first: its pins
}

// Identified is the document of an answer. The date code is that of the marking, or nil.
func Identified(a *identify.Answer, marked string, date *marking.DateCode) Identification {
	d := Identification{
		Version: IdentificationVersion, Marking: marked, DateCode: DateOf(date),
		Pins: a.Seat.Pins, Supply: []int{}, Open: orEmpty(slices.Collect(a.Open.All())),
		Candidates: []IdentifiedAs{}, ToldApart: map[string]string{}, Silent: orEmpty(a.Silent), Certain: a.Certain, Doubts: orEmpty(a.Doubts),
		Verdict: a.Verdict, Reason: a.Reason, Technology: a.Technology,
		Steps: a.Steps, AdapterSeconds: micro(a.Probing.Seconds()), Tests: a.Tests, Caveat: Caveat,
	}
	if a.Seat.Pins > 0 {
		d.Supply = []int{a.Seat.VCC, a.Seat.GND}
	}
	d.Table = tableOf(a)
	if a.Draw > 0 {
		d.DrawMA = new(micro(a.Draw))
	}
	for i, c := range a.Candidates {
		d.Candidates = append(d.Candidates, identifiedAs(a, c))
		for _, number := range append([]string{c.Part.Number}, c.SameFunction...) {
			if i == 0 && number != c.Part.Number || i > 0 && len(c.Faults) == 0 {
				d.ToldApart[number] = a.Apart(a.Candidates[0], number)
			}
		}
	}
	if len(a.Candidates) > 0 {
		d.Open = slices.DeleteFunc(d.Open, func(pin int) bool { return !contact.Judges(a.Candidates[0].Variant.Pins[pin-1]) })
		for _, p := range a.Candidates[0].Variant.Pins {
			d.Candidates[0].Layout = append(d.Candidates[0].Layout, Pin{p.Number, p.Name, p.Role.String(), p.Untested})
		}
	}
	if r := a.Test; r != nil {
		d.TestedAs = r.Type.Name()
		d.Test = new(Of(r, "", "", date, ""))
		d.Test.Identified = d.Words()
	}
	switch {
	case a.Verdict.Passed() && !a.Certain:
		d.Verdict = NotCertain
	case a.Verdict == verdict.NotTested && a.Record != nil && len(a.Candidates) == 0:
		d.Verdict = NotKnown
	}
	return d
}

func identifiedAs(a *identify.Answer, c identify.Candidate) IdentifiedAs {
	o := IdentifiedAs{Part: c.Part.Number, Title: c.Part.Title, SameFunction: orEmpty(c.SameFunction), Families: []string{}, Faults: c.Faults}
	for _, f := range a.Likely(c) {
		o.Families = append(o.Families, f.Name)
	}
	return o
}

// WriteJSON writes the identification as one object.
func (d Identification) WriteJSON(w io.Writer) error { return writeJSON(w, d) }

// Headline is the verdict as a heading.
func (d Identification) Headline() string {
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
func (d Identification) Name() string {
	if d.TestedAs == "" && len(d.Candidates) > 0 {
		return d.Candidates[0].Part
	}
	return d.TestedAs
}

// Why is why the verdict is what it is.
func (d Identification) Why() string {
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
func (d Identification) What() string {
	switch {
	case len(d.Candidates) > 0:
	case d.Table != nil:
		return "A chip that the library lacks"
	default:
		return ""
	}
	what := d.Name() + " " + d.Candidates[0].Title
	if !d.Certain {
		return "Probably a " + what
	}
	return what
}

// Evidence are the facts that speak for the answer, and against it, the most important first.
func (d Identification) Evidence() []Fact {
	return append(d.evidence(), Known(Fact{Label: "Probed", Value: d.probedWords()})...)
}

func (d Identification) evidence() []Fact {
	return Known(slices.Concat([]Fact{
		{Label: "Package", Value: d.packageWords()},
		{Label: "Inputs", Value: d.tableInputs()},
	}, d.equationFacts(), []Fact{
		{Label: "Same logic", Value: d.sameWords()},
		{Label: "Family", Value: d.familyWords()},
		{Label: "Or else", Value: d.elseWords()},
		{Label: "Doubt", Value: strings.Join(d.restOfDoubts(), "; ")},
		{Label: "No contact", Value: pinList(d.Open)},
		{Label: "Date code", Value: d.dateWords()},
	})...)
}

// briefFacts are the evidence with what matters most of the own test.
func (d Identification) briefFacts() []Fact {
	return slices.Concat(d.evidence(), d.testFacts(), Known(Fact{Label: "Probed", Value: d.probedWords()}))
}

// testFacts are those of the own test, in short.
func (d Identification) testFacts() (facts []Fact) {
	if d.Test == nil {
		return nil
	}
	for _, f := range d.Test.BriefFacts() {
		if slices.Contains([]string{"Vectors", "Failed", "Levels", "Caution"}, f.Label) {
			facts = append(facts, f)
		}
	}
	return facts
}

// restOfDoubts are the doubts that the verdict's line does not give.
func (d Identification) restOfDoubts() []string {
	if d.Verdict == NotCertain && len(d.Doubts) > 0 {
		return d.Doubts[1:]
	}
	return d.Doubts
}

// Class is the verdict as a class of the style sheet.
func (d Identification) Class() string {
	if d.Verdict.Known() {
		return string(d.Verdict)
	}
	return string(verdict.NotTested)
}

// Sentence is why the verdict is what it is, as a sentence.
func (d Identification) Sentence() string { return Sentence(d.Why()) }

// PageTitle is the page's own.
func (d Identification) PageTitle() string {
	return cmp.Or(d.Name(), "A chip without a marking") + ": " + d.Headline()
}

// Drawing is the package of what the chip most probably is, from above; nil where that is
// not known.
func (d Identification) Drawing() *drawing {
	if len(d.Candidates) == 0 {
		return nil
	}
	return Document{Type: d.Name(), Pins: d.Candidates[0].Layout}.Drawing()
}
