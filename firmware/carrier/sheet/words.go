package sheet

import (
	"fmt"
	"slices"
	"strings"

	"chipassay/firmware/carrier/draw"
)

// ranges sorts references and joins those that follow each other: R101-R108.
func ranges(refs []string) []string {
	type numbered struct {
		letters string
		number  int
	}
	var sorted []numbered
	for _, ref := range refs {
		letters := strings.TrimRight(ref, "0123456789")
		n := numbered{letters: letters}
		if _, err := fmt.Sscan(ref[len(letters):], &n.number); err != nil {
			panic("sheet: a reference without a number: " + ref)
		}
		sorted = append(sorted, n)
	}
	slices.SortFunc(sorted, func(a, b numbered) int {
		if a.letters != b.letters {
			return strings.Compare(a.letters, b.letters)
		}
		return a.number - b.number
	})
	var words []string
	for i := 0; i < len(sorted); {
		j := i
		for j+1 < len(sorted) && sorted[j+1].letters == sorted[j].letters && sorted[j+1].number == sorted[j].number+1 {
			j++
		}
		first := fmt.Sprintf("%s%d", sorted[i].letters, sorted[i].number)
		switch last := fmt.Sprintf("%s%d", sorted[j].letters, sorted[j].number); j - i {
		case 0:
			words = append(words, first)
		case 1:
			words = append(words, first, last)
		default:
			words = append(words, first+"–"+last)
		}
		i = j + 1
	}
	return words
}

// wrap breaks words into rows no longer than so many mm.
func wrap(words string, size, longest float64) []string {
	var rows []string
	row := ""
	for _, word := range strings.Fields(words) {
		longer := strings.TrimSpace(row + " " + word)
		if row != "" && (draw.Text{Size: size, Words: longer}).Length() > longest {
			rows = append(rows, row)
			longer = word
		}
		row = longer
	}
	return append(rows, row)
}
