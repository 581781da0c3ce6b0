package certificate

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"chipassay/host/assay"
	"chipassay/host/marking"
	"chipassay/host/report"
	"chipassay/vectors/part"
)

// A heading is how a sheet begins: only a pass is certified.
type heading struct {
	Kind, Word string
}

var headings = map[string]heading{
	"pass":       {"Certificate of test", "PASS"},
	"fail":       {"No certificate: record of a test that failed", "FAIL"},
	"not-tested": {"No certificate: this chip was not tested", "NOT TESTED"},
}

// heading is that of the record's verdict; what is not known is not tested. A chip
// of the virtual adapter is none, and nothing certifies it.
func (c Certificate) heading() heading {
	h := headings[c.verdict()]
	if c.verdict() == "pass" && c.inPart() {
		h = heading{"Certificate of a test in part", report.Headline(assay.Pass, true)}
	}
	if c.virtual() && c.verdict() == "pass" {
		h.Kind = "Demonstration, no certificate: a virtual chip in the virtual adapter"
	}
	return h
}

// inPart tells whether only some of the chip was tested.
func (c Certificate) inPart() bool { return len(c.Chip.Partial) > 0 }

// virtual tells whether the test was made without hardware.
func (c Certificate) virtual() bool { return strings.HasPrefix(c.Record.Adapter, "virtual") }

func (c Certificate) verdict() string {
	if _, ok := headings[c.Record.Verdict]; ok {
		return c.Record.Verdict
	}
	return "not-tested"
}

// name is what the chip is called: its marking, or what was typed for it.
func (c Certificate) name() string {
	return cmp.Or(c.Record.Marking, c.Chip.Typed, c.Record.Type)
}

// A fact is a line of the page: what, and then how it is.
type fact struct {
	Label, Value string
	More         string // in smaller print; may be empty
	Mono         bool   // a digest
}

// known are the facts that have a value.
func known(facts ...fact) []fact {
	return slices.DeleteFunc(facts, func(f fact) bool { return f.Value == "" })
}

func (c Certificate) chipFacts() []fact {
	r := c.Record
	family := r.Family
	if f := part.FamilyByName(r.Family); f != nil {
		family += ", " + f.Title
	}
	date := fact{Label: "Date code", Value: "none given"}
	if r.DateCode != "" {
		words, more := c.dateWords()
		date.Value, date.More = r.DateCode+": "+words, more
	}
	return known(
		fact{Label: "Part", Value: r.Type, More: c.Chip.Title},
		fact{Label: "Family", Value: family},
		fact{Label: "Marking", Value: cmp.Or(r.Marking, "not written down"), More: c.typed()},
		date,
		fact{Label: "Drawer", Value: r.Drawer},
		fact{Label: "Lot", Value: r.Lot},
		fact{Label: "Note", Value: r.Note},
	)
}

func (c Certificate) typed() string {
	if c.Chip.Typed == "" || c.Chip.Typed == c.Record.Type {
		return ""
	}
	return "tested as " + c.Chip.Typed
}

// dateWords says what the date code stands for: "week 38 of 1979, 17 to 23
// September 1979", and by which rule.
func (c Certificate) dateWords() (words, more string) {
	r := c.Record
	year, week := r.From.ISOWeek()
	from := "2"
	switch {
	case r.From.IsZero():
		return "period not known", ""
	case r.From.Year() != r.To.Year():
		from = "2 January 2006"
	case r.From.Month() != r.To.Month():
		from = "2 January"
	}
	words = fmt.Sprintf("week %d of %d, %s to %s", week, year, r.From.Format(from), r.To.Format("2 January 2006"))
	candidates, rule := c.candidates()
	var others []string
	for _, y := range candidates {
		if y != year {
			others = append(others, strconv.Itoa(y))
		}
	}
	if others != nil {
		words += "; or the same week of " + strings.Join(others, ", ")
	}
	return words, rule
}

// candidates are the years for which the date code can stand, and the rule. A date
// code that the report does not tell of is read anew.
func (c Certificate) candidates() (years []int, rule string) {
	r := c.Record
	if d := c.Chip.DateCode; d != nil && d.Raw == r.DateCode {
		for _, p := range d.Candidates {
			years = append(years, p.Year)
		}
		return years, d.Rule
	}
	since := 0
	if f := part.FamilyByName(r.Family); f != nil {
		since = marking.MadeSince(f)
	}
	d, err := marking.ParseDateCode(r.DateCode, since, r.Time)
	if err != nil {
		return nil, ""
	}
	for _, p := range d.Candidates {
		years = append(years, p.Year)
	}
	return years, d.Rule
}

