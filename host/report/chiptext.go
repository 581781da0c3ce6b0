package report

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
)

// WriteText writes a report that was kept for the terminal: as Sheet.WriteText,
// but for what a report does not keep in words.
func (c Chip) WriteText(w io.Writer, colour bool) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "%s  %s %s\n\n", paint(c.Headline(), colour), Printable(c.Type), Printable(c.Title))
	paragraph(b, "  ", Sentence(c.Reason))
	for _, f := range c.Findings {
		if f != c.Reason {
			item(b, Sentence(f))
		}
	}
	b.WriteByte('\n')
	for _, f := range c.facts() {
		textFact(b, f)
	}
	var levels []string
	for _, l := range c.Levels {
		levels = append(levels, l.String())
	}
	list(b, "Levels", levels)
	list(b, "Not tested", slices.Concat(c.NotTested, c.LevelsUnmeasured))
	list(b, "Cautions", c.Cautions)
	b.WriteByte('\n')
	paragraph(b, "  ", c.Caveat)
	return b.Flush()
}

// facts are the lines of a kept report.
func (c Chip) facts() []fact {
	facts := []fact{
		{Label: "Vectors", Value: VectorWords(c.VectorsApplied, c.VectorsPlanned, c.Rounds), More: c.Method},
		{Label: "Wrong readings", Value: fmt.Sprint(c.FailureCount)},
	}
	if c.Comparison != "" {
		facts = append(facts, fact{Label: "Compared", Value: c.Comparison})
	}
	for _, line := range c.Coverage.Lines() {
		facts = append(facts, fact{Label: line[0], Value: line[1]})
	}
	if len(c.Partial) > 0 {
		facts = append(facts, fact{Label: "Pins not tested", Value: strings.Trim(fmt.Sprint(c.Partial), "[]")})
	}
	if len(c.PinsFailed) > 0 {
		facts = append(facts, fact{Label: "Pins that failed", Value: strings.Trim(fmt.Sprint(c.PinsFailed), "[]")})
	}
	if d := c.DateCode; d != nil {
		facts = append(facts, fact{Label: "Date code", Value: fmt.Sprintf("%s: %s to %s", d.Raw, d.From, d.To), More: d.Rule})
	}
	if c.SupplyCurrentMA != nil {
		facts = append(facts, fact{Label: "Supply current", Value: fmt.Sprintf("%.1f mA", *c.SupplyCurrentMA)})
	}
	if c.SupplyVolts != nil {
		facts = append(facts, fact{Label: "Supply at the chip", Value: fmt.Sprintf("%.2f V", *c.SupplyVolts)})
	}
	if c.Grade != "" {
		facts = append(facts, fact{Label: "Grade", Value: c.Grade, More: strings.Join(c.GradeReasons, "; ")})
	}
	return append(facts,
		fact{Label: "Tested", Value: fmt.Sprintf("%s, in %s", c.Started, durationWords(time.Duration(c.DurationMS*float64(time.Millisecond))))},
		fact{Label: "Adapter", Value: cmp.Or(c.Adapter, "none"), More: "firmware " + cmp.Or(c.Firmware, "none")},
		fact{Label: "Definition", Value: c.Definition},
		fact{Label: "Definition SHA-256", Value: c.DefinitionSHA256, Mono: true},
		fact{Label: "Vectors SHA-256", Value: cmp.Or(c.VectorsSHA256, "none"), Mono: true},
	)
}

// String is a reading in a line: "pin 3 (1Y) VOL 0.21 ± 0.02 V, limit 0.40 V at most, well inside".
func (l Level) String() string {
	text := fmt.Sprintf("pin %d (%s) %s %.3g ± %.2g %s", l.Pin, l.Name, l.Quantity, l.Value, l.Uncertainty, l.Unit)
	if l.Limit != nil {
		text += fmt.Sprintf(", limit %.3g %s %s", *l.Limit, l.Unit, map[string]string{"max": "at most", "min": "at least"}[l.Bound])
	}
	if l.LoadMA != nil && l.RatedMA != nil {
		text += fmt.Sprintf(" at %.2f of rated %g mA", *l.LoadMA, *l.RatedMA)
	}
	return text + ", " + l.Standing
}
