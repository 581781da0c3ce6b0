package drawer

import (
	"fmt"
	"io"
	"strings"
	"time"

	"chipassay/host/assay"
	"chipassay/host/report"
)

// A Screen shows how the run goes: on a terminal with a verdict in letters that
// can be read from two metres, elsewhere in plain lines.
type Screen struct {
	W      io.Writer
	Large  bool // a terminal: large letters
	Colour bool
	Bell   bool // one for a pass, two for what is not tested, three for a fail, four for a pass with a but
}

// bellGap is how far apart bells are, so that a person counts them.
const bellGap = 250 * time.Millisecond

// indent is that of a line on a terminal that goes on from the one before.
const indent = 5

// say says something, on a terminal in lines that break between words.
func (s *Screen) say(format string, args ...any) {
	for line := range strings.Lines(fmt.Sprintf(format, args...)) {
		line = report.Printable(strings.TrimSuffix(line, "\n"))
		if s.Large {
			line = strings.Join(report.Wrapped(line, indent), "\n")
		}
		fmt.Fprintln(s.W, line)
	}
}

// ready says on a terminal what is waited for.
func (s *Screen) ready(r *Run) {
	if !s.Large {
		return
	}
	date := ""
	if r.next.date != nil {
		date = ", date code " + r.next.date.Raw
	}
	s.say("ready for chip %d: %s%s", len(r.sheets)+1, r.typ.Name(), date)
}

// testing says on a terminal that the chip is being tested: leave it alone.
func (s *Screen) testing() {
	if s.Large {
		s.say("testing")
	}
}

// verdict shows a verdict, and what was written down.
func (s *Screen) verdict(sheet report.Document, written string) {
	v := sheet.Verdict
	if s.Large {
		fmt.Fprint(s.W, "\n", large(v, len(sheet.Partial) > 0, s.Colour), "\n")
	}
	s.say("%s", sheet.Line())
	s.say("     %s", written)
	if s.Bell {
		s.ring(v)
	}
}

// ring rings so often that the verdict can be told by ear.
func (s *Screen) ring(v assay.Verdict) {
	times := map[assay.Verdict]int{assay.Pass: 1, assay.Fail: 3, assay.PassBut: 4}[v]
	if times == 0 {
		times = 2
	}
	for i := range times {
		if i > 0 && s.Large {
			time.Sleep(bellGap)
		}
		fmt.Fprint(s.W, "\a")
	}
}

// letters are those of the verdicts, seven rows of five.
var letters = map[rune][7]string{
	'P': {"####.", "#...#", "#...#", "####.", "#....", "#....", "#...."},
	'A': {".###.", "#...#", "#...#", "#####", "#...#", "#...#", "#...#"},
	'R': {"####.", "#...#", "#...#", "####.", "#.#..", "#..#.", "#...#"},
	'S': {".####", "#....", "#....", ".###.", "....#", "....#", "####."},
	'B': {"####.", "#...#", "#...#", "####.", "#...#", "#...#", "####."},
	'U': {"#...#", "#...#", "#...#", "#...#", "#...#", "#...#", ".###."},
	'F': {"#####", "#....", "#....", "####.", "#....", "#....", "#...."},
	'I': {"#####", "..#..", "..#..", "..#..", "..#..", "..#..", "#####"},
	'L': {"#....", "#....", "#....", "#....", "#....", "#....", "#####"},
	'N': {"#...#", "##..#", "#.#.#", "#.#.#", "#..##", "#...#", "#...#"},
	'O': {".###.", "#...#", "#...#", "#...#", "#...#", "#...#", ".###."},
	'T': {"#####", "..#..", "..#..", "..#..", "..#..", "..#..", "..#.."},
}

// large is a verdict in letters of seven lines, two columns a dot. What is not
// tested says "NOT": two words would be too wide for 80 columns. A pass in part has
// its second word below.
func large(v assay.Verdict, inPart, colour bool) string {
	switch {
	case v == assay.PassBut:
		return word("PASS", "1;30;43", colour) + "\n" + word("BUT", "1;30;43", colour)
	case v == assay.Pass && inPart:
		return word("PASS", "1;30;43", colour) + "\n" + word("PART", "1;30;43", colour)
	case v == assay.Pass:
		return word("PASS", "1;30;42", colour)
	case v == assay.Fail:
		return word("FAIL", "1;37;41", colour)
	}
	return word("NOT", "1;7", colour)
}

// word is a word in large letters, in a terminal's colour.
func word(text, code string, colour bool) string {
	var b strings.Builder
	for row := range 7 {
		line := "  "
		for _, c := range text {
			for _, dot := range letters[c][row] {
				if dot == '#' {
					line += "##"
				} else {
					line += "  "
				}
			}
			line += "   "
		}
		line = fmt.Sprintf("%-56s", line)
		if colour {
			line = "\x1b[" + code + "m" + line + "\x1b[0m"
		} else {
			line = strings.TrimRight(line, " ")
		}
		b.WriteString(line + "\n")
	}
	return b.String()
}
