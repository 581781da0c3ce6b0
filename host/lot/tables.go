package lot

import (
	"embed"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// The tables are kept as the standard prints them, to be checked by eye.
//
//go:embed tables
var printed embed.FS

// A sizeRange is a row of Table 1: the code letter of each level for lots of
// from to to chips.
type sizeRange struct {
	from, to int
	letters  []string
}

var codeLetters = sync.OnceValue(func() []sizeRange {
	var ranges []sizeRange
	for _, fields := range rows("tables/1.txt")[1:] {
		r := sizeRange{from: number(fields[0]), to: math.MaxInt, letters: fields[2:]}
		if fields[1] != "-" {
			r.to = number(fields[1])
		}
		ranges = append(ranges, r)
	}
	return ranges
})

// codeLetter is the letter of a lot of size chips in a column of Table 1.
func codeLetter(size, column int) string {
	for _, r := range codeLetters() {
		if r.from <= size && size <= r.to {
			return r.letters[column]
		}
	}
	panic(fmt.Sprintf("lot: no range for a lot of %d", size))
}

// A cell of a master table is a plan or an arrow: step 1 to the row below, -1 to
// the row above, 0 for a plan.
type cell struct{ accept, reject, step int }

type master struct {
	aqls    []float64
	letters []string
	sizes   []int    // of the samples, chips
	cells   [][]cell // by letter, then AQL
}

var masterTables = sync.OnceValue(func() map[Severity]master {
	return map[Severity]master{
		Normal:      readMaster("tables/2-A.txt"),
		Tightened:   readMaster("tables/2-B.txt"),
		Reduced:     readMaster("tables/2-C.txt"),
		Reduced105E: readMaster("tables/II-C.txt"),
	}
})

func readMaster(name string) master {
	lines := rows(name)
	var m master
	for _, text := range lines[0][2:] {
		aql, err := strconv.ParseFloat(text, 64)
		if err != nil {
			panic(fmt.Sprintf("lot: %s: AQL %q", name, text))
		}
		m.aqls = append(m.aqls, aql)
	}
	for _, fields := range lines[1:] {
		var row []cell
		for _, text := range fields[2:] {
			row = append(row, readCell(text))
		}
		m.letters = append(m.letters, fields[0])
		m.sizes = append(m.sizes, number(fields[1]))
		m.cells = append(m.cells, row)
	}
	return m
}

func readCell(text string) cell {
	switch text {
	case "↓":
		return cell{step: 1}
	case "↑":
		return cell{step: -1}
	}
	ac, re, _ := strings.Cut(text, "/")
	return cell{accept: number(ac), reject: number(re)}
}

// A plan row is what a letter and an AQL lead to.
type planRow struct {
	letter string
	size   int // chips
	cell   cell
}

// follow goes from a letter along the arrows of an AQL's column to a plan.
func (m master) follow(letter string, aql float64) planRow {
	row := slices.Index(m.letters, letter)
	column := slices.Index(m.aqls, aql)
	for m.cells[row][column].step != 0 {
		row += m.cells[row][column].step
	}
	return planRow{m.letters[row], m.sizes[row], m.cells[row][column]}
}

// rows returns the fields of a table's lines, its heading first.
func rows(name string) [][]string {
	text, err := printed.ReadFile(name)
	if err != nil {
		panic(err)
	}
	var found [][]string
	for line := range strings.Lines(string(text)) {
		if fields := strings.Fields(line); len(fields) > 0 && fields[0] != "#" {
			found = append(found, fields)
		}
	}
	return found
}

func number(text string) int {
	n, err := strconv.Atoi(text)
	if err != nil {
		panic(fmt.Sprintf("lot: %q in a table is no number", text))
	}
	return n
}
