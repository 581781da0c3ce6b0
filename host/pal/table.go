package pal

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"chipassay/vectors/twolevel"
)

// Write writes a table as text: the device, the pins, and a line a combination of the inputs
// with their levels and the outputs' behind a blank.
func (t *Table) Write(w io.Writer) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "device %s\ninputs %s\noutputs %s\n", t.Device, words(t.Inputs), words(t.pinsOut()))
	for _, p := range slices.Sorted(maps(t.Held)) {
		fmt.Fprintf(b, "held %d %s\n", p, level(t.Held[p]))
	}
	for row := range 1 << len(t.Inputs) {
		for i := range t.Inputs {
			b.WriteString(level(row>>i&1 != 0))
		}
		b.WriteByte(' ')
		for _, o := range t.Outputs {
			b.WriteByte(byte(o.Levels[row]))
		}
		b.WriteByte('\n')
	}
	return b.Flush()
}

func maps(held map[int]bool) func(func(int) bool) {
	return func(yield func(int) bool) {
		for p := range held {
			if !yield(p) {
				return
			}
		}
	}
}

func level(high bool) string {
	if high {
		return "H"
	}
	return "L"
}

func words(pins []int) string {
	var all []string
	for _, p := range pins {
		all = append(all, strconv.Itoa(p))
	}
	return strings.Join(all, " ")
}

func (t *Table) pinsOut() (pins []int) {
	for _, o := range t.Outputs {
		pins = append(pins, o.Pin)
	}
	return pins
}

// Parse reads a table that Write wrote.
func Parse(r io.Reader) (*Table, error) {
	t := &Table{Held: map[int]bool{}}
	s := bufio.NewScanner(r)
	row := 0
	for line := 1; s.Scan(); line++ {
		fail := func(why string) error { return fmt.Errorf("line %d: %s", line, why) }
		f := strings.Fields(s.Text())
		if len(f) == 0 {
			continue
		}
		switch f[0] {
		case "device":
			t.Device = strings.Join(f[1:], " ")
			continue
		case "inputs", "outputs", "held":
			if err := t.header(f); err != nil {
				return nil, fail(err.Error())
			}
			continue
		}
		switch {
		case len(t.Inputs) == 0 || len(t.Outputs) == 0:
			return nil, fail("the inputs and outputs must stand before the rows")
		case len(f) != 2 || len(f[0]) != len(t.Inputs) || len(f[1]) != len(t.Outputs) || row>>len(t.Inputs) > 0:
			return nil, fail("it is no row of this table")
		}
		for i := range t.Inputs {
			if f[0][i:i+1] != level(row>>i&1 != 0) {
				return nil, fail("the rows are not in the order of counting")
			}
		}
		for i := range t.Outputs {
			if !strings.ContainsRune("LHZ?", rune(f[1][i])) {
				return nil, fail("an output is L, H, Z or ?")
			}
			t.Outputs[i].Levels = append(t.Outputs[i].Levels, Level(f[1][i]))
		}
		row++
	}
	if err := s.Err(); err != nil {
		return nil, err
	}
	if len(t.Inputs) == 0 || row != 1<<len(t.Inputs) {
		return nil, fmt.Errorf("it is cut off: %d rows of %d", row, 1<<len(t.Inputs))
	}
	return t, nil
}

// header reads the lines before the rows.
func (t *Table) header(f []string) error {
	if f[0] == "held" {
		pin, err := strconv.Atoi(f[min(1, len(f)-1)])
		if err != nil || len(f) != 3 || f[2] != "L" && f[2] != "H" {
			return fmt.Errorf("write held, a pin and its level")
		}
		t.Held[pin] = f[2] == "H"
		return nil
	}
	for _, word := range f[1:] {
		pin, err := strconv.Atoi(word)
		if err != nil || pin < 1 || pin > 24 {
			return fmt.Errorf("%s is no pin", word)
		}
		if f[0] == "inputs" {
			t.Inputs = append(t.Inputs, pin)
		} else {
			t.Outputs = append(t.Outputs, Output{Pin: pin})
		}
	}
	if len(t.Inputs) > MostInputs {
		return fmt.Errorf("a table has at most %d inputs", MostInputs)
	}
	return nil
}

