package report

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"os"
	"strings"
	"unicode/utf8"
)

// textWidth is how wide the report for the terminal is, in characters.
const textWidth = 80

// textFailures is how many failures the report for the terminal lists.
const textFailures = 8

// labelWidth is how wide the labels of its facts are, in characters.
const labelWidth = 21

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

// WriteText writes the whole report for the terminal: the verdict first, then the
// reasons, then the facts. Colour only marks the verdict.
func (d Document) WriteText(w io.Writer, colour bool) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "%s  %s %s\n\n", paint(d.Headline(), colour), Printable(d.Type), Printable(d.Title))
	paragraph(b, "  ", Sentence(d.Reason))
	for _, f := range d.Found() {
		item(b, f)
	}
	d.writeFailures(b)
	if m := d.Memory; m != nil && m.Bitmap != nil {
		b.WriteString("\n")
		for _, line := range m.Bitmap.Lines {
			b.WriteString("  " + strings.NewReplacer("#", "█", ".", "·").Replace(Printable(line)) + "\n")
		}
		paragraph(b, "  ", m.Bitmap.Legend())
	}
	for _, facts := range [][]Fact{d.ChipFacts(), d.TestFacts(), d.OriginFacts()} {
		b.WriteByte('\n')
		for _, f := range facts {
			textFact(b, f)
		}
	}
	d.writeLevels(b)
	if len(d.Margins) > 0 {
		b.WriteString("\n  Drive margin\n")
		paragraph(b, "  ", MarginMeaning)
		for _, line := range d.MarginLines() {
			item(b, line)
		}
	}
	list(b, "Not tested", d.Sentences(d.NotTested))
	list(b, "Cautions", d.Sentences(d.Cautions))
	b.WriteString("\n  What the grades mean\n")
	for _, c := range d.GradeCriteria {
		label := c.Grade.String()
		if c.Grade == d.Grade {
			label += " (this chip)"
		}
		textFact(b, Fact{Label: label, Value: c.Asks})
	}
	textFact(b, Fact{Label: "tester's uncertainty", Value: d.TesterUncertainty})
	b.WriteByte('\n')
	paragraph(b, "  ", d.Caveat)
	return b.Flush()
}

// Line is the chip in one line: place, verdict, marking, date code with its
// year, and the reason. It is not cut to any width.
func (d Document) Line() string {
	return strings.TrimRight(Printable(fmt.Sprintf("%3s  %-13s  %-10s  %-12s  %s",
		d.Place, d.Headline(), d.Typed, d.DateCode, d.Why())), " ")
}

// paint puts the terminal's colour round a verdict: green, yellow for a pass in part or with a but, red, or bold.
func paint(word string, colour bool) string {
	if !colour {
		return word
	}
	code := map[string]string{"PASS": "1;32", "PASS, in part": "1;33", "PASS, BUT": "1;33", "FAIL": "1;31"}[word]
	return "\x1b[" + cmp.Or(code, "1") + "m" + word + "\x1b[0m"
}

func (d Document) writeFailures(b *bufio.Writer) {
	failures := d.Failures[:min(len(d.Failures), textFailures)]
	if len(failures) == 0 {
		return
	}
	b.WriteString("\n    step  pin       expected  seen  inputs\n")
	for _, f := range failures {
		fmt.Fprintf(b, "  %6d  %-8s  %-8s  %-4s  %s\n", f.Step, fmt.Sprintf("%d %s", f.Pin, Printable(f.Name)),
			sheetLevel(f.Expected), sheetLevel(f.Observed), Printable(f.Inputs))
	}
	if rest := d.FailureCount - len(failures); rest > 0 {
		fmt.Fprintf(b, "          and %d more\n", rest)
	}
}

// sheetLevel is a level of IEEE 1364 as the data sheets' tables print it.
func sheetLevel(value string) string {
	return strings.NewReplacer("0", "L", "1", "H").Replace(strings.ToUpper(Printable(value)))
}

// nameWidth is how wide a pin's name is in the table of levels, in characters.
const nameWidth = 8

// writeLevels writes the table of levels, the notes below it.
func (d Document) writeLevels(b *bufio.Writer) {
	groups, notes := d.LevelGroups(), d.LevelNotes()
	if len(groups)+len(notes) == 0 {
		return
	}
	b.WriteString("\n  Levels\n")
	if groups != nil {
		fmt.Fprintf(b, "    pin %*s  %17s  %-11s  %-12s  %s\n", nameWidth-1, "", "measured  ", "limit", "mA of rated", "standing")
	}
	for _, g := range groups {
		fmt.Fprintf(b, "  %s\n", g.Title)
		for _, r := range g.Rows {
			value := fmt.Sprintf("%14s %-2s", r.Measured, r.Unit)
			fmt.Fprintf(b, "    %2d %-*s  %s  %-11s  %-12s  %s\n", r.Pin, nameWidth, clip(Printable(r.Name), nameWidth),
				value, r.Max, cmp.Or(r.Load, "-"), Printable(r.Standing))
		}
	}
	for _, note := range notes {
		item(b, note)
	}
}

// clip cuts a text to a width in characters, and shows that it did.
func clip(text string, width int) string {
	if runes := []rune(text); len(runes) > width {
		return string(runes[:width-1]) + "…"
	}
	return text
}

func textFact(b *bufio.Writer, f Fact) {
	indent := strings.Repeat(" ", 2+labelWidth)
	lines := wrap(Printable(f.Value), textWidth-len(indent))
	if f.More != "" {
		lines = append(lines, wrap(Printable(f.More), textWidth-len(indent))...)
	}
	for i, line := range lines {
		if i == 0 {
			fmt.Fprintf(b, "  %-*s%s\n", labelWidth, f.Label, line)
		} else {
			fmt.Fprintf(b, "%s%s\n", indent, line)
		}
	}
}

func list(b *bufio.Writer, heading string, lines []string) {
	if len(lines) == 0 {
		return
	}
	fmt.Fprintf(b, "\n  %s\n", heading)
	for _, line := range lines {
		item(b, line)
	}
}

func item(b *bufio.Writer, text string) {
	for i, line := range wrap(Printable(text), textWidth-4) {
		lead := "  - "
		if i > 0 {
			lead = "    "
		}
		b.WriteString(lead + line + "\n")
	}
}

func paragraph(b *bufio.Writer, indent, text string) {
	for _, line := range wrap(Printable(text), textWidth-len(indent)) {
		b.WriteString(indent + line + "\n")
	}
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
	lines := []string{strings.TrimRight(line[:at], " ")}
	for _, rest := range wrap(line[at:], width-indent) {
		lines = append(lines, strings.Repeat(" ", indent)+rest)
	}
	return lines
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
