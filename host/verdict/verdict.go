// Package verdict holds the verdicts and grades of an assay, in the words of files
// ("pass-but") and in those of a heading ("PASS, BUT").
package verdict

import (
	"slices"
	"strings"
)

// A Verdict is the outcome of an assay, as files and other programs have it.
type Verdict string

// The verdicts.
const (
	Pass      Verdict = "pass"
	PassBut   Verdict = "pass-but" // every vector was right, and something else is wrong
	Fail      Verdict = "fail"
	NotTested Verdict = "not-tested" // could not be tested, or not to the end
)

// All are the verdicts, best first.
var All = []Verdict{Pass, PassBut, Fail, NotTested}

// Known reports whether a verdict is one of All.
func (v Verdict) Known() bool { return slices.Contains(All, v) }

// Passed reports whether every vector was right, whatever else is wrong.
func (v Verdict) Passed() bool { return v == Pass || v == PassBut }

// OrNotTested is the verdict, if it is one of All: what is not known to be one is not tested.
func (v Verdict) OrNotTested() Verdict {
	if v.Known() {
		return v
	}
	return NotTested
}

// Class is the verdict as a class of pages and style sheets.
func (v Verdict) Class() string { return string(v.OrNotTested()) }

// String is the verdict within a sentence. What is not known to be another is not tested.
func (v Verdict) String() string {
	switch v {
	case Pass, Fail:
		return string(v)
	case PassBut:
		return "pass, but"
	}
	return "not tested"
}

// Heading is the verdict as a heading, of a chip of which only some pins were tested or
// of a whole one.
func (v Verdict) Heading(inPart bool) string {
	switch {
	case v == Pass && inPart:
		return "PASS, in part"
	case v == Pass:
		return "PASS"
	case v == PassBut:
		return "PASS, BUT"
	case v == Fail:
		return "FAIL"
	}
	return "NOT TESTED"
}

// A Grade is what a buyer may rely on. It judges the chip, and never the adapter.
type Grade string

// The grades, best first.
const (
	Strong       Grade = "strong"
	Sound        Grade = "sound"
	FunctionOnly Grade = "function-only"
	Doubtful     Grade = "doubtful"
	Reject       Grade = "reject"
	None         Grade = "" // not tested
)

// Grades are all of them, best first.
var Grades = []Grade{Strong, Sound, FunctionOnly, Doubtful, Reject, None}

// Known reports whether a grade is one of Grades.
func (g Grade) Known() bool { return slices.Contains(Grades, g) }

// Rank is the place of a grade in Grades: 0 is the best. One that is not known ranks last.
func (g Grade) Rank() int {
	if i := slices.Index(Grades, g); i >= 0 {
		return i
	}
	return len(Grades)
}

// String is the grade for a person; empty for None.
func (g Grade) String() string {
	if g == FunctionOnly {
		return "function only"
	}
	return string(g)
}

// List joins verdicts or grades as files have them: "pass, pass-but, fail, not-tested".
func List[W ~string](words []W) string {
	var list []string
	for _, w := range words {
		list = append(list, string(w))
	}
	return strings.Join(list, ", ")
}

// A Criterion is a grade and what it asks for.
type Criterion struct {
	Grade Grade  `json:"grade"`
	Asks  string `json:"asks"`
}

// Criteria are the grades and what they ask for, for every report.
var Criteria = []Criterion{
	{Strong, "every vector right, and every output level, at its rated load, and input current inside its data-sheet limit by a tenth of the limit plus the tester's uncertainty"},
	{Sound, "every vector right, and every level inside its limit by the tester's uncertainty"},
	{FunctionOnly, "every vector right; the levels, or some of the outputs', could not be measured here"},
	{Doubtful, "every vector right, but a level is outside its limit, or too near it for the tester to judge, or the chip is not of the marked family, or was tested for one use only"},
	{Reject, "a vector is wrong"},
}
