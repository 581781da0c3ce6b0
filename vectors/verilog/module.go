// Package verilog writes a part's function as a module in Verilog (IEEE
// 1364-2005), and the steps of its test as a test bench for it, so any
// simulator can check one against the other.
package verilog

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strings"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// ModuleName is the name of a part's module: "part_7410".
func ModuleName(v *part.Variant) string { return "part_" + v.Part.Number }

// PortName is the name of a pin's port: its number, then what of its name Verilog allows.
func PortName(p part.Pin) string {
	clean := strings.Map(func(r rune) rune {
		switch {
		case r == '/':
			return 'n' // the bar of an active-low pin
		case r == '_' || '0' <= r && r <= '9' || 'A' <= r && r <= 'Z' || 'a' <= r && r <= 'z':
			return r
		}
		return -1
	}, p.Name)
	return fmt.Sprintf("p%d_%s", p.Number, clean)
}

// WriteModule writes the function of a variant as a module: gates as continuous
// assignments, registers as always blocks. Supply pins and what is not connected
// have no port.
func WriteModule(w io.Writer, c *logic.Circuit) error { return write(w, c, -1, logic.X) }

// WriteStuck writes the module of a chip in which one node of the circuit is
// stuck at 0 or 1.
func WriteStuck(w io.Writer, c *logic.Circuit, node int32, v logic.Value) error {
	return write(w, c, node, v)
}

func write(w io.Writer, c *logic.Circuit, stuck int32, value logic.Value) error {
	b := bufio.NewWriter(w)
	v := c.Variant
	fmt.Fprintf(b, "// %s %s\n", v.Part.Number, v.Part.Title)
	if v.Note != "" {
		fmt.Fprintf(b, "// %s\n", v.Note)
	}
	fmt.Fprintf(b, "module %s (", ModuleName(v))
	for i, p := range ports(v) {
		if i > 0 {
			b.WriteString(",")
		}
		fmt.Fprintf(b, "\n    %-6s wire %s", direction(p), PortName(p))
	}
	b.WriteString("\n);\n")
	m := module{c: c, b: b, stuck: stuck, value: value, pin: map[int32]part.Pin{}, bit: map[int32]int{}}
	for number, n := range c.Inputs {
		m.pin[n] = v.Pins[number-1]
	}
	for i, s := range c.State {
		m.bit[s.Node] = i
	}
	m.nodes()
	for _, r := range c.Registers {
		m.register(r)
	}
	for _, o := range c.Outputs {
		m.output(o)
	}
	b.WriteString("endmodule\n")
	return b.Flush()
}

func ports(v *part.Variant) []part.Pin {
	var ports []part.Pin
	for _, p := range v.Pins {
		if p.Role == part.Input || p.Role == part.Output || p.Role == part.Bidirectional {
			ports = append(ports, p)
		}
	}
	return ports
}

func direction(p part.Pin) string {
	return map[part.Role]string{part.Input: "input", part.Output: "output", part.Bidirectional: "inout"}[p.Role]
}

type module struct {
	c   *logic.Circuit
	b   *bufio.Writer
	pin map[int32]part.Pin // of Input nodes
	bit map[int32]int      // of State nodes

	stuck int32 // node that is stuck at value, or -1
	value logic.Value
}

// name is how an expression refers to a node.
func (m *module) name(n int32) string {
	if n == m.stuck {
		return "1'b" + m.value.String()
	}
	switch m.c.Nodes[n].Op {
	case logic.Input:
		return PortName(m.pin[n])
	case logic.State:
		return fmt.Sprintf("s%d", m.bit[n])
	case logic.Const0:
		return "1'b0"
	case logic.Const1:
		return "1'b1"
	case logic.ConstX:
		return "1'bx"
	case logic.ConstZ:
		return "1'bz"
	}
	return fmt.Sprintf("n%d", n)
}

