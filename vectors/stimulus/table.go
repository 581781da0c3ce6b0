package stimulus

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// tableWidth is how wide a table may be, in characters, before its pin names
// are written downwards.
const tableWidth = 100

// WriteTable writes the sequence for people: a line for each step, numbered
// from 1, with the driven pins on the left of the bar and the answers of a
// good chip on the right, as data sheets print them: H L X Z, and ↑ ↓ for the
// edges of a clock. It stops after limit steps and says how to see the others;
// with a limit of 0 it writes all.
func (q *Sequence) WriteTable(w io.Writer, limit int) error {
	b := bufio.NewWriter(w)
	shown := len(q.Steps)
	if limit > 0 {
		shown = min(shown, limit)
	}
	t := q.layOut()
	t.head(b)
	clocks := q.clocks()
	blank := false
	for i := range shown {
		s := q.Steps[i]
		t.line(b, strconv.Itoa(i+1), func(n int, driven bool) string {
			cell := sheetCell(s, n, driven)
			if driven && i > 0 && clocks.Has(n) {
				cell = edge(q.Steps[i-1], s, n, cell)
			}
			blank = blank || cell == "-"
			return cell
		})
	}
	if blank {
		b.WriteString("\n-  not driven, or not compared, in that step\n")
	}
	if rest := len(q.Steps) - shown; rest > 0 {
		fmt.Fprintf(b, "\nSteps 1 to %d of %d. The other %d are written by --format csv, json or vcd.\n", shown, len(q.Steps), rest)
	}
	return b.Flush()
}

// sheetCell is the level of a pin as a data sheet prints it, driven or expected.
func sheetCell(s Step, n int, driven bool) string {
	level, given := s.Expect(n)
	if driven {
		level, given = s.Drives(n)
	}
	if !given {
		return "-"
	}
	return Sheet(level)
}

// Sheet writes a level as data sheets do: H, L, X or Z.
func Sheet(v logic.Value) string { return "ZHLX"[v : v+1] }

// edge is an arrow where a driven clock changed its level, or the cell as it was.
func edge(before, now Step, n int, cell string) string {
	was, driven := before.Drives(n)
	is, still := now.Drives(n)
	switch {
	case !driven || !still || was == is:
		return cell
	case is == logic.One:
		return "↑"
	}
	return "↓"
}

// clocks are the pins at whose edges a register of the part acts.
func (q *Sequence) clocks() part.Pins {
	var pins part.Pins
	l := &q.Variant.Logic
	for _, r := range l.Registers {
		for _, rule := range r.Rules {
			if rule.Edge == part.Level {
				continue
			}
			if n := l.Signals[rule.Clock].Pin; n != 0 {
				pins = pins.With(n, true)
			}
		}
	}
	return pins
}

// A layout is the columns of a table.
type layout struct {
	step    int // width of the step's number, characters
	columns []column
	down    bool // pin names are written downwards
}

// A column holds one pin, driven or compared.
type column struct {
	pin    int
	driven bool
	name   string
	width  int // characters
}

func (q *Sequence) layOut() layout {
	t := layout{step: max(len("step"), len(strconv.Itoa(len(q.Steps))))}
	total := t.step + len(" | ")
	add := func(pins part.Pins, driven bool) {
		for n := range pins.All() {
			c := column{pin: n, driven: driven, name: q.Variant.Pins[n-1].Name}
			c.width = max(len(c.name), len(strconv.Itoa(n)))
			total += c.width + 1
			t.columns = append(t.columns, c)
		}
	}
	add(q.Inputs, true)
	add(q.Outputs, false)
	if total > tableWidth {
		t.down = true
		for i := range t.columns {
			t.columns[i].width = len(strconv.Itoa(t.columns[i].pin))
		}
	}
	return t
}

// head writes the pin numbers, the pin names and a rule.
func (t layout) head(b *bufio.Writer) {
	t.line(b, "pin", func(n int, _ bool) string { return strconv.Itoa(n) })
	if !t.down {
		i := 0
		t.line(b, "step", func(int, bool) string { i++; return t.columns[i-1].name })
	} else {
		t.namesDown(b)
	}
	rule := strings.Repeat("-", t.step+1)
	was := true
	for _, c := range t.columns {
		if was && !c.driven {
			rule += "+-"
		}
		was = c.driven
		rule += strings.Repeat("-", c.width+1)
	}
	b.WriteString(strings.TrimSuffix(rule, "-") + "\n")
}

// namesDown writes the names one character a line, their ends on the last.
func (t layout) namesDown(b *bufio.Writer) {
	tall := 0
	for _, c := range t.columns {
		tall = max(tall, len(c.name))
	}
	for row := range tall {
		label := ""
		if row == tall-1 {
			label = "step"
		}
		i := -1
		t.line(b, label, func(int, bool) string {
			i++
			name := t.columns[i].name
			if at := row - (tall - len(name)); at >= 0 {
				return name[at : at+1]
			}
			return ""
		})
	}
}

// line writes one line of the table: a label, and a cell for each column.
func (t layout) line(b *bufio.Writer, label string, cell func(pin int, driven bool) string) {
	text := fmt.Sprintf("%*s ", t.step, label)
	was := true
	for _, c := range t.columns {
		if was && !c.driven {
			text += "| "
		}
		was = c.driven
		text += fmt.Sprintf("%*s ", c.width, cell(c.pin, c.driven))
	}
	b.WriteString(strings.TrimRight(text, " ") + "\n")
}
