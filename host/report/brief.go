package report

import (
	"fmt"
	"io"
	"strings"

	"chipassay/host/console"
	"chipassay/host/verdict"
)

// briefLines is how many lines the brief report has at most; a terminal of 24 shows it
// whole.
const briefLines = 10

// briefLabel is how wide its labels are, in characters.
const briefLabel = 12

// A Brief is what a person at the bench reads first: at most ten lines of 80 columns, the last
// of them the verdict with its reason.
type Brief struct {
	What     string // the chip; may be empty
	Headline string // the verdict
	Grade    verdict.Grade
	Why      string
	Found    []string // a line each
	Facts    []Fact   // the most important first
	Last     Fact     // in any case, where it has a value
}

// Write writes it. Colour only marks the verdict.
func (b Brief) Write(w io.Writer, colour bool) error {
	if b.Grade != verdict.None {
		b.Headline += ", " + b.Grade.String()
	}
	var lines []string
	if b.What != "" {
		lines = append(lines, console.Clip(b.What, textWidth))
	}
	why := console.Wrap(b.Why, textWidth-len(b.Headline)-4)
	if len(why) > 1 {
		why[0] += " …"
		lines = append(lines, brief("", Sentence(b.Why), 3)...)
	}
	for _, f := range b.Found {
		lines = append(lines, brief("", f, 1)...)
	}
	for _, f := range b.Facts {
		lines = append(lines, brief(f.Label, f.Value, 2)...)
	}
	var last []string
	if b.Last.Value != "" {
		last = brief(b.Last.Label, b.Last.Value, 1)
	}
	if most := briefLines - 1 - len(last); len(lines) > most {
		lines = append(lines[:most-1], strings.TrimSuffix(lines[most-1], " …")+" …")
	}
	lines = append(lines, last...)
	_, err := fmt.Fprintln(w, strings.Join(append(lines, paint(b.Headline, colour)+"  "+why[0]), "\n"))
	return err
}

// brief is a text with a label on so many lines at most.
func brief(label, text string, most int) []string {
	lines := console.Hang(fmt.Sprintf("%-*s", briefLabel, label), text, textWidth-2)
	if len(lines) > most {
		lines = append(lines[:most-1], lines[most-1]+" …")
	}
	return lines
}

// WriteBrief writes the report of one chip in at most ten lines of 80 columns, the last of
// them the verdict with its reason.
func (d Document) WriteBrief(w io.Writer, colour bool) error {
	b := Brief{What: fmt.Sprintf("%s %s, %s", d.Type, d.Title, d.FamilyTitle), Headline: d.Headline(),
		Why:   strings.TrimPrefix(d.Why(), "in part: "), // the headline says so
		Found: d.Short(), Facts: d.BriefFacts(), Last: Fact{Label: "More", Value: "--full adds all levels, wrong readings and what was not tested"}}
	if d.DateCode != nil {
		b.What = fmt.Sprintf("%s %s, date code %s", d.Type, d.Title, d.DateCode.String())
	}
	if d.Verdict == verdict.Pass && len(d.Tied) == 0 {
		b.Grade = d.Grade
	}
	return b.Write(w, colour)
}

// Short are the first of what was found, besides what the verdict says: of another part than
// was typed one line, for what its pins do says nothing of it.
func (d Document) Short() []string {
	found, most := d.Found(), 3
	if len(d.OtherPart) > 0 {
		most = 1
	}
	return found[:min(len(found), most)]
}

// BriefFacts are what a person at the bench wants to know besides the verdict, the most
// important first.
func (d Document) BriefFacts() []Fact {
	var levels []string
	for _, g := range d.LevelGroups() {
		levels = append(levels, g.Worst.Short)
	}
	why, family := strings.Join(d.GradeReasons, "; "), d.FamilyCheck
	if len(d.But) > 0 { // the verdict's line says them
		why, family = "", ""
	}
	if len(d.OtherPart) > 0 || d.FailureCount > 0 && len(d.GradeReasons) == 1 { // the wrong vectors, or the wrong part
		why = ""
	}
	doubt := ""
	if d.Grade == verdict.Doubtful { // the first thing to ask
		doubt, why = why, ""
	}
	return Known(append(d.resultFacts(),
		Fact{Label: "Why", Value: doubt},
		d.timingFact(),
		Fact{Label: "Family", Value: family},
		Fact{Label: "Levels", Value: strings.Join(levels, ", ")},
		d.thresholdFact(),
		Fact{Label: "Supply", Value: d.supplyWords()},
		Fact{Label: "Why", Value: why},
		Fact{Label: "Unmeasured", Value: strings.Join(d.LevelsUnmeasured, "; ")},
		Fact{Label: "Caution", Value: strings.Join(d.Cautions, "; ")},
	)...)
}
