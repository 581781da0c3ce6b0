package report

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/march"
)

// The rows of a 2114 are chosen by A3 to A8, its columns by A0, A1, A2 and A9 (block
// diagram of the data sheet, from memory). So address 028h, A3 and A5, is row 5 of
// 64, column 0; and 203h, A9, A1 and A0, is row 0, column 8 + 2 + 1 = 11 of 16.
func TestBitmap(t *testing.T) {
	typ, err := library.Open("2114")
	require.NoError(t, err)
	m := []march.Failure{{Address: 0x028}, {Address: 0x203}, {Address: 0x203}}
	b := bitmapOf(typ.Variant.Memory, m)
	require.Equal(t, []int{64, 16}, []int{len(b.Lines), len(b.Lines[0])})
	lines := b.Lines
	require.Equal(t, strings.Repeat(".", 11)+"#"+strings.Repeat(".", 4), lines[0])
	require.Equal(t, "#"+strings.Repeat(".", 15), lines[5])
	require.Equal(t, 2, strings.Count(strings.Join(lines, ""), "#"))
	require.Equal(t, "M11 0h1v1h-1zM0 5h1v1h-1z", b.Path())
	require.Contains(t, b.Alt(), "in 2 of 1024 blocks")
}

// At most 64 blocks either way: the 256 rows and columns of a 4164 are four to a
// block each. Address 0x0307 is row 7, of block 1, and column 3, of block 0; its row
// address comes first, low bits (data sheet, from memory).
func TestBitmapOfALargeMemory(t *testing.T) {
	typ, err := library.Open("4164")
	require.NoError(t, err)
	m := []march.Failure{{Address: 0x0307}}
	b := bitmapOf(typ.Variant.Memory, m)
	require.Equal(t, []int{64, 64, 4, 4}, []int{len(b.Lines), len(b.Lines[0]), b.PerRow, b.PerColumn})
	require.Equal(t, "M0 1h1v1h-1z", b.Path())
	require.Contains(t, b.Legend(), "4 rows by 4 columns")
}

// A row that fails whole is one bar of the drawing, and a good memory has none.
func TestBitmapOfARow(t *testing.T) {
	typ, err := library.Open("2114")
	require.NoError(t, err)
	var m []march.Failure
	require.Nil(t, bitmapOf(typ.Variant.Memory, m))
	for _, low := range []int{0, 1, 2, 3, 4, 5, 6, 7} {
		for _, a9 := range []int{0, 0x200} {
			m = append(m, march.Failure{Address: 0x028 | low | a9})
		}
	}
	b := bitmapOf(typ.Variant.Memory, m)
	require.Equal(t, "M0 5h16v1h-16z", b.Path())
}
