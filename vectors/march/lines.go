package march

import (
	"fmt"
	"slices"
	"strings"
)

// dataLines finds data bits that are stuck, or joined in pairs, at every address.
func (c *classifier) dataLines() {
	for i := range c.Bits {
		for j := range i {
			if cells, wins := c.joined(j, i); cells != nil {
				c.find(Finding{Kind: DataShort, Lines: []int{j, i}, Bit: -1}, cells,
					"data bits %d and %d are shorted: where they should differ, a %s wins", j, i, [...]string{"low", "high"}[wins])
			}
		}
	}
	if len(c.cells) == c.all() {
		return // the whole chip
	}
	for i := range c.Bits {
		cells := c.failed(func(at cell, e *evidence) bool { return at.bit == i && e.seen[0] != e.seen[1] })
		if len(cells) < c.Words {
			continue
		}
		value := c.cells[cells[0]].wrong()
		if slices.ContainsFunc(cells, func(at cell) bool { return c.cells[at].wrong() != value || !c.cells[at].awake }) {
			continue
		}
		c.find(Finding{Kind: DataStuck, Lines: []int{i}, Bit: i}, cells, "data bit %d reads %d at every address: its line is stuck or open", i, value)
	}
}

// joined says whether two data bits always read alike where they failed, only
// failed where they should differ, and did so both at every address; and which
// level won.
func (c *classifier) joined(i, j int) (cells []cell, wins uint32) {
	won := [2]bool{}
	for _, f := range c.failures {
		if (f.Expected^f.Seen)>>i&1 == 0 && (f.Expected^f.Seen)>>j&1 == 0 {
			continue
		}
		if f.Expected>>i&1 == f.Expected>>j&1 || f.Seen>>i&1 != f.Seen>>j&1 {
			return nil, 0
		}
		won[f.Seen>>i&1] = true
	}
	cells = c.failed(func(at cell, _ *evidence) bool { return at.bit == i || at.bit == j })
	if len(cells) < 2*c.Words || won[0] == won[1] {
		return nil, 0
	}
	if won[1] {
		wins = 1
	}
	return cells, wins
}

// half finds that exactly the cells on one side of an address line failed.
func (c *classifier) half() bool {
	if len(c.cells)*2 != c.all() {
		return false
	}
	for line := range c.lines() {
		for value := range 2 {
			cells := c.failed(func(at cell, _ *evidence) bool { return at.address>>line&1 == value })
			if len(cells) == len(c.cells) {
				c.find(Finding{Kind: Half, Lines: []int{line}, Bit: -1}, cells,
					"half of the array fails, all addresses where %s is %d: that half is dead, or the line is stuck", c.line(line), value)
				return true
			}
		}
	}
	return false
}

// arrayLines finds rows and columns of which more than half failed: first in
// every data bit, then in one. Short lines, of fewer than four cells, are left
// to be named as cells.
func (c *classifier) arrayLines() {
	for _, kind := range []Kind{Row, Column} {
		for bit := -1; bit < c.Bits; bit++ {
			if c.Bits == 1 && bit == 0 {
				break // the same as all bits
			}
			awake, asleep := map[int][]cell{}, map[int][]cell{}
			for number, cells := range c.along(kind, bit) {
				if !c.mostly(kind, bit, cells) {
					continue
				}
				if slices.ContainsFunc(cells, func(at cell) bool { return c.cells[at].awake }) {
					awake[number] = cells
				} else {
					asleep[number] = cells
				}
			}
			c.findLines(kind, bit, awake, "fails", "fail")
			c.findLines(kind, bit, asleep, "forgets during the wait", "forget during the wait")
		}
	}
}

// along sorts the failed cells of a data bit, -1 for all, by row or column.
func (c *classifier) along(kind Kind, bit int) map[int][]cell {
	lines := map[int][]cell{}
	for at := range c.cells {
		number := at.address % c.rows()
		if kind == Column {
			number = at.address / c.rows()
		}
		if bit < 0 || bit == at.bit {
			lines[number] = append(lines[number], at)
		}
	}
	return lines
}

// mostly says whether more than half of a row or column failed, in every data bit
// concerned.
func (c *classifier) mostly(kind Kind, bit int, cells []cell) bool {
	length, size := c.columns(), c.columns()
	if kind == Column {
		length, size = c.rows(), c.rows()
	}
	count := make([]int, c.Bits)
	for _, at := range cells {
		count[at.bit]++
	}
	if bit >= 0 {
		return size >= 4 && count[bit]*2 > length
	}
	return size*c.Bits >= 4 && slices.Min(count)*2 > length
}

func (c *classifier) findLines(kind Kind, bit int, lines map[int][]cell, does, do string) {
	if len(lines) == 0 {
		return
	}
	var numbers []int
	var cells []cell
	for number, along := range lines {
		numbers = append(numbers, number)
		cells = append(cells, along...)
	}
	slices.Sort(numbers)
	where := ""
	if bit >= 0 {
		where = fmt.Sprintf(" of data bit %d", bit)
	}
	if len(numbers) > 1 {
		does = do
	}
	c.find(Finding{Kind: kind, Lines: numbers, Bit: bit}, cells, "%s%s %s", list(kind.String(), numbers), where, does)
}

// list writes row 5, rows 5 and 7, rows 5, 7 and 9, and of many the first few.
func list(noun string, numbers []int) string {
	const few = 6
	var words []string
	for _, n := range numbers[:min(few, len(numbers))] {
		words = append(words, fmt.Sprint(n))
	}
	switch {
	case len(numbers) == 1:
		return noun + " " + words[0]
	case len(numbers) > few:
		return fmt.Sprintf("%d %ss (%s …)", len(numbers), noun, strings.Join(words, ", "))
	default:
		return fmt.Sprintf("%ss %s and %s", noun, strings.Join(words[:len(words)-1], ", "), words[len(words)-1])
	}
}
