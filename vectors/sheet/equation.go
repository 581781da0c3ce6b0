package sheet

import (
	"fmt"
	"strconv"
	"strings"

	"chipassay/vectors/part"
)

// Equations prints the function in the notation of the definitions: equations,
// then registers with their rules.
func Equations(v *part.Variant) []string {
	p := newPrinter(v)
	var lines []string
	for _, e := range v.Logic.Equations {
		if e.Tabled {
			continue
		}
		lines = append(lines, fmt.Sprintf("%s = %s", p.names(e.Targets), p.expr(e.Value, 0)))
	}
	for _, r := range v.Logic.Registers {
		if r.Tabled {
			continue
		}
		lines = append(lines, "register "+r.Name)
		for _, rule := range r.Rules {
			lines = append(lines, "    "+p.rule(rule))
		}
	}
	return lines
}

type printer struct {
	signals []part.Signal
	buses   map[string]string // name of a bus by its bits
}

func newPrinter(v *part.Variant) printer {
	p := printer{signals: v.Logic.Signals, buses: map[string]string{}}
	for _, b := range v.Logic.Buses {
		p.buses[fmt.Sprint(b.Bits)] = b.Name
	}
	return p
}

func (p printer) names(ids []int) string {
	var names []string
	for _, id := range ids {
		names = append(names, p.signals[id].Name)
	}
	if len(names) == 1 {
		return names[0]
	}
	if bus, ok := p.buses[fmt.Sprint(ids)]; ok {
		return bus
	}
	return "{" + strings.Join(names, ", ") + "}"
}

func (p printer) rule(r part.Rule) string {
	text := ""
	switch r.Edge {
	case part.Rise:
		text = "on rise " + p.signals[r.Clock].Name + " "
	case part.Fall:
		text = "on fall " + p.signals[r.Clock].Name + " "
	case part.Pulse:
		text = "on pulse " + p.signals[r.Clock].Name + " "
	}
	if r.When != nil {
		text += "when " + p.expr(r.When, 0) + " "
	}
	return text + ": " + p.expr(r.Next, 0)
}

// binding is how tightly an operator holds its operands, as in vectors/README.md.
var binding = map[string]int{"?": 1, "|": 2, "^": 3, "&": 4, "==": 5, "!=": 5, "<": 6, "<=": 6, ">": 6, ">=": 6, "<<": 7, ">>": 7, "+": 8, "-": 8, "*": 9, "!": 10}

// expr prints an expression that stands beside an operator of a binding.
func (p printer) expr(e part.Expr, beside int) string {
	text, own := p.bare(e)
	if own < beside {
		return "(" + text + ")"
	}
	return text
}

func (p printer) bare(e part.Expr) (text string, own int) {
	switch e := e.(type) {
	case part.Const:
		return number(e), 11
	case part.Ref:
		return p.signals[e.Signal].Name, 11
	case part.Concat:
		return p.concat(e), 11
	case part.Not:
		return "!" + p.expr(e.X, binding["!"]), binding["!"]
	case part.Gated:
		var in []string
		for _, x := range e.In {
			in = append(in, p.expr(x, binding[e.Op]+1))
		}
		return strings.Join(in, " "+e.Op+" "), binding[e.Op]
	case part.Repeat:
		return p.bare(e.X)
	case part.Binary:
		return p.expr(e.X, binding[e.Op]) + " " + e.Op + " " + p.expr(e.Y, binding[e.Op]+1), binding[e.Op]
	case part.Cond:
		return p.expr(e.If, 2) + " ? " + p.expr(e.Then, 2) + " : " + p.expr(e.Else, 1), 1
	case part.Slice:
		if e.Hi == e.Lo {
			return fmt.Sprintf("%s[%d]", p.expr(e.X, 11), e.Lo), 11
		}
		return fmt.Sprintf("%s[%d:%d]", p.expr(e.X, 11), e.Hi, e.Lo), 11
	case part.Select:
		return p.expr(e.X, 11) + "[" + p.expr(e.Index, 0) + "]", 11
	case part.Call:
		return e.Func + "(" + p.expr(e.X, 0) + ")", 11
	}
	return "?", 11
}

// concat prints bits beside each other; zeros put before a value that is widened are left out.
func (p printer) concat(e part.Concat) string {
	if c, ok := e.Parts[0].(part.Const); ok && len(e.Parts) == 2 && strings.Trim(c.Bits, "0") == "" && e.Parts[1].Width() > 1 {
		return p.expr(e.Parts[1], 11)
	}
	var ids []int
	var parts []string
	for _, x := range e.Parts {
		if r, ok := x.(part.Ref); ok {
			ids = append(ids, r.Signal)
		}
		parts = append(parts, p.expr(x, 0))
	}
	if bus, ok := p.buses[fmt.Sprint(ids)]; ok && len(ids) == len(parts) {
		return bus
	}
	return "{" + strings.Join(parts, ", ") + "}"
}

func number(c part.Const) string {
	if strings.Trim(c.Bits, c.Bits[:1]) == "" && (c.Bits[0] == 'x' || c.Bits[0] == 'z') {
		return c.Bits[:1]
	}
	n, err := strconv.ParseUint(c.Bits, 2, 64)
	if err != nil {
		return c.Bits
	}
	return strconv.FormatUint(n, 10)
}
