package virtual

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"chipassay/host/adapter"
)

// A Defect is something physically wrong with the chip or with how it was put
// in. Pin and Other are chip pin numbers, 0 where the kind has none.
type Defect struct {
	Kind       DefectKind
	Pin, Other int
}

// A DefectKind says what is wrong.
type DefectKind uint8

// The kinds of defects.
const (
	StuckLow DefectKind = iota
	StuckHigh
	OpenBond
	Shorted
	Reversed
	Empty
)

// forms are the texts of the defects, indexed by kind; N and M stand for pin numbers.
var forms = [...]struct{ text, meaning string }{
	StuckLow:  {"N stuck low", "an output N is pulled to ground, or the die takes input N as low"},
	StuckHigh: {"N stuck high", "an output N is pulled to the supply, or the die takes input N as high"},
	OpenBond:  {"N open", "the bond wire of pin N is broken"},
	Shorted:   {"N shorted to M", "pins N and M touch"},
	Reversed:  {"reversed", "the chip is put in turned by 180 degrees"},
	Empty:     {"empty", "there is no chip in the socket"},
}

// ErrDefect is the error of a text that says no defect.
var ErrDefect = errors.New("not a defect")

// ParseDefect reads the text of a defect, such as "12 stuck low" or "8 shorted
// to 9". Its error, an ErrDefect, lists the forms.
func ParseDefect(text string) (Defect, error) {
	words := strings.Fields(strings.ToLower(text))
	for kind, form := range forms {
		pins, ok := match(strings.Fields(form.text), words)
		if !ok {
			continue
		}
		d := Defect{DefectKind(kind), pins[0], pins[1]}
		for _, word := range words {
			if n, err := strconv.Atoi(word); err == nil && (n < 1 || n > adapter.Positions) {
				return Defect{}, fmt.Errorf("%w: %q: pins count from 1 to %d", ErrDefect, text, adapter.Positions)
			}
		}
		if d.Kind == Shorted && d.Pin == d.Other {
			return Defect{}, fmt.Errorf("%w: %q: a pin cannot be shorted to itself", ErrDefect, text)
		}
		return d, nil
	}
	return Defect{}, fmt.Errorf("%w: %q; the forms are\n%s", ErrDefect, text, DefectForms())
}

// match compares words with a form and gives the numbers at N and M.
func match(form, words []string) (pins [2]int, ok bool) {
	if len(form) != len(words) {
		return pins, false
	}
	for i, word := range words {
		switch form[i] {
		case "N", "M":
			n, err := strconv.Atoi(word)
			if err != nil {
				return pins, false
			}
			pins[strings.Index("NM", form[i])] = n
		case word:
		default:
			return pins, false
		}
	}
	return pins, true
}

// DefectForms lists what ParseDefect reads, a line a form, N and M standing for pin numbers.
func DefectForms() string {
	var b strings.Builder
	for _, f := range forms {
		fmt.Fprintf(&b, "  %-15s %s\n", f.text, f.meaning)
	}
	return strings.TrimRight(b.String(), "\n")
}

func (d Defect) String() string {
	return strings.NewReplacer("N", strconv.Itoa(d.Pin), "M", strconv.Itoa(d.Other)).Replace(forms[d.Kind].text)
}
