package library_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// drawnMemories are pins of memories as symbols draw them: the address from A0, the data from
// the lowest bit (outputs behind inputs), and controls with the level at which they act.

// Source: an open symbol library of the same maker's numbers, or of the twin that is named, read.
var drawnMemories = map[string]struct{ address, data, controls string }{
	"27S40":  {"9 8 7 6 5 4 3 2 1 19 18 17", "14 13 12 11", "15L 16L"},
	"27S41":  {"9 8 7 6 5 4 3 2 1 19 18 17", "14 13 12 11", "15L 16L"}, // 7134
	"27S43":  {"8 7 6 5 4 3 2 1 23 22 21 19", "9 10 11 13 14 15 16 17", "20L 18H"},
	"7142":   {"8 7 6 5 4 3 2 1 23 22 21 19", "9 10 11 13 14 15 16 17", "20L 18L"},
	"76641":  {"8 7 6 5 4 3 2 1 23 22 21 19 18", "9 10 11 13 14 15 16 17", "20L"},
	"82S181": {"8 7 6 5 4 3 2 1 23 22", "9 10 11 13 14 15 16 17", "21L 20L 19H 18H"}, // 3628
	"82S191": {"8 7 6 5 4 3 2 1 23 22 21", "9 10 11 13 14 15 16 17", "20L 19H 18H"},  // 3636
	"82S185": {"5 6 7 4 3 2 1 17 16 15 8", "14 13 12 11", "10L"},                     // 7685
	"82S147": {"1 2 3 4 5 16 17 18 19", "6 7 8 9 11 12 13 14", "15L"},                // 5349
	"82S131": {"5 6 7 4 3 2 1 15 14", "12 11 10 9", "13L"},                           // 5306
	"82S123": {"10 11 12 13 14", "1 2 3 4 5 6 7 9", "15L"},                           // 5331
	"6207":   {"2 3 4 5 6 7 8 9 15 16 17 18 19 20 21 22 23 1", "14 10", "13L 11L"},   // separate data
	"6208":   {"1 2 3 4 5 6 7 8 9 10 18 19 20 21 22 23", "17 16 15 14", "11L 13L"},
	"6287":   {"1 2 3 4 5 6 7 8 14 15 16 17 18 19 20 21", "13 9", "12L 10L"},
	"6288":   {"1 2 3 4 5 6 7 8 9 17 18 19 20 21", "16 15 14 13", "10L 12L"},
	"6789":   {"1 2 3 4 5 6 7 8 9 19 20 21 22 23", "17 16 15 14", "10L 13L 11L"},
	"43257":  {"10 9 8 7 6 5 4 3 25 24 21 23 2 26 1", "11 12 13 15 16 17 18 19", "20L 22H 27L"},
	"6168":   {"16 17 18 19 1 2 3 4 5 6 7 8", "15 14 13 12", "9L 11L"}, // 6268
	"4416":   {"14 13 12 11 8 7 6 10", "2 3 15 17", "4L 1L 5L 16L"},    // 2620
	"4464":   {"14 13 12 11 8 7 6 10", "2 3 15 17", "4L 1L 5L 16L"},    // 41464
	"411000": {"5 6 7 8 10 11 12 13 14 15", "1 17", "2L 3L 16L"},       // 421000
	"41256":  {"5 7 6 12 11 10 13 9 1", "2 14", "3L 4L 15L"},
	"2816":   {"8 7 6 5 4 3 2 1 23 22 19", "9 10 11 13 14 15 16 17", "18L 20L"},
	"2817":   {"10 9 8 7 6 5 4 3 25 24 21", "11 12 13 15 16 17 18 19", "20L 22L"},
	"2864":   {"10 9 8 7 6 5 4 3 25 24 21 23 2", "11 12 13 15 16 17 18 19", "20L 22L"},
	"2732":   {"8 7 6 5 4 3 2 1 23 22 19 21", "9 10 11 13 14 15 16 17", "18L 20L"},
	"2716":   {"8 7 6 5 4 3 2 1 23 22 19", "9 10 11 13 14 15 16 17", "18L 20L"},
	"2114":   {"5 6 7 4 3 2 1 17 16 15", "14 13 12 11", "8L 10L"},
	"2125":   {"2 3 4 5 6 9 10 11 12 13", "15 7", "1L 14L"},
}

func TestMemoriesHaveThePinsOfTheirSymbols(t *testing.T) {
	for number, drawn := range drawnMemories {
		p, err := library.Builtin().Find(number)
		require.NoError(t, err)
		require.NotNil(t, p, number)
		v := p.Variants[0]
		m := v.Memory
		var address, data, controls []string
		for bit := range m.Address {
			address = append(address, fmt.Sprint(v.Pin(fmt.Sprintf("A%d", bit)).Number))
		}
		if !m.CommonData() {
			data = words(m.DataIn)
		}
		data = append(data, words(m.DataOut)...)
		all := m.Select
		for _, c := range []*part.Control{m.Write, m.Enable, m.RAS, m.CAS} {
			if c != nil {
				all = append(all, *c)
			}
		}
		for _, c := range all {
			controls = append(controls, fmt.Sprintf("%d%s", c.Pin, map[bool]string{true: "H", false: "L"}[c.Active]))
		}
		require.Equal(t, drawn.address, strings.Join(address, " "), number)
		require.Equal(t, drawn.data, strings.Join(data, " "), number)
		require.ElementsMatch(t, strings.Fields(drawn.controls), controls, number)
	}
}

func words(pins []int) (all []string) {
	for _, pin := range pins {
		all = append(all, fmt.Sprint(pin))
	}
	return all
}
