package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/firmware/carrier"
)

// pinMap gives the rows of README.md's section of that name, by their first cell.
func pinMap(t *testing.T) map[string][]string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(firmware, "README.md"))
	require.NoError(t, err)
	_, section, found := strings.Cut(string(text), "## Pin map, revision B")
	require.True(t, found)
	section, _, _ = strings.Cut(section, "\n#")
	rows := map[string][]string{}
	for line := range strings.Lines(section) {
		if cells := strings.Split(strings.Trim(line, "|\n "), " | "); len(cells) > 2 {
			rows[cells[0]] = cells[1:]
		}
	}
	return rows
}

// named lists what a cell has as single names and ranges, such as "PA0-PA3, PC1".
func named(cell string) (names []string) {
	for _, m := range regexp.MustCompile(`\b([A-Z]+)(\d+)(?:-[A-Z]+(\d+))?`).FindAllStringSubmatch(cell, -1) {
		var from, to int
		fmt.Sscan(m[2], &from)
		if to = from; m[3] != "" {
			fmt.Sscan(m[3], &to)
		}
		for i := from; i <= to; i++ {
			names = append(names, fmt.Sprint(m[1], i))
		}
	}
	return names
}

// The pin map of README.md is the netlist's.
func TestReadmeHasThePinsOfTheNetlist(t *testing.T) {
	rows := pinMap(t)
	for _, row := range []string{"sense L1-L8, R1-R8", "supply, high side", "bias, load", "low side, positions", "no. 1", "no. 2"} {
		require.Contains(t, rows, row)
	}
	lanes := map[string]carrier.Lane{}
	for _, l := range carrier.Lanes() {
		lanes[l.Name] = l
	}
	entries := func(positions []string, entry func(carrier.Lane) string) (lines []string) {
		for _, p := range positions {
			lines = append(lines, entry(lanes[p]))
		}
		return lines
	}
	drives := 0
	for function, cells := range rows {
		if columns, found := strings.CutPrefix(function, "drive "); found {
			drives += len(named(columns))
			assert.Equal(t, entries(named(columns), func(l carrier.Lane) string { return l.Drive }), named(cells[0]), function)
		}
	}
	assert.Equal(t, 28, drives)
	sense := "sense L1-L8, R1-R8"
	lines, _, _ := strings.Cut(rows[sense][0], " (")
	assert.Equal(t, entries(named(sense), func(l carrier.Lane) string { return l.Sense }), named(lines))
	for _, l := range lanes {
		high := fmt.Sprintf("%s pos. %d", l.High, l.Position)
		assert.Equal(t, l.High != "", strings.Contains(rows["supply, high side"][0]+",", high+","), high)
	}
	// The order of outputs: U21 to U24 and U31 to U34, U11 and U12, each from QA on.
	for i, cell := range rows["bias, load"] {
		for j, l := range named(cell) {
			want := fmt.Sprintf("%d Q%c", i+1, 'A'+j)
			assert.Equal(t, []string{"U2" + want, "U3" + want}, []string{lanes[l].Bias, lanes[l].Load}, l)
		}
	}
	for i, cell := range rows["low side, positions"][:2] {
		for j, p := range strings.Fields(cell) {
			var position int
			fmt.Sscan(p, &position)
			assert.Equal(t, fmt.Sprintf("U1%d Q%c", i+1, 'A'+j), carrier.LaneAt(position).Low)
		}
	}
	for i, line := range []string{"no. 1", "no. 2"} {
		for j, l := range named(rows[line][0]) {
			assert.Equal(t, fmt.Sprintf("U4%d CH%d", i+1, j), lanes[l].Sense)
		}
	}
}