var operators = map[logic.Op]string{
	logic.And: " & ", logic.Nand: " & ", logic.Or: " | ", logic.Nor: " | ", logic.Xor: " ^ ", logic.Xnor: " ^ ",
}

func (m *module) nodes() {
	for i, s := range m.c.State {
		fmt.Fprintf(m.b, "    reg s%d; // %s\n", i, s.Name)
	}
	for n, node := range m.c.Nodes {
		var in []string
		for _, i := range node.In {
			in = append(in, m.name(i))
		}
		text := ""
		switch node.Op {
		case logic.Buf:
			text = in[0]
		case logic.Not:
			text = "~" + in[0]
		case logic.And, logic.Or, logic.Xor:
			text = strings.Join(in, operators[node.Op])
		case logic.Nand, logic.Nor, logic.Xnor:
			text = "~(" + strings.Join(in, operators[node.Op]) + ")"
		case logic.Mux:
			text = in[0] + " ? " + in[1] + " : " + in[2]
		default:
			continue
		}
		fmt.Fprintf(m.b, "    wire n%d = %s;\n", n, text)
	}
}

// output drives a pin through its output stage.
func (m *module) output(o logic.Output) {
	level := m.name(o.Node)
	switch o.Stage {
	case part.OpenCollector:
		level = fmt.Sprintf("%s === 1'b0 ? 1'b0 : %s === 1'bx ? 1'bx : 1'bz", level, level)
	case part.OpenEmitter:
		level += " ? 1'b1 : 1'bz"
	}
	fmt.Fprintf(m.b, "    assign %s = %s;\n", PortName(m.c.Variant.Pins[o.Pin-1]), level)
}

// register writes the rules of a register: the level-sensitive ones in one
// always block, those of each clock edge in a block that gives way to them.
func (m *module) register(r logic.Register) {
	m.levels(r)
	type trigger struct {
		edge  string
		clock int32
	}
	var done []trigger
	for i, rule := range r.Rules {
		if rule.Edge == part.Level {
			continue
		}
		t := trigger{edgeWord(rule.Edge), rule.Clock}
		if slices.Contains(done, t) {
			continue
		}
		done = append(done, t)
		fmt.Fprintf(m.b, "    always @(%s %s) // register %s\n", t.edge, m.name(t.clock), r.Name)
		m.chain(r, i, func(other logic.Rule) bool {
			return other.Edge == part.Level || edgeWord(other.Edge) == t.edge && other.Clock == t.clock
		})
	}
}

func edgeWord(e part.Edge) string {
	if e == part.Rise {
		return "posedge"
	}
	return "negedge"
}

// levels writes the block of the level-sensitive rules.
func (m *module) levels(r logic.Register) {
	for _, rule := range r.Rules {
		if rule.Edge == part.Level {
			fmt.Fprintf(m.b, "    always @* // register %s\n", r.Name)
			m.chain(r, 0, func(other logic.Rule) bool { return other.Edge == part.Level })
			return
		}
	}
}

// chain writes the rules that belong to a block as if … else if …, the first
// that applies winning. In the block of an edge a level-sensitive rule only holds
// the others off: it has acted already.
func (m *module) chain(r logic.Register, first int, belongs func(logic.Rule) bool) {
	word := "if"
	atEdge := r.Rules[first].Edge != part.Level
	for _, rule := range r.Rules {
		if !belongs(rule) {
			continue
		}
		when := "1'b1"
		if rule.When >= 0 {
			when = m.name(rule.When)
		}
		fmt.Fprintf(m.b, "        %s (%s) begin", word, when)
		word = "else if"
		if !atEdge || rule.Edge != part.Level {
			for i, bit := range r.Bits {
				assign := "="
				if atEdge {
					assign = "<="
				}
				if next := m.name(rule.Next[i]); next != fmt.Sprintf("s%d", bit) {
					fmt.Fprintf(m.b, " s%d %s %s;", bit, assign, next)
				}
			}
		}
		m.b.WriteString(" end\n")
	}
}
