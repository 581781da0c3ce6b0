package twolevel

import (
	"fmt"
	"math/bits"
	"strings"
)

// An Expression is a function as a person would write it: a sum of products, the
// complement of one, or the exclusive OR of inputs or its complement.
type Expression struct {
	Not    bool // the complement of what follows
	Parity bool // the exclusive OR of the inputs of Cover, which is one product of plain literals
	Cover  Cover
}

// Express gives the shortest expression of a function: of its minimal sum of
// products and that of its complement, the one with fewer operators. An exclusive
// OR of two inputs or more, or its complement, is written as such.
func Express(f Function) Expression {
	if p, ok := parity(f); ok {
		return p
	}
	plain := Expression{Cover: Minimise(f)}
	inverse := Expression{Not: true, Cover: Minimise(f.Not())}
	if inverse.operators() < plain.operators() {
		return inverse
	}
	return plain
}

// parity finds an exclusive OR without computing a cover, whose products it would be
// the worst case of. Functions with rows left open are none.
func parity(f Function) (e Expression, ok bool) {
	var inputs uint16
	base := f.Level(0)
	for i := range f.Inputs {
		switch f.Level(1 << i) {
		case Either:
			return e, false
		case base:
		default:
			inputs |= 1 << i
		}
	}
	if bits.OnesCount16(inputs) < 2 {
		return e, false
	}
	for row := range 1 << f.Inputs {
		odd := bits.OnesCount16(uint16(row)&inputs)%2 != 0
		if l := f.Level(row); l == Either || (l == High) != (odd != (base == High)) {
			return e, false
		}
	}
	cover := Cover{Cubes: []Cube{{inputs, inputs}}, Minimal: true}
	return Expression{Not: base == High, Parity: true, Cover: cover}, true
}

// Level tells whether the expression is 1 in a row.
func (e Expression) Level(row int) bool {
	if e.Parity {
		return (bits.OnesCount16(uint16(row)&e.Cover.Support())%2 != 0) != e.Not
	}
	return e.Cover.Covers(row) != e.Not
}

// operators counts the operators that writing the expression takes.
func (e Expression) operators() (n int) {
	if e.Not {
		n++
	}
	for _, c := range e.Cover.Cubes {
		inverted := bits.OnesCount16(c.Care &^ c.Value)
		n += inverted + c.Literals() // a sign behind each literal but the last of all
	}
	return n
}

// words are how an expression is written.
type words struct{ not, and, or, xor, low, high string }

var (
	definition = words{"!", " & ", " | ", " ^ ", "0", "1"}
	spoken     = words{"NOT ", " AND ", " OR ", " XOR ", "low", "high"}
)

// In writes the expression in the language of the part definitions, by the names of
// the inputs: "!(1A & 1B)".
func (e Expression) In(names []string) string { return e.write(names, definition) }

// Words writes the expression in words: "NOT (1A AND 1B)".
func (e Expression) Words(names []string) string { return e.write(names, spoken) }

func (e Expression) write(names []string, w words) string {
	if level, ok := e.Constant(); ok {
		if level {
			return w.high
		}
		return w.low
	}
	var products []string
	for _, c := range e.Cover.Cubes {
		var literals []string
		for i, name := range names {
			switch {
			case c.Care>>i&1 == 0:
			case c.Value>>i&1 == 0:
				literals = append(literals, w.not+name)
			default:
				literals = append(literals, name)
			}
		}
		between := w.and
		if e.Parity {
			between = w.xor
		}
		product := strings.Join(literals, between)
		// AND binds before OR in the definitions; in words nobody should have to know.
		if w == spoken && len(e.Cover.Cubes) > 1 && len(literals) > 1 {
			product = "(" + product + ")"
		}
		products = append(products, product)
	}
	text := strings.Join(products, w.or)
	if !e.Not {
		return text
	}
	if len(products) == 1 && e.Cover.Literals() == 1 {
		return w.not + text
	}
	return w.not + "(" + text + ")"
}

// Constant tells whether the expression depends on no input, and its level then.
func (e Expression) Constant() (high, ok bool) {
	switch {
	case len(e.Cover.Cubes) == 0:
		return e.Not, true
	case e.Cover.Cubes[0].Care == 0:
		return !e.Not, true
	}
	return false, false
}

// Gate names what gives the expression where it is a gate that data sheets name:
// "3-input NAND", "inverter", "AND-OR-INVERT"; empty for anything else.
func (e Expression) Gate() string {
	inputs := e.Cover.Literals()
	inverted := 0
	for _, c := range e.Cover.Cubes {
		inverted += bits.OnesCount16(c.Care &^ c.Value)
	}
	_, constant := e.Constant()
	one, single := len(e.Cover.Cubes) == 1, inputs == len(e.Cover.Cubes)
	named := func(name, complement string) string {
		if e.Not {
			name = complement
		}
		return fmt.Sprintf("%d-input %s", inputs, name)
	}
	switch {
	case constant:
		return ""
	case one && inputs == 1:
		if e.Not != (inverted == 1) {
			return "inverter"
		}
		return "buffer"
	case inverted > 0:
		return ""
	case e.Parity:
		return named("exclusive OR", "exclusive NOR")
	case one:
		return named("AND", "NAND")
	case single:
		return named("OR", "NOR")
	case bits.OnesCount16(e.Cover.Support()) == inputs && e.Not:
		return "AND-OR-INVERT"
	case bits.OnesCount16(e.Cover.Support()) == inputs:
		return "AND-OR"
	}
	return ""
}
