package march

import "fmt"

// An alias is a way in which several addresses reach one cell: what becomes of
// the address lines concerned.
type alias struct {
	kind    Kind
	lines   []int           // that are concerned
	reaches func(uint) uint // from the levels of these lines to those that the decoder sees
	words   string
}

// aliases gives the address faults that are looked for: each line, or pin where
// the pins are used twice, stuck or open; each two of them shorted, with a low or
// a high that wins.
func (c *classifier) aliases() []alias {
	zero := func(uint) uint { return 0 }
	// Bits 0 and 1 are the levels of two lines, bits 2 and 3 of two more. The wired
	// level of each two is in bits 0 and 2; both lines get it.
	low := func(q uint) uint { return (q & (q >> 1) & 0b0101) * 0b11 }
	high := func(q uint) uint { return ((q | q>>1) & 0b0101) * 0b11 }
	var stuck, shorted []alias
	pins := c.pins()
	for i, p := range pins {
		stuck = append(stuck, alias{AddressStuck, p, zero, fmt.Sprintf("address line A%d is stuck or open: both its levels reach the same cells", c.pin(i))})
		if len(p) == 2 {
			for _, line := range p {
				stuck = append(stuck, alias{AddressStuck, []int{line}, zero, fmt.Sprintf("%s is stuck inside the chip: both its levels reach the same cells", c.line(line))})
			}
		}
		for j, q := range pins[:i] {
			var lines []int
			for k := range min(len(p), len(q)) {
				lines = append(lines, q[k], p[k])
			}
			words := fmt.Sprintf("address lines A%d and A%d are shorted", min(c.pin(i), c.pin(j)), max(c.pin(i), c.pin(j)))
			shorted = append(shorted, alias{AddressShort, lines, low, words}, alias{AddressShort, lines, high, words})
		}
	}
	return append(stuck, shorted...)
}

// pins gives the address lines that come over each address pin.
func (c *classifier) pins() [][]int {
	var pins [][]int
	for line := range c.lines() {
		if c.Multiplexed && line >= c.RowBits && line-c.RowBits < len(pins) {
			pins[line-c.RowBits] = append(pins[line-c.RowBits], line)
		} else {
			pins = append(pins, []int{line})
		}
	}
	return pins
}

// addressLines finds that an address fault explains everything. In each element
// the first of the addresses that reach one cell passes, and leaves there what
// the others do not expect.
func (c *classifier) addressLines() bool {
	if c.Words&(c.Words-1) != 0 || c.Words < 2 {
		return false
	}
	type pass struct {
		element    int
		background uint32
	}
	passes := map[pass][]bool{} // by address: failed
	for _, f := range c.failures {
		if (f.Expected^f.Seen)&c.mask() != c.mask() {
			return false // another word's content differs in every bit
		}
		p := pass{f.Element, f.Background}
		if passes[p] == nil {
			passes[p] = make([]bool, c.Words)
		}
		passes[p][f.Address] = true
	}
	for _, a := range c.aliases() {
		firsts := map[uint]bool{}
		explained := true
		for _, failed := range passes {
			var first uint
			if first, explained = a.explains(failed); !explained {
				break
			}
			firsts[first] = true
		}
		// A line that is stuck shows another first going up than down. If it does
		// not, half of the array may as well be dead.
		if explained && (len(firsts) > 1 || a.kind == AddressShort) {
			c.find(Finding{Kind: a.kind, Lines: a.lines, Bit: -1}, c.failed(func(cell, *evidence) bool { return true }), "%s", a.words)
			return true
		}
	}
	return false
}

// explains says whether exactly one of the addresses that reach one cell passed,
// the same whatever the other lines are; and which, as a set of levels.
func (a alias) explains(failed []bool) (first uint, ok bool) {
	levels := uint(1) << len(a.lines)
	var seen, fails uint // sets of levels
	for address, f := range failed {
		var q uint
		for i, line := range a.lines {
			q |= uint(address) >> line & 1 << i
		}
		if f {
			if seen>>q&1 == 1 && fails>>q&1 == 0 {
				return 0, false
			}
			fails |= 1 << q
		} else if fails>>q&1 == 1 {
			return 0, false
		}
		seen |= 1 << q
	}
	var reached, passed uint // cells
	for q := range levels {
		cell := uint(1) << a.reaches(q)
		reached |= cell
		if fails>>q&1 == 0 {
			if passed&cell != 0 {
				return 0, false
			}
			passed |= cell
		}
	}
	return seen &^ fails, passed == reached
}

// line names an address line by its number, or by its pin where the pins are
// used twice.
func (c *classifier) line(line int) string {
	switch {
	case !c.Multiplexed:
		return fmt.Sprintf("A%d", c.pin(line))
	case line < c.RowBits:
		return fmt.Sprintf("row address A%d", line)
	default:
		return fmt.Sprintf("column address A%d", line-c.RowBits)
	}
}
