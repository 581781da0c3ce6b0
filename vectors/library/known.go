package library

import (
	_ "embed"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"

	"chipassay/vectors/part"
)

// An Alias is another name of a part: a maker's house number, or that of a standard.
type Alias struct {
	Number string // "9316"
	Of     string // the part, and its family where the name says which: "74161", "74LS161"
	Source string
}

// Part is the number of the part in the plain series, and the family that the name says; nil
// where it says none.
func (a Alias) Part() (number string, family *part.Family) {
	number, family, ok := part.SplitTypeName(a.Of)
	if !ok {
		number = a.Of
	}
	return number, family
}

// A Missing part is known by its number and is not defined.
type Missing struct {
	Number string // "75107", or a range of the same length: "10100..10231"
	Title  string
	Reason string // why it cannot be tested, or is not defined yet
}

func (m *Missing) Error() string {
	return fmt.Sprintf("%s, %s: %s", m.Number, m.Title, m.Reason)
}

var (
	//go:embed aliases.tsv
	aliasText string
	//go:embed missing.tsv
	missingText string
)

// table reads lines of three columns, divided by tabs; # begins a comment.
func table(text string) (rows [][3]string) {
	for line := range strings.Lines(text) {
		line = strings.TrimRight(line, "\n")
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		row := [3]string{}
		copy(row[:], strings.SplitN(line, "\t", 3))
		rows = append(rows, row)
	}
	return rows
}

var aliases = sync.OnceValue(func() map[string]Alias {
	all := map[string]Alias{}
	for _, row := range table(aliasText) {
		all[row[0]] = Alias{row[0], row[1], row[2]}
	}
	return all
})

var missing = sync.OnceValue(func() (all []Missing) {
	for _, row := range table(missingText) {
		all = append(all, Missing{row[0], row[1], row[2]})
	}
	return all
})

// Aliases are the other names of the built-in parts, in the order of the names.
func Aliases() []Alias {
	return slices.SortedFunc(maps.Values(aliases()), func(a, b Alias) int { return compareNumbers(a.Number, b.Number) })
}

// AliasOf finds what a number is another name of.
func AliasOf(number string) (Alias, bool) {
	a, ok := aliases()[number]
	return a, ok
}

// MissingParts are the parts that are known by number and not defined, in the order of the numbers.
func MissingParts() []Missing {
	return slices.SortedFunc(slices.Values(missing()), func(a, b Missing) int { return compareNumbers(a.Number, b.Number) })
}

// MissingPart finds why a number is not defined; nil where nothing is known of it.
func MissingPart(number string) *Missing {
	for _, m := range missing() {
		if m.has(number) {
			m.Number = number
			return &m
		}
	}
	return nil
}

func (m *Missing) has(number string) bool {
	from, to, isRange := strings.Cut(m.Number, "..")
	if !isRange {
		return number == from
	}
	n, err := strconv.Atoi(number)
	low, _ := strconv.Atoi(from)
	high, _ := strconv.Atoi(to)
	return err == nil && len(number) == len(from) && low <= n && n <= high
}
