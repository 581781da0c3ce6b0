package virtual

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"time"

	"chipassay/host/marking"
	"chipassay/vectors/part"
)

// A Place is one chip of a tray, as it is marked and as it really is.
type Place struct {
	Marking  string // the part as marked: "74LS00"
	DateCode string // or empty; "-" for none if the previous one is kept
	Note     string
	Before   []string // what the operator types before the chip is seated
	After    []string // and after its test
	Chip     *Chip    // what is really seated
}

// ParseTray reads a tray: one line for each chip with its marking, then any of date CODE,
// chip PART (what it really is), defect "TEXT" and note "TEXT", and, for a run with an
// operator, before "COMMAND" and after "COMMAND".
//
//	7410  date 7938
//	7400  date 7806  defect "2 open"  note "from the yard's point machine"
//	7402  after "retest"
//	74??  chip 7404
//
// Find gives the type for what is typed. Text after # is a comment. Errors name the line.
func ParseTray(r io.Reader, find func(typed string) (part.Type, error)) ([]Place, error) {
	var places []Place
	lines := bufio.NewScanner(r)
	for number := 1; lines.Scan(); number++ {
		words, err := words(lines.Text())
		if err != nil {
			return nil, fmt.Errorf("tray, line %d: %w", number, err)
		}
		if len(words) == 0 {
			continue
		}
		p, err := place(words, find)
		if err != nil {
			return nil, fmt.Errorf("tray, line %d: %w", number, err)
		}
		places = append(places, p)
	}
	return places, lines.Err()
}

// words splits a line at blanks, quoted text staying together, up to a #.
func words(line string) ([]string, error) {
	var words []string
	for {
		line = strings.TrimLeft(line, " \t\r")
		if line == "" || line[0] == '#' {
			return words, nil
		}
		if line[0] != '"' {
			end := strings.IndexAny(line, " \t\r")
			if end < 0 {
				end = len(line)
			}
			words, line = append(words, line[:end]), line[end:]
			continue
		}
		text, rest, closed := strings.Cut(line[1:], `"`)
		if !closed {
			return nil, fmt.Errorf("the text %q has no closing quote", text)
		}
		words, line = append(words, text), rest
	}
}

func place(words []string, find func(string) (part.Type, error)) (Place, error) {
	p := Place{Marking: words[0]}
	really := words[0]
	var defects []Defect
	for rest := words[1:]; len(rest) > 0; rest = rest[2:] {
		if len(rest) < 2 {
			return p, fmt.Errorf("%q has nothing after it", rest[0])
		}
		switch rest[0] {
		case "date":
			p.DateCode = rest[1]
			if err := checkDate(p.DateCode); err != nil {
				return p, err
			}
		case "note":
			p.Note = rest[1]
		case "before":
			p.Before = append(p.Before, rest[1])
		case "after":
			p.After = append(p.After, rest[1])
		case "chip":
			really = rest[1]
		case "defect":
			d, err := ParseDefect(rest[1])
			if err != nil {
				return p, err
			}
			defects = append(defects, d)
		default:
			return p, fmt.Errorf("%q is none of date, chip, defect, note, before, after", rest[0])
		}
	}
	if strings.Contains(really, "?") {
		return p, fmt.Errorf("%s: say what it really is: %s chip 7400", really, really)
	}
	typ, err := find(really)
	if err != nil {
		return p, err
	}
	p.Chip, err = NewChip(typ, defects...)
	return p, err
}

// checkDate refuses a date code that no chip can have.
func checkDate(code string) error {
	if code == "-" {
		return nil
	}
	_, err := marking.ReadDateCode(code, 0, time.Now())
	return err
}
