package verilog

import (
	"bufio"
	"fmt"
	"io"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// stepTime is the length of a step of the test bench, in its time unit.
const stepTime = 10

// WriteBench writes a test bench that applies a sequence to the part's module and
// compares. It prints a line for each difference, "step S pin N: got V want V",
// and last "done STEPS steps DIFFERENCES differences".
func WriteBench(w io.Writer, s *stimulus.Sequence) error {
	b := bufio.NewWriter(w)
	v := s.Variant
	b.WriteString("`timescale 1us/1ns\nmodule bench;\n")
	for _, p := range ports(v) {
		if p.Drivable() {
			fmt.Fprintf(b, "    reg d%d = 1'bz;\n", p.Number)
			fmt.Fprintf(b, "    wire w%d = d%d;\n", p.Number, p.Number)
		} else {
			fmt.Fprintf(b, "    wire w%d;\n", p.Number)
		}
	}
	for _, p := range ports(v) {
		if p.PullUp { // the resistor inside: in the bench, so that a bus sees it
			fmt.Fprintf(b, "    pullup (w%d);\n", p.Number)
		}
	}
	b.WriteString("    integer differences = 0;\n")
	fmt.Fprintf(b, "    %s chip (", ModuleName(v))
	for i, p := range ports(v) {
		if i > 0 {
			b.WriteString(", ")
		}
		fmt.Fprintf(b, ".%s(w%d)", PortName(p), p.Number)
	}
	b.WriteString(");\n")
	b.WriteString(`    task see(input integer step, input integer pin, input got, input want);
        if (got !== want) begin
            differences = differences + 1;
            $display("step %0d pin %0d: got %b want %b", step, pin, got, want);
        end
    endtask
    initial begin
`)
	var before stimulus.Step
	for i, st := range s.Steps {
		writeStep(b, v, i+1, before, st)
		before = st
	}
	fmt.Fprintf(b, "        $display(\"done %d steps %%0d differences\", differences);\n        $finish;\n    end\nendmodule\n", len(s.Steps))
	return b.Flush()
}

func writeStep(b *bufio.Writer, v *part.Variant, number int, before, st stimulus.Step) {
	b.WriteString("        ")
	for _, p := range ports(v) {
		if !p.Drivable() {
			continue
		}
		level := driven(st, p.Number)
		if number == 1 || level != driven(before, p.Number) {
			fmt.Fprintf(b, "d%d = 1'b%s; ", p.Number, level)
		}
	}
	fmt.Fprintf(b, "#%d;", stepTime)
	for pin := range st.Compared.All() {
		want, _ := st.Expect(pin)
		fmt.Fprintf(b, " see(%d, %d, w%d, 1'b%s);", number, pin, pin, want)
	}
	b.WriteByte('\n')
}

func driven(st stimulus.Step, pin int) logic.Value {
	if !st.Driven.Has(pin) {
		return logic.Z
	}
	return logic.FromBool(st.Drive.Has(pin))
}