// Compare says how a table differs from another; nothing where it does not.
func (t *Table) Compare(o *Table) (differs []string) {
	if words(t.Inputs) != words(o.Inputs) || words(t.pinsOut()) != words(o.pinsOut()) {
		return []string{fmt.Sprintf("its inputs are pins %s and its outputs %s; in the other table they are %s and %s",
			words(t.Inputs), words(t.pinsOut()), words(o.Inputs), words(o.pinsOut()))}
	}
	for _, p := range slices.Sorted(maps(t.Held)) {
		if level, ok := o.Held[p]; !ok || level != t.Held[p] {
			differs = append(differs, fmt.Sprintf("pin %d was held at another level", p))
		}
	}
	if len(t.Held) != len(o.Held) {
		differs = append(differs, "other pins were held")
	}
	for i, out := range t.Outputs {
		n, first := 0, 0
		for row := range out.Levels {
			if out.Levels[row] != o.Outputs[i].Levels[row] {
				if n == 0 {
					first = row
				}
				n++
			}
		}
		if n > 0 {
			differs = append(differs, fmt.Sprintf("pin %d differs at %d of %d combinations, first at %s: %c, not %c",
				out.Pin, n, len(out.Levels), t.row(first), out.Levels[first], o.Outputs[i].Levels[first]))
		}
	}
	return differs
}

// row names a combination: 1=L 2=H.
func (t *Table) row(row int) string {
	var all []string
	for i, p := range t.Inputs {
		all = append(all, fmt.Sprintf("%d=%s", p, level(row>>i&1 != 0)))
	}
	return strings.Join(all, " ")
}

// Equations are the outputs' minimal sums of products, in the language of the definitions; a
// pin is I with its number. An output that is released at some combinations is driven while
// its enable holds: ENABLE ? LEVEL : z.
func (t *Table) Equations() (lines []string) {
	for _, o := range t.Outputs {
		if !o.Combinational() {
			lines = append(lines, fmt.Sprintf("# pin %d is no function of the inputs alone", o.Pin))
			continue
		}
		level := t.express(func(row int) twolevel.Level {
			return map[Level]twolevel.Level{Low: twolevel.Low, High: twolevel.High, Released: twolevel.Either}[o.Levels[row]]
		})
		enable := t.express(func(row int) twolevel.Level {
			return map[bool]twolevel.Level{false: twolevel.Low, true: twolevel.High}[o.Levels[row] != Released]
		})
		switch enable {
		case "1":
			lines = append(lines, fmt.Sprintf("O%d = %s", o.Pin, level))
		case "0":
			lines = append(lines, fmt.Sprintf("O%d = z", o.Pin))
		default:
			lines = append(lines, fmt.Sprintf("O%d = %s ? %s : z", o.Pin, enable, level))
		}
	}
	return lines
}

// express writes a function of the inputs that matter to it.
func (t *Table) express(of func(row int) twolevel.Level) string {
	var matter []int // inputs, by their bits
	for i := range t.Inputs {
		for row := range 1 << len(t.Inputs) {
			a, b := of(row), of(row^1<<i)
			if a != b && a != twolevel.Either && b != twolevel.Either {
				matter = append(matter, i)
				break
			}
		}
	}
	// rows left open may hide that two inputs matter together: then all are kept
	level := make([]twolevel.Level, 1<<len(matter))
	for i := range level {
		level[i] = twolevel.Either
	}
	for row := range 1 << len(t.Inputs) {
		l := of(row)
		at := gather(row, matter)
		if l == twolevel.Either {
			continue
		}
		if level[at] != twolevel.Either && level[at] != l {
			matter = nil
			for i := range t.Inputs {
				matter = append(matter, i)
			}
			level = make([]twolevel.Level, 1<<len(matter))
			for row := range level {
				level[row] = of(row)
			}
			break
		}
		level[at] = l
	}
	var names []string
	for _, i := range matter {
		names = append(names, fmt.Sprintf("I%d", t.Inputs[i]))
	}
	e := twolevel.Express(twolevel.Of(len(matter), func(row int) twolevel.Level { return level[row] }))
	return e.In(names)
}

// gather takes some bits of a row.
func gather(row int, from []int) (at int) {
	for i, bit := range from {
		at |= row >> bit & 1 << i
	}
	return at
}

// Rows counts the combinations.
func (t *Table) Rows() int { return 1 << len(t.Inputs) }
