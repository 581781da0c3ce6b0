package report

import (
	"cmp"
	_ "embed"
	"fmt"
	"io"
	"strings"
	"text/template"

	"chipassay/host/console"
)

// textWidth is how wide the report for the terminal is, in characters.
const textWidth = 80

// textFailures is how many failures the report for the terminal lists.
const textFailures = 8

//go:embed report.txt
var reportText string

// texts are what every report for the terminal is made of. What is written passes hang, clip
// or printable, so that nothing in it can move the terminal.
var texts = template.Must(template.New("texts").Funcs(template.FuncMap{
	"printable":     console.Printable,
	"clip":          console.Clip,
	"level":         SheetLevel,
	"marginMeaning": func() string { return MarginMeaning },
	"blocks": func(line string) string {
		return strings.NewReplacer("#", "█", ".", "·").Replace(console.Printable(line))
	},
	"hang": func(lead, text string) string { return strings.Join(console.Hang(lead, text, textWidth), "\n") + "\n" },
}).Parse(reportText))

// Text makes templates of a text and what every report for the terminal is made of:
// hang, printable, list and facts, and chip, which writes a Document.
func Text(text string) *template.Template {
	return template.Must(template.Must(texts.Clone()).Parse(text))
}

// ExecuteText writes a report for the terminal, which begins with the headline of a verdict.
func ExecuteText(w io.Writer, t *template.Template, name string, data any, headline string, colour bool) error {
	var b strings.Builder
	if err := t.ExecuteTemplate(&b, name, data); err != nil {
		return err
	}
	_, err := io.WriteString(w, paint(headline, colour)+strings.TrimPrefix(b.String(), headline))
	return err
}

// WriteText writes the whole report for the terminal: the verdict first, then the
// reasons, then the facts. Colour only marks the verdict.
func (d Document) WriteText(w io.Writer, colour bool) error {
	return ExecuteText(w, texts, "chip", d, d.Headline(), colour)
}

// FirstFailures are those that the report for the terminal lists.
func (d Document) FirstFailures() []Failure { return d.Failures[:min(len(d.Failures), textFailures)] }

// Line is the chip in one line: place, verdict, marking, date code with its
// year, and the reason. It is not cut to any width.
func (d Document) Line() string {
	return strings.TrimRight(console.Printable(fmt.Sprintf("%3s  %-13s  %-10s  %-12s  %s",
		d.Place, d.Headline(), d.Typed, d.DateCode.String(), d.Why())), " ")
}

// paint puts the terminal's colour round a verdict: green, yellow for a pass in part or with a but, red, or bold.
func paint(word string, colour bool) string {
	if !colour {
		return word
	}
	code := map[string]string{"PASS": "1;32", "PASS, in part": "1;33", "PASS, BUT": "1;33", "FAIL": "1;31"}[word]
	return "\x1b[" + cmp.Or(code, "1") + "m" + word + "\x1b[0m"
}

// SheetLevel is a level of IEEE 1364 as the data sheets' tables print it.
func SheetLevel(value string) string {
	return strings.NewReplacer("0", "L", "1", "H").Replace(strings.ToUpper(console.Printable(value)))
}
