package report

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"os"
	"strings"
	"unicode/utf8"

	"chipassay/vectors/stimulus"
)

// textWidth is how wide the report for the terminal is, in characters.
const textWidth = 80

// textFailures is how many failures the report for the terminal lists.
const textFailures = 8

// labelWidth is how wide the labels of its facts are, in characters.
const labelWidth = 21

// Colour tells whether a file wants colour: it is a terminal that knows it,
// and the person has not set NO_COLOR.
func Colour(f *os.File) bool {
	if os.Getenv("NO_COLOR") != "" || os.Getenv("TERM") == "" || os.Getenv("TERM") == "dumb" {
		return false
	}
	return Terminal(f)
}

// Terminal tells whether a file is one.
func Terminal(f *os.File) bool {
	stat, err := f.Stat()
	return err == nil && stat.Mode()&os.ModeCharDevice != 0
}

// WriteText writes the report of one chip for the terminal: the verdict first,
// then the reasons, then the facts. Colour only marks the verdict.
func (s Sheet) WriteText(w io.Writer, colour bool) error {
	b := bufio.NewWriter(w)
	r := s.Result
	fmt.Fprintf(b, "%s  %s\n\n", paint(s.Headline(), colour), Printable(r.Type.String()))
	paragraph(b, "  ", Sentence(r.Reason))
	for _, f := range s.sentences(r.Findings) {
		item(b, f)
	}
	s.writeFailures(b)
	s.writeBitmap(b)
	for _, facts := range [][]fact{s.chipFacts(), s.testFacts(), s.originFacts()} {
		b.WriteByte('\n')
		for _, f := range facts {
			textFact(b, f)
		}
	}
	s.writeLevels(b)
	s.writeMargins(b)
	list(b, "Not tested", s.sentences(r.NotTested))
	list(b, "Cautions", s.sentences(s.cautions()))
	s.writeCriteria(b)
	b.WriteByte('\n')
	paragraph(b, "  ", Caveat)
	return b.Flush()
}

// Line is the chip in one line: place, verdict, marking, date code with its
// year, and the reason. It is not cut to any width.
func (s Sheet) Line() string {
	return strings.TrimRight(Printable(fmt.Sprintf("%3s  %-13s  %-10s  %-12s  %s",
		s.Place, s.Headline(), cmp.Or(s.Typed, s.Result.Type.Name()), s.dateYear(), s.Result.Reason)), " ")
}

// paint puts the terminal's colour round a verdict: green, yellow for a pass in part, red, or bold.
func paint(word string, colour bool) string {
	if !colour {
		return word
	}
	code := map[string]string{"PASS": "1;32", "PASS, in part": "1;33", "FAIL": "1;31"}[word]
	return "\x1b[" + cmp.Or(code, "1") + "m" + word + "\x1b[0m"
}

func (s Sheet) writeFailures(b *bufio.Writer) {
	failures := s.Result.Failures[:min(len(s.Result.Failures), textFailures)]
	if len(failures) == 0 {
		return
	}
	b.WriteString("\n    step  pin       expected  seen  inputs\n")
	for _, f := range failures {
		pin := fmt.Sprintf("%d %s", f.Pin, pinName(s.Result.Type.Variant, f.Pin))
		fmt.Fprintf(b, "  %6d  %-8s  %-8s  %-4s  %s\n", f.Step, pin,
			stimulus.Sheet(f.Expected), stimulus.Sheet(f.Observed), Printable(f.Inputs))
	}
	if rest := s.Result.FailureCount - len(failures); rest > 0 {
		fmt.Fprintf(b, "          and %d more\n", rest)
	}
}

// writeBitmap shows where in the array of a memory reads were wrong.
func (s Sheet) writeBitmap(b *bufio.Writer) {
	m := bitmapOf(s)
	if m == nil {
		return
	}
	b.WriteString("\n")
	for _, line := range m.lines() {
		b.WriteString("  " + line + "\n")
	}
	paragraph(b, "  ", m.Legend())
}

func textFact(b *bufio.Writer, f fact) {
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
