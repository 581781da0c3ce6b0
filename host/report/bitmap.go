package report

import (
	"fmt"
	"slices"
	"strings"
)

// A bitmap shows the array of a memory, a block for a word or for several, with
// those marked in which a read was wrong.
type bitmap struct {
	Rows, Columns int // of blocks
	PerRow        int // rows of the array in a block
	PerColumn     int
	Marked        [][]bool // by row and column
}

// mostBlocks bounds a bitmap's blocks either way.
const mostBlocks = 64

// bitmapOf draws the failing words of a memory; nil where there are none.
func bitmapOf(s Sheet) *bitmap {
	found, m := s.Result.Memory, s.Result.Type.Variant.Memory
	if found == nil || m == nil || len(found.Failures) == 0 {
		return nil
	}
	rows, columns := 1<<m.RowBits, 1<<m.ColumnBits
	b := &bitmap{PerRow: max(1, rows/mostBlocks), PerColumn: max(1, columns/mostBlocks)}
	b.Rows, b.Columns = rows/b.PerRow, columns/b.PerColumn
	b.Marked = make([][]bool, b.Rows)
	for i := range b.Marked {
		b.Marked[i] = make([]bool, b.Columns)
	}
	for _, f := range found.Failures {
		row, column := m.Place(f.Address)
		b.Marked[row/b.PerRow][column/b.PerColumn] = true
	}
	return b
}

// lines are the bitmap for the terminal.
func (b *bitmap) lines() (lines []string) {
	for _, row := range b.Marked {
		var line strings.Builder
		for _, marked := range row {
			line.WriteString(map[bool]string{true: "█", false: "·"}[marked])
		}
		lines = append(lines, line.String())
	}
	return lines
}

// Legend says what a block is.
func (b *bitmap) Legend() string {
	each := "one word"
	if n := b.PerRow * b.PerColumn; n > 1 {
		each = fmt.Sprintf("%d rows by %d columns", b.PerRow, b.PerColumn)
	}
	return fmt.Sprintf("Each block is %s, row 0 at the top and column 0 on the left; in a filled one a read was wrong.", each)
}

// A block is a rectangle of the drawing that is filled.
type block struct{ X, Y, Width int }

// blockSize is the side of a block in the drawing's own units.
const blockSize = 6

// Width and Height are the drawing's.
func (b *bitmap) Width() int  { return b.Columns * blockSize }
func (b *bitmap) Height() int { return b.Rows * blockSize }

// OuterWidth and OuterHeight leave room for the frame.
func (b *bitmap) OuterWidth() int  { return b.Width() + 2 }
func (b *bitmap) OuterHeight() int { return b.Height() + 2 }

// Size is the side of a block.
func (b *bitmap) Size() int { return blockSize }

// Blocks are the filled ones, those side by side as one.
func (b *bitmap) Blocks() (blocks []block) {
	for y, row := range b.Marked {
		for x := 0; x < len(row); {
			n := slices.Index(row[x:], !row[x])
			if n < 0 {
				n = len(row) - x
			}
			if row[x] {
				blocks = append(blocks, block{x * blockSize, y * blockSize, n * blockSize})
			}
			x += n
		}
	}
	return blocks
}

// Alt says in words what the drawing shows.
func (b *bitmap) Alt() string {
	n := 0
	for _, row := range b.Marked {
		for _, marked := range row {
			if marked {
				n++
			}
		}
	}
	return fmt.Sprintf("Map of the memory's array: in %d of %d blocks a read was wrong.", n, b.Rows*b.Columns)
}
