package report

import (
	"cmp"
	_ "embed"
	"fmt"
	"io"
	"os"
	"strings"
	"text/template"
	"unicode/utf8"
)

// textWidth is how wide the report for the terminal is, in characters.
const textWidth = 80

// textFailures is how many failures the report for the terminal lists.
const textFailures = 8

// Colour reports whether output to a file should be coloured: it is a terminal that knows it,
// and the person has not set NO_COLOR.
func Colour(f *os.File) bool {
	if os.Getenv("NO_COLOR") != "" || os.Getenv("TERM") == "" || os.Getenv("TERM") == "dumb" {
		return false
	}
	return Terminal(f)
}

// Terminal reports whether a file is one.
func Terminal(f *os.File) bool {
	stat, err := f.Stat()
	return err == nil && stat.Mode()&os.ModeCharDevice != 0
}

//go:embed report.txt
var reportText string

// texts are what every report for the terminal is made of. What is written passes hang, clip
// or printable, so that nothing in it can move the terminal.
var texts = template.Must(template.New("texts").Funcs(template.FuncMap{
	"printable":     Printable,
	"clip":          clip,
	"level":         SheetLevel,
	"marginMeaning": func() string { return MarginMeaning },
	"blocks":        func(line string) string { return strings.NewReplacer("#", "█", ".", "·").Replace(Printable(line)) },
	"hang":          func(lead, text string) string { return strings.Join(hang(lead, text, textWidth), "\n") + "\n" },
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
	return strings.TrimRight(Printable(fmt.Sprintf("%3s  %-13s  %-10s  %-12s  %s",
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
	return strings.NewReplacer("0", "L", "1", "H").Replace(strings.ToUpper(Printable(value)))
}

// clip cuts a text to a width in characters, and shows that it did.
func clip(text string, width int) string {
	text = Printable(text)
	if runes := []rune(text); len(runes) > width {
		return string(runes[:width-1]) + "…"
	}
	return text
}

// hang wraps a text behind a lead, under which its other lines begin.
func hang(lead, text string, width int) []string {
	wide := utf8.RuneCountInString(lead)
	lines := wrap(Printable(text), width-wide)
	for i, line := range lines {
		lines[i] = Printable(lead) + line
		lead = strings.Repeat(" ", wide)
	}
	return lines
}

// Wrapped is a line of a terminal in as many as it takes, broken between words at so
// many characters; those after the first are indented.
func Wrapped(line string, indent, width int) []string {
	if utf8.RuneCountInString(line) <= width {
		return []string{line}
	}
	at := strings.LastIndexByte(line[:min(len(line), width)], ' ')
	if at <= indent {
		return []string{line}
	}
	return append([]string{strings.TrimRight(line[:at], " ")}, hang(strings.Repeat(" ", indent), line[at:], width)...)
}

// wrap breaks a text between words into lines of at most width characters; a
// longer word has a line of its own.
func wrap(text string, width int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		switch {
		case line == "":
			line = word
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width:
			lines = append(lines, line)
			line = word
		default:
			line += " " + word
		}
	}
	return append(lines, line)
}
