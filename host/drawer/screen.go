package drawer

import (
	"fmt"
	"io"
	"strings"
	"time"

	"chipassay/host/assay"
	"chipassay/host/console"
	"chipassay/host/report"
)

// A Screen shows how the run goes: on a terminal with a verdict in letters that
// can be read from two metres, and with the tally and what is waited for always in
// its last lines; elsewhere in plain lines.
type Screen struct {
	W      io.Writer
	Large  bool // a terminal: large letters
	Colour bool
	Bell   bool                       // one for a pass, two for what is not tested, three for a fail, four for a pass with a but
	Size   func() (columns, rows int) // of a terminal that moves its cursor; nil or 0 for none

	area area
}

// bellGap is how far apart bells are, so that a person counts them.
const bellGap = 250 * time.Millisecond

// indent is that of a line on a terminal that goes on from the one before.
const indent = 5

// Say prints a text, on a terminal in lines that break between words.
func (s *Screen) Say(text string) {
	for line := range strings.Lines(text) {
		line = console.Printable(strings.TrimSuffix(line, "\n"))
		if s.Large {
			line = strings.Join(console.Fold(line, indent, s.columns()), "\n")
		}
		fmt.Fprintln(s.W, line)
	}
}

// usual is how many columns a terminal has that does not report them.
const usual = 80

// columns is how wide lines may be.
func (s *Screen) columns() int {
	if s.Size != nil {
		if columns, _ := s.Size(); columns > 0 {
			return min(columns, usual)
		}
	}
	return usual
}

// Show shows the tally and what is waited for in the last lines of a terminal, or says
// what is new where they cannot stand there.
func (s *Screen) Show(now Standing) {
	if !s.draw(now.Tally, now.Awaits) && s.Large && now.News {
		s.Say(now.Awaits)
	}
}

// Verdict shows a verdict, and what was recorded.
func (s *Screen) Verdict(sheet report.Document, written string) {
	v := sheet.Verdict
	if s.Large {
		fmt.Fprint(s.W, "\n", large(v, len(sheet.Partial) > 0, s.Colour, s.columns()), "\n")
	}
	s.Say(sheet.Line())
	s.Say("     " + written)
	if s.Bell {
		s.ring(v)
	}
}

// ring rings so often that the verdict can be heard.
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
	'D': {"####.", "#...#", "#...#", "#...#", "#...#", "#...#", "####."},
	'E': {"#####", "#....", "#....", "####.", "#....", "#....", "#####"},
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

// large is a verdict in letters of seven lines, two columns a dot, or one where the
// terminal is narrow. Its second word stands below. Empty where not even that has room.
func large(v assay.Verdict, inPart, colour bool, columns int) string {
	words, code := []string{"NOT", "TESTED"}, "1;7"
	switch {
	case v == assay.PassBut:
		words, code = []string{"PASS", "BUT"}, "1;30;43"
	case v == assay.Pass && inPart:
		words, code = []string{"PASS", "PART"}, "1;30;43"
	case v == assay.Pass:
		words, code = []string{"PASS"}, "1;30;42"
	case v == assay.Fail:
		words, code = []string{"FAIL"}, "1;37;41"
	}
	longest := 0
	for _, w := range words {
		longest = max(longest, len(w))
	}
	dot := 2
	width := func() int { return 2 + longest*(letterDots*dot+gap) - gap }
	if width() > columns {
		dot = 1
	}
	if width() > columns {
		return ""
	}
	var list []string
	for _, w := range words {
		list = append(list, word(w, code, colour, dot, width()))
	}
	return strings.Join(list, "\n")
}

// A letter is so many dots wide, and so many columns from the next.
const (
	letterDots = 5
	gap        = 3
)

// word is a word in large letters, dot columns a dot, on a ground of a width in colour.
func word(text, code string, colour bool, dot, width int) string {
	var b strings.Builder
	for row := range 7 {
		line := "  "
		for i, c := range text {
			if i > 0 {
				line += strings.Repeat(" ", gap)
			}
			for _, d := range letters[c][row] {
				line += strings.Repeat(map[bool]string{true: "#", false: " "}[d == '#'], dot)
			}
		}
		if colour {
			line = fmt.Sprintf("\x1b[%sm%-*s\x1b[0m", code, width, line)
		} else {
			line = strings.TrimRight(line, " ")
		}
		b.WriteString(line + "\n")
	}
	return b.String()
}
