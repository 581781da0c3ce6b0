package report

import (
	"fmt"
	"slices"
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

// A block is a rectangle of the drawing that is filled.
type block struct{ X, Y, Width int }

// blockSize is the side of a block in the drawing's own units.
const blockSize = 6

// Width and Height are the drawing's; OuterWidth and OuterHeight leave room for the frame.
func (b *Bitmap) Width() int       { return len(b.Lines[0]) * blockSize }
func (b *Bitmap) Height() int      { return len(b.Lines) * blockSize }
func (b *Bitmap) OuterWidth() int  { return b.Width() + 2 }
func (b *Bitmap) OuterHeight() int { return b.Height() + 2 }

// Size is the side of a block.
func (b *Bitmap) Size() int { return blockSize }

// Blocks are the filled ones, those side by side as one.
func (b *Bitmap) Blocks() (blocks []block) {
	for y, line := range b.Lines {
		for x := 0; x < len(line); {
			n := slices.IndexFunc([]byte(line[x:]), func(c byte) bool { return c != line[x] })
			if n < 0 {
				n = len(line) - x
			}
			if line[x] == '#' {
				blocks = append(blocks, block{x * blockSize, y * blockSize, n * blockSize})
			}
			x += n
		}
	}
	return blocks
}

// Alt says in words what the drawing shows.
func (b *Bitmap) Alt() string {
	all := strings.Join(b.Lines, "")
	return fmt.Sprintf("Map of the memory's array: in %d of %d blocks a read was wrong.", strings.Count(all, "#"), len(all))
}