// dateYear is the date code with its year: "7938 (1979)", with a question mark
// where the decade is not told.
func (c Certificate) dateYear() string {
	r := c.Record
	if r.DateCode == "" || r.Year == 0 {
		return r.DateCode
	}
	mark := ""
	if years, _ := c.candidates(); len(years) > 1 {
		mark = "?"
	}
	return fmt.Sprintf("%s (%d%s)", r.DateCode, r.Year, mark)
}

// coverageFacts say what was applied, how the answers were compared, and what came of it.
func (c Certificate) coverageFacts() []fact {
	t := c.Chip
	vectors := report.VectorWords(t.VectorsApplied, t.VectorsPlanned, t.Rounds)
	if t.VectorsPlanned == 0 {
		vectors = "none applied"
	}
	runs := ""
	if t.Runs > 1 {
		runs = fmt.Sprintf("%d, of which %d went wrong", t.Runs, t.RunsFailed)
	}
	march := ""
	if m := t.Memory; m != nil {
		march = fmt.Sprintf("%s on %d words of %d bits", m.Test, m.Words, m.Bits)
	}
	current := "not measured"
	if t.SupplyCurrentMA != nil {
		current = fmt.Sprintf("%.1f mA at the end of power-up", *t.SupplyCurrentMA)
	}
	facts := []fact{
		{Label: "Vectors", Value: vectors},
		{Label: "Method", Value: t.Method},
		{Label: "Memory", Value: march},
		{Label: "Compared", Value: t.Comparison},
		{Label: "Runs", Value: runs},
		{Label: "Wrong readings", Value: strconv.Itoa(t.FailureCount)},
		{Label: "Pins not tested", Value: joined(t.Partial)},
		{Label: "Pins that failed", Value: joined(t.PinsFailed)},
		{Label: "Gates", Value: gateWords(t.Gates)},
		{Label: "Supply current", Value: current},
	}
	for _, line := range t.Coverage.Lines() {
		facts = append(facts, fact{Label: line[0], Value: line[1]})
	}
	return known(facts...)
}

func joined(pins []int) string {
	var list []string
	for _, n := range pins {
		list = append(list, strconv.Itoa(n))
	}
	return strings.Join(list, ", ")
}

// gateWords names the gates by state: "1, 3 sound; 2 failed".
func gateWords(gates []report.Gate) string {
	var states, groups []string
	for _, g := range gates {
		if !slices.Contains(states, g.State) {
			states = append(states, g.State)
		}
	}
	for _, s := range states {
		var names []string
		for _, g := range gates {
			if g.State == s {
				names = append(names, g.Name)
			}
		}
		groups = append(groups, strings.Join(names, ", ")+" "+s)
	}
	return strings.Join(groups, "; ")
}

const momentForm = "2 January 2006, 15:04 UTC"

// originFacts say by what means the verdict was reached, and where it is kept.
func (c Certificate) originFacts() []fact {
	r, t := c.Record, c.Chip
	number := fact{Label: "Record", Value: strconv.FormatInt(r.Serial, 10)}
	if r.Serial != c.Tested.Serial {
		number.More = fmt.Sprintf("corrects what was written down with the test in record %d, on %s; what was measured stands",
			c.Tested.Serial, r.Time.Format(momentForm))
	}
	imported := ""
	if r.ImportedSerial != 0 {
		imported = fmt.Sprintf("record %d of another file", r.ImportedSerial)
	}
	return known(
		number,
		fact{Label: "Other tests of this chip", Value: c.otherTests()},
		fact{Label: "Tested", Value: moment(c.Tested.Time)},
		fact{Label: "Operator", Value: r.Operator},
		fact{Label: "Adapter", Value: cmp.Or(r.Adapter, "none"), More: "firmware " + cmp.Or(r.Firmware, "not known")},
		fact{Label: "Definition", Value: t.Definition},
		fact{Label: "Imported", Value: imported, More: r.ImportedDigest},
		fact{Label: "Record SHA-256", Value: r.Digest, Mono: true},
		fact{Label: "Definition SHA-256", Value: cmp.Or(r.DefinitionSHA256, "none"), Mono: true},
		fact{Label: "Vectors SHA-256", Value: cmp.Or(r.VectorsSHA256, "none"), Mono: true},
	)
}

func moment(t time.Time) string {
	if t.IsZero() {
		return "at a time not recorded"
	}
	return t.UTC().Format(momentForm)
}

func sentences(lines []string) (out []string) {
	for _, l := range lines {
		out = append(out, report.Sentence(l))
	}
	return out
}
