package report

import (
	"fmt"
	"strings"

	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// A Bitmap shows the array of a memory, a block for a word or for several: a # where
// a read was wrong, a point where none was.
type Bitmap struct {
	PerRow    int      `json:"rows_each"` // rows of the array in a block
	PerColumn int      `json:"columns_each"`
	Lines     []string `json:"lines"`
}

// mostBlocks bounds a bitmap's blocks either way.
const mostBlocks = 64

// bitmapOf draws the failing words of a memory; nil where there are none.
func bitmapOf(m *part.Memory, failures []march.Failure) *Bitmap {
	if m == nil || len(failures) == 0 {
		return nil
	}
	rows, columns := 1<<m.RowBits, 1<<m.ColumnBits
	b := &Bitmap{PerRow: max(1, rows/mostBlocks), PerColumn: max(1, columns/mostBlocks)}
	marked := make([][]byte, rows/b.PerRow)
	for i := range marked {
		marked[i] = []byte(strings.Repeat(".", columns/b.PerColumn))
	}
	for _, f := range failures {
		row, column := m.Place(f.Address)
		marked[row/b.PerRow][column/b.PerColumn] = '#'
	}
	for _, line := range marked {
		b.Lines = append(b.Lines, string(line))
	}
	return b
}

// Legend says what a block is.
func (b *Bitmap) Legend() string {
	each := "one word"
	if b.PerRow*b.PerColumn > 1 {
		each = fmt.Sprintf("%d rows by %d columns", b.PerRow, b.PerColumn)
	}
	return fmt.Sprintf("Each block is %s, row 0 at the top and column 0 on the left; in a filled one a read was wrong.", each)
}

// Columns and Rows are how many blocks there are across and down.
func (b *Bitmap) Columns() int { return len(b.Lines[0]) }
func (b *Bitmap) Rows() int    { return len(b.Lines) }

// Path draws the filled blocks.
func (b *Bitmap) Path() string {
	return Cells(b.Columns(), b.Rows(), func(x, y int) bool { return b.Lines[y][x] == '#' })
}

// Cells is a path of those cells of a grid that are dark, each one unit wide and high, those
// side by side as one.
func Cells(columns, rows int, dark func(x, y int) bool) string {
	var path strings.Builder
	for y := range rows {
		for x := 0; x < columns; x++ {
			start := x
			for x < columns && dark(x, y) {
				x++
			}
			if n := x - start; n > 0 {
				fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", start, y, n, n)
			}
		}
	}
	return path.String()
}

// Alt says in words what the drawing shows.
func (b *Bitmap) Alt() string {
	all := strings.Join(b.Lines, "")
	return fmt.Sprintf("Map of the memory's array: in %d of %d blocks a read was wrong.", strings.Count(all, "#"), len(all))
}
