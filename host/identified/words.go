package identified

import (
	_ "embed"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"chipassay/host/report"
	"chipassay/host/verdict"
	"chipassay/vectors/part"
)

//go:embed page.html
var pageText string

//go:embed report.txt
var reportText string

var (
	page  = report.Page(pageText)
	texts = report.Text(reportText)
)

// WriteHTML writes what a chip is as a page that stands alone.
func (d Document) WriteHTML(w io.Writer) error { return report.Execute(w, page, "identified", d) }

// WriteText writes the whole answer, and the report of the own test below it.
func (d Document) WriteText(w io.Writer, colour bool) error {
	return report.ExecuteText(w, texts, "identified", d, d.Headline(), colour)
}

// WriteBrief writes what a chip is in at most ten lines of 80 columns, the last of them the
// verdict with its reason.
func (d Document) WriteBrief(w io.Writer, colour bool) error {
	b := report.Brief{What: d.What(), Headline: d.Headline(), Why: d.Why(), Facts: d.Evidence()}
	if last := len(b.Facts) - 1; d.Steps > 0 {
		b.Facts, b.Last = b.Facts[:last], b.Facts[last]
	}
	b.Facts = append(b.Facts, d.testFacts()...)
	if d.Verdict == verdict.Pass && d.Test != nil {
		b.Grade = d.Test.Grade
	}
	return b.Write(w, colour)
}

// markingWords say that the marking is another part's.
func (d Document) markingWords() string {
	if len(d.Contradicted) == 0 {
		return ""
	}
	return fmt.Sprintf("this is no %s: misread, or printed anew", strings.Join(d.Contradicted, " or "))
}

func (d Document) packageWords() string {
	if d.Pins == 0 {
		return ""
	}
	return fmt.Sprintf("%d pins; the supply is at pin %d, ground at pin %d", d.Pins, d.Supply[0], d.Supply[1])
}

// sameWords name the other parts of the same function, and in what they differ.
func (d Document) sameWords() string {
	if len(d.Candidates) == 0 {
		return ""
	}
	return d.differences(d.Candidates[0].SameFunction)
}

// differences names parts by what would tell them from the first candidate: "741000 differs
// in output current; 4163 and 40163 in family".
func (d Document) differences(numbers []string) string {
	by := map[string][]string{}
	for _, number := range numbers {
		by[d.ToldApart[number]] = append(by[d.ToldApart[number]], number)
	}
	var words []string
	for _, what := range slices.Sorted(maps.Keys(by)) {
		if what == "nothing" {
			words = append(words, fmt.Sprintf("nothing here tells %s from it", part.And(by[what])))
			continue
		}
		verb := " differs in "
		if len(by[what]) > 1 {
			verb = " differ in "
		}
		words = append(words, part.And(by[what])+verb+what)
	}
	return strings.Join(words, "; ")
}

func (d Document) familyWords() string {
	if len(d.Candidates) == 0 || len(d.Candidates[0].Families) == 0 {
		return ""
	}
	return orWords(d.Candidates[0].Families) + d.inputWords(": ")
}

// inputWords say what was measured at the inputs.
func (d Document) inputWords(before string) string {
	switch {
	case d.Technology == "bipolar" && d.DrawMA != nil:
		return fmt.Sprintf("%sbipolar inputs, %.2f mA each when low", before, *d.DrawMA)
	case d.Technology == "bipolar":
		return before + "bipolar inputs, which float high"
	case d.Technology != "":
		return before + d.Technology + " inputs, which follow 10 kΩ either way"
	}
	return ""
}

// elseWords name what else the chip may be.
func (d Document) elseWords() string {
	var words, sound []string
	for _, c := range d.Candidates[min(1, len(d.Candidates)):] {
		if len(c.Faults) > 0 {
			words = append(words, fmt.Sprintf("%s if %s", c.Part, c.Faults[0]))
			continue
		}
		sound = append(sound, c.Part)
	}
	if len(sound) > 0 {
		words = append([]string{d.differences(sound)}, words...)
	}
	return strings.Join(words, "; ")
}

func (d Document) dateWords() string {
	if d.DateCode == nil {
		return ""
	}
	return d.DateCode.String() + ", by the marking"
}

func (d Document) probedWords() string {
	if d.Steps == 0 {
		return ""
	}
	text := fmt.Sprintf("%d steps in %.2f s of the adapter", d.Steps, d.AdapterSeconds)
	switch {
	case d.Tests == 1:
		text += ", then its own test"
	case d.Tests > 1:
		text += fmt.Sprintf(", %d own tests", d.Tests)
	}
	return text
}

// Words say by what the part was found, for the record of the chip: "identified, marked
// 74??: 85 steps, bipolar inputs, 0.86 mA each when low".
func (d Document) Words() string {
	words := "identified without a marking"
	if d.Marking != "" {
		words = "identified, marked " + d.Marking
	}
	if d.Steps > 0 {
		words += fmt.Sprintf(": %d steps%s", d.Steps, d.inputWords(", "))
	}
	return words
}

// orWords lists alternatives: "74, 74H or 74S".
func orWords(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}

func pinList(pins []int) string {
	if len(pins) == 0 {
		return ""
	}
	var words []string
	for _, n := range pins {
		words = append(words, strconv.Itoa(n))
	}
	if len(words) > 1 {
		return "pins " + part.And(words)
	}
	return "pin " + words[0]
}
