package stimulus

import (
	"bufio"
	"fmt"
	"io"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// WriteVCD writes the sequence as a value change dump of four states (IEEE
// 1364-2005, clause 18), for a wave viewer. In the scope of the part there are
// two: drive with the pins that the adapter drives, z while released, and
// expect with the pins of a good chip, x while not compared. Time n, in
// microseconds, is the beginning of step n, numbered from 1; it is no
// measure of how long a step takes. Pins have their data-sheet names, without
// the backslash that Verilog source wants before 1A or /OE: viewers show names
// as they stand.
func (q *Sequence) WriteVCD(w io.Writer) error {
	b := bufio.NewWriter(w)
	v := q.Variant
	fmt.Fprintf(b, "$comment\n    %s %s: %d steps, one a microsecond, step n at time n\n    vectors SHA-256 %s\n$end\n",
		v.Part.Number, v.Part.Title, len(q.Steps), q.SHA256())
	fmt.Fprintf(b, "$version chipassay $end\n$timescale 1 us $end\n$scope module %s $end\n", v.Part.Number)
	drive := waves(b, "drive", v, q.Inputs, 0)
	expect := waves(b, "expect", v, q.Outputs, len(drive))
	b.WriteString("$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n")
	for i := range drive {
		drive[i].show(b, logic.Z)
	}
	for i := range expect {
		expect[i].show(b, logic.X)
	}
	b.WriteString("$end\n")
	for i, s := range q.Steps {
		fmt.Fprintf(b, "#%d\n", i+1)
		for i := range drive {
			level, _ := s.Drives(drive[i].pin) // z while released
			drive[i].show(b, level)
		}
		for i := range expect {
			level, _ := s.Expect(expect[i].pin) // x while not compared
			expect[i].show(b, level)
		}
	}
	fmt.Fprintf(b, "#%d\n", len(q.Steps)+1)
	return b.Flush()
}

// A wave is one variable of the dump.
type wave struct {
	pin   int
	code  byte // identifier code: one printable character
	level logic.Value
	begun bool
}

// waves declares a scope with a variable for each of the pins, and gives the
// variables. A chip of 28 pins has at most 56, less than the 94 codes.
func waves(b *bufio.Writer, scope string, v *part.Variant, pins part.Pins, from int) []wave {
	var ws []wave
	fmt.Fprintf(b, "$scope module %s $end\n", scope)
	for n := range pins.All() {
		code := byte('!' + from + len(ws))
		fmt.Fprintf(b, "$var wire 1 %c %s $end\n", code, v.Pins[n-1].Name)
		ws = append(ws, wave{pin: n, code: code})
	}
	b.WriteString("$upscope $end\n")
	return ws
}

// show writes a change of value; nothing where the value stays.
func (w *wave) show(b *bufio.Writer, level logic.Value) {
	if w.begun && w.level == level {
		return
	}
	w.level, w.begun = level, true
	b.WriteString(level.String())
	b.WriteByte(w.code)
	b.WriteByte('\n')
}
