package handlist

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// A Line is a line of a parts list.
type Line struct {
	Line       int // in the file
	Part       string
	Count      int
	References string
	Wrong      string // why it is not understood; empty where it is
	Left       bool   // the part is not fitted
	Other      bool   // by its reference no integrated circuit
	Diode      bool   // by its reference a diode, or an integrated circuit as German drawings name them
}

// Lines are the lines of a parts list.
func (t Table) Lines(c Columns) (list []Line) {
	for _, r := range t.Rows {
		l := Line{Line: r.Line, Part: c.of(r, Part), References: c.of(r, Reference), Left: set(c.of(r, Left))}
		if l.Part == "" || isSum(l.Part) {
			continue
		}
		l.Other = isOther(l.References)
		l.Diode = prefix(l.References) == "D"
		l.Other = l.Other || l.Diode && rectifier.MatchString(l.Part)
		var err error
		if l.Count, err = countOf(c.of(r, Count), l.References); err != nil {
			l.Wrong = err.Error()
		}
		list = append(list, l)
	}
	return list
}

// set reports whether a cell says yes.
func set(cell string) bool {
	switch strings.ToLower(cell) {
	case "", "0", "no", "false", "n":
		return false
	}
	return true
}

// mostCounted is the largest number in a cell that is believed.
const mostCounted = 10_000

// counted is a number of chips as people write it: 12, 12x, x12, 12 pcs, 12Stk., and 12,00 as a spreadsheet shows it.
var counted = regexp.MustCompile(`^(?:[x×] ?)?(\d+)(?:[.,]00?)?(?: ?[x×])?( .*|\p{L}.*)?$`)

// units are words for chips behind their number, in the languages of lists that are kept by hand (common practice).
var units = []string{"", "pc", "pcs", "pce", "piece", "pieces", "chip", "chips", "ic", "ics", "ea", "each", "off", "st", "stk", "stck", "stück", "szt", "sztuk", "sztuki", "pièce", "pièces"}

// countOf is how many a cell says, or else how many references there are. Words behind the number are left to remarkOf.
func countOf(cell, references string) (int, error) {
	if cell == "" {
		return max(1, referenceCount(references)), nil
	}
	m := counted.FindStringSubmatch(strings.ToLower(cell))
	if m != nil {
		if n, err := strconv.Atoi(m[1]); err == nil && n <= mostCounted {
			return n, nil
		}
	}
	return 0, fmt.Errorf("%q is not a number of chips, 0 to %d", cell, mostCounted)
}

// remarkOf is a cell that says more than a number of chips: "1 tube". It is empty for others, and where countOf fails.
func remarkOf(cell string) string {
	m := counted.FindStringSubmatch(strings.ToLower(cell))
	if m == nil || slices.Contains(units, strings.TrimRight(strings.TrimSpace(m[2]), ".")) {
		return ""
	}
	return cell
}

// span is a run of references: U3-U6.
var span = regexp.MustCompile(`^([A-Za-z]+)(\d+)-([A-Za-z]*)(\d+)$`)

// referenceCount counts references such as "U1, U2 U5-U7"; 0 for none.
func referenceCount(text string) (n int) {
	for word := range strings.FieldsFuncSeq(text, func(c rune) bool { return c == ',' || c == ';' || c == ' ' }) {
		n++
		if m := span.FindStringSubmatch(word); m != nil {
			from, err1 := strconv.Atoi(m[2])
			to, err2 := strconv.Atoi(m[4])
			if err1 == nil && err2 == nil && to >= from && to-from < mostCounted {
				n += to - from
			}
		}
	}
	return n
}

// others are the letters of references that are no integrated circuits: a resistor of the
// value 4700 is no counter.
//
// D is not among them: it is a diode in IEEE 315, and a binary element in DIN 40719 part 2 and IEC 60750.
//
// Source: IEEE 315 (reference designations), the two just named and KiCad's symbols, from memory.
var others = map[string]bool{
	"R": true, "RN": true, "RV": true, "RP": true, "RR": true, "C": true, "CP": true, "CV": true, "L": true, "FB": true, "LED": true, "Q": true, "T": true, "TR": true,
	"J": true, "JP": true, "P": true, "CN": true, "CON": true, "K": true, "RL": true, "F": true, "Y": true, "X": true, "XT": true, "S": true, "SW": true, "BT": true, "LS": true, "SP": true,
	"TP": true, "H": true, "MK": true, "M": true, "FID": true, "LA": true, "DS": true, "TH": true, "W": true,
}

// rectifier is a diode 1N4001 to 1N4007 as people shorten it (common practice): no gate of the 4000 series where a reference is
// a diode's.
var rectifier = regexp.MustCompile(`^400[1-7]$`)

// isOther reports whether references are all of no integrated circuit.
func isOther(references string) bool { return others[prefix(references)] }

// prefix is the letters of the first reference.
func prefix(references string) string {
	word, _, _ := strings.Cut(strings.TrimSpace(references), ",")
	end := strings.IndexFunc(word, func(c rune) bool { return c < 'A' || c > 'Z' && c < 'a' || c > 'z' })
	if end < 0 {
		end = len(word)
	}
	return strings.ToUpper(word[:end])
}
