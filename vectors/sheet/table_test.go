package sheet_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/sheet"
)

// tableOf makes the function table of one output of n inputs A1, A2, ...
func tableOf(t *testing.T, n int, equation string) *sheet.Table {
	t.Helper()
	var pins strings.Builder
	for i := range 14 {
		name := func(pin int) string {
			switch {
			case pin <= n:
				return fmt.Sprintf("A%d", pin)
			case pin == 27:
				return "Y"
			case pin == 14:
				return "GND"
			case pin == 28:
				return "VCC"
			}
			return "NC"
		}
		fmt.Fprintf(&pins, "%s %d | | %d %s\n", name(i+1), i+1, 28-i, name(28-i))
	}
	text := "part 7499 \"table\"\nkind gate\nfamilies 74\nsource \"from memory\"\npackage DIP28\n" + pins.String() +
		fmt.Sprintf("inputs A1..A%d\noutputs Y\nY = %s\n", n, equation)
	parts, err := part.Parse("table.part", text)
	require.NoError(t, err)
	c, err := logic.Compile(parts[0].Variants[0])
	require.NoError(t, err)
	signals := part.PinSet(27)
	for pin := range n {
		signals = signals.With(pin+1, true)
	}
	return sheet.FunctionTable(c, signals)
}

func names(from, to int) []string {
	var all []string
	for i := from; i <= to; i++ {
		all = append(all, fmt.Sprintf("A%d", i))
	}
	return all
}

// A table is printed up to 48 rows and 12 inputs. The parity of n inputs takes 2^n
// rows, for each input always matters; an AND of n takes n + 1.
func TestLongTablesAreLeftOut(t *testing.T) {
	parity := func(from, to int) string { return "(" + strings.Join(names(from, to), " ^ ") + ")" }
	and := func(from, to int) string { return strings.Join(names(from, to), " & ") }
	for _, c := range []struct {
		inputs   int
		equation string
		rows     int // 0: none is printed
	}{
		{5, parity(1, 5), 32},
		{6, parity(1, 6), 0},
		{6, "A6 ? " + parity(1, 5) + " : " + parity(1, 4), 32 + 16},
		{7, "A7 & (A6 ? " + parity(1, 5) + " : " + parity(1, 4) + ")", 0}, // a row more
		{12, and(1, 12), 13},
		{13, and(1, 13), 0},
	} {
		table := tableOf(t, c.inputs, c.equation)
		if c.rows == 0 {
			require.Nil(t, table, c.equation)
			continue
		}
		require.NotNil(t, table, c.equation)
		require.Len(t, table.Rows, c.rows, c.equation)
	}
}
