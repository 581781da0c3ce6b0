package handlist

import (
	"fmt"
	"regexp"
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
}

// Lines are the lines of a parts list.
func (t Table) Lines(c Columns) (list []Line) {
	for _, r := range t.Rows {
		l := Line{Line: r.Line, Part: c.of(r, Part), References: c.of(r, Reference), Left: set(c.of(r, Left))}
		if l.Part == "" || isSum(l.Part) {
			continue
		}
		l.Other = isOther(l.References)
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

// countOf is how many a cell says, or else how many references there are.
func countOf(cell, references string) (int, error) {
	if cell == "" {
		return max(1, referenceCount(references)), nil
	}
	words := strings.Fields(strings.ToLower(cell))
	number := strings.TrimSuffix(strings.TrimSuffix(words[0], "x"), "×")
	n, err := strconv.Atoi(number)
	if err != nil || n < 0 || n > mostCounted {
		return 0, fmt.Errorf("%q is not a number of chips, 0 to %d", cell, mostCounted)
	}
	return n, nil
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
// Source: IEEE 315 (reference designations) and KiCad's symbols, from memory.
var others = map[string]bool{
	"R": true, "RN": true, "RV": true, "RP": true, "RR": true, "C": true, "CP": true, "CV": true, "L": true, "FB": true, "D": true, "LED": true, "Q": true, "T": true, "TR": true,
	"J": true, "JP": true, "P": true, "CN": true, "CON": true, "K": true, "RL": true, "F": true, "Y": true, "X": true, "XT": true, "S": true, "SW": true, "BT": true, "LS": true, "SP": true,
	"TP": true, "H": true, "MK": true, "M": true, "FID": true, "LA": true, "DS": true, "TH": true, "W": true,
}

// isOther reports whether references are all of no integrated circuit.
func isOther(references string) bool {
	word, _, _ := strings.Cut(strings.TrimSpace(references), ",")
	end := strings.IndexFunc(word, func(c rune) bool { return c < 'A' || c > 'Z' && c < 'a' || c > 'z' })
	if end < 0 {
		end = len(word)
	}
	return others[strings.ToUpper(word[:end])]
}
