package logic_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/logic"
)

const eight = `
part 7430 "eight inputs"
kind gate
families 74
source "from memory"
package DIP14
      A  1 | U | 14 VCC
      B  2 |   | 13 NC
      C  3 |   | 12 H
      D  4 |   | 11 G
      E  5 |   | 10 Z
      F  6 |   | 9  NC
    GND  7 |   | 8  Y
inputs A B C D E F G H
outputs Y
outputs three-state Z
`

// Of each equation one product term is dead: what is left is written beside it as
// the data book would write the function without it. A term's number is its place.
func TestDeadProductTerm(t *testing.T) {
	for _, c := range []struct {
		y    string
		term int
		left string
		why  string
	}{
		{"!(A & B | C & D | E & F | G & H)", 3, "!(A & B | C & D | G & H)", "AND-OR-INVERT, the 7454"},
		{"!(A & B | C & D | E & F | G & H)", 1, "!(C & D | E & F | G & H)", "its first"},
		{"A & B | C | D & E & F | G & H", 2, "A & B | D & E & F | G & H", "a term of one input"},
		{"A & B | !C & !D | E & !F | !(G & H)", 2, "A & B | E & !F | !(G & H)", "complements in terms"},
		{"A & B | !C & !D | E & !F | !(G & H)", 4, "A & B | !C & !D | E & !F", "a complement of a product as a term"},
		{"{A, B, C, D}[{E, F}] & (G | !G & H)", 9, "", "more terms than there are"},
		{"!H & {A, B, C, D}[{F, G}] | E & 0", 2, "!H & (A & !F & !G & 0 | D & !F & !G | B & F & !G | A & F & G)", "a multiplexer with an enable: its bit 1, C"},
		{"H ? A & B | C & D : E & F & G", 1, "H ? C & D : E & F & G", "a choice of sums"},
		{"H ? A & B | C & D : E & F & G", 3, "H ? A & B | C & D : 0", "and the other side"},
		{"!(A & B & C & D & E & F & G & H)", 1, "A | 1", "a NAND is one product"},
		{"A & B & C & D & E & F & G & H", 1, "A & 0", "and so is an AND"},
		{"A ^ B ^ C ^ D ^ E ^ F ^ G ^ H", 1, "", "parity is no sum of products"},
	} {
		broken := compile(t, eight+"Y = "+c.y+"\nZ = z\n")
		err := broken.KillProduct(output(broken, 8), c.term)
		if c.left == "" {
			require.ErrorIs(t, err, logic.ErrNoProduct, c.why)
			continue
		}
		require.NoError(t, err, c.why)
		// what is left may not read every input, which a definition must: tie those in
		left := compile(t, eight+"Y = ("+c.left+") ^ (0 & (A ^ B ^ C ^ D ^ E ^ F ^ G ^ H))\nZ = z\n")
		require.Equal(t, truth(left, 8), truth(broken, 8), "%s: %s", c.why, c.y)
	}
}

// Behind inverters and a three-state enable the terms are those of what they let
// through; and what else is made of the same sum is made of it without the term.
func TestDeadProductTermIsDeadForAll(t *testing.T) {
	const text = eight + `
s = A & B | C & D | (E ? F & !A : B & !A)
Y = !s
Z = G & H ? s : z
`
	for i, term := range []string{"A & B", "C & D", "F & !A", "B & !A"} {
		left := compile(t, strings.Replace(text, term, term+" & 0", 1))
		for _, of := range []string{"s", "Y", "Z"} {
			broken := compile(t, text)
			node := broken.Signals[signal(broken, of)]
			require.NoError(t, broken.KillProduct(node, i+1))
			require.Equal(t, truth(left, 8), truth(broken, 8), "Y, term %d of %s", i+1, of)
			require.Equal(t, truth(left, 10), truth(broken, 10), "Z, term %d of %s", i+1, of)
		}
	}
}

func output(c *logic.Circuit, pin int) int32 {
	for _, o := range c.Outputs {
		if o.Pin == pin {
			return o.Node
		}
	}
	return -1
}

func signal(c *logic.Circuit, name string) int {
	for i, s := range c.Variant.Logic.Signals {
		if s.Name == name {
			return i
		}
	}
	return -1
}

// truth is an output's level for all levels of the eight inputs.
func truth(c *logic.Circuit, pin int) string {
	m := c.NewMachine()
	var b strings.Builder
	for v := range 256 {
		for i, in := range []int{1, 2, 3, 4, 5, 6, 11, 12} {
			m.Set(in, logic.Splat(logic.FromBool(v>>i&1 != 0)))
		}
		m.Settle()
		b.WriteString(m.Out(pin).Lane(0).String())
	}
	return b.String()
}
