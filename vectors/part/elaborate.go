package part

import (
	"fmt"
	"math/bits"
	"strconv"
	"strings"
)

// A scope resolves names to signals while a variant's logic is built.
type scope struct {
	src     *source
	signals []Signal
	named   map[string][]int // signals of a name or a bus, most significant first
}

func (s *scope) add(name string, pin int) int {
	s.signals = append(s.signals, Signal{Name: name, Pin: pin})
	return len(s.signals) - 1
}

// declare makes an inner name of a width.
func (s *scope) declare(name string, width int) []int {
	var ids []int
	for i := width - 1; i >= 0; i-- {
		bit := name
		if width > 1 {
			bit = fmt.Sprintf("%s[%d]", name, i)
		}
		ids = append(ids, s.add(bit, 0))
	}
	s.named[name] = ids
	return ids
}

func (s *scope) fail(n *node, format string, args ...any) error {
	return s.src.errorAt(n.line, n.col, format, args...)
}

// flexible reports whether a node takes any width it is asked for: an unsized literal.
func flexible(n *node) bool {
	return n.op == "number" && !strings.Contains(n.text, "'")
}

// elaborate gives a node its width and resolves its names. Want is the width of
// the place it stands in, or 0 where it decides for itself.
func (s *scope) elaborate(n *node, want int) (Expr, error) {
	switch n.op {
	case "number":
		return s.constant(n, want)
	case "name":
		ids, ok := s.named[n.text]
		if !ok {
			return nil, s.fail(n, "there is no pin, bus or inner name %s", n.text)
		}
		return refs(ids), nil
	case "{}":
		return s.join(n)
	case "!":
		x, err := s.elaborate(n.kids[0], want)
		if err != nil {
			return nil, err
		}
		return Not{x}, nil
	case "?:":
		return s.cond(n, want)
	case "&", "|", "^":
		return s.bitwise(n, want)
	case "+", "-", "*":
		return s.arithmetic(n, want)
	case "<<", ">>":
		return s.shift(n, want)
	case "==", "!=", "<", "<=", ">", ">=":
		x, y, err := s.pair(n, 0)
		if err != nil {
			return nil, err
		}
		return Binary{Op: n.op, X: x, Y: y, W: 1}, nil
	case "[]", "[:]":
		return s.index(n)
	}
	return s.call(n)
}

// width gives the width that a node has by itself. It is remembered in the
// node, so that deep nesting costs no more than its length.
func (s *scope) width(n *node) (w int, err error) {
	if n.width > 0 {
		return n.width, nil
	}
	switch n.op {
	case "number":
		c, _ := literal(n.text)
		w = len(c.Bits)
	case "name":
		ids, ok := s.named[n.text]
		if !ok {
			return 0, s.fail(n, "there is no pin, bus or inner name %s", n.text)
		}
		w = len(ids)
	case "{}":
		for _, k := range n.kids {
			kw, err := s.width(k)
			if err != nil {
				return 0, err
			}
			w += kw
		}
	case "?:":
		w, err = s.widest(n.kids[1:])
	case "!", "<<", ">>":
		w, err = s.width(n.kids[0])
	case "&", "|", "^", "+", "-", "*":
		w, err = s.widest(n.kids)
	case "[:]":
		hi, _ := strconv.Atoi(n.kids[1].text)
		lo, _ := strconv.Atoi(n.kids[2].text)
		w = max(hi-lo+1, 1)
	case "count":
		w, err = s.width(n.kids[0])
		w = bits.Len(uint(w))
	default: // comparisons, one bit of a bus, parity, any, all
		w = 1
	}
	n.width = w
	return w, err
}

func (s *scope) widest(nodes []*node) (int, error) {
	widest := 1
	for _, n := range nodes {
		w, err := s.width(n)
		if err != nil {
			return 0, err
		}
		widest = max(widest, w)
	}
	return widest, nil
}

func (s *scope) constant(n *node, want int) (Expr, error) {
	c, ok := literal(n.text)
	if !ok {
		return nil, s.fail(n, "%s is not a number: write 12, 0b1100, 0xC or 4'12", n.text)
	}
	if !flexible(n) || want == 0 {
		return c, nil
	}
	if len(c.Bits) > want {
		return nil, s.fail(n, "%s does not fit into %d bits", n.text, want)
	}
	fill := "0"
	if c.Bits == "x" || c.Bits == "z" {
		fill = c.Bits
	}
	c.Bits = strings.Repeat(fill, want-len(c.Bits)) + c.Bits
	return c, nil
}

func refs(ids []int) Expr {
	if len(ids) == 1 {
		return Ref{ids[0]}
	}
	var c Concat
	for _, id := range ids {
		c.Parts = append(c.Parts, Ref{id})
	}
	return c
}

func (s *scope) join(n *node) (Expr, error) {
	var c Concat
	for _, k := range n.kids {
		x, err := s.elaborate(k, 0)
		if err != nil {
			return nil, err
		}
		c.Parts = append(c.Parts, x)
	}
	if w := c.Width(); w > MaxWidth {
		return nil, s.fail(n, "%d bits beside each other: a bus has at most %d", w, MaxWidth)
	}
	return c, nil
}

func (s *scope) cond(n *node, want int) (Expr, error) {
	c, err := s.elaborate(n.kids[0], 1)
	if err != nil {
		return nil, err
	}
	if c.Width() != 1 {
		return nil, s.fail(n.kids[0], "the condition before ? has %d bits: it must be one, as in any(…) or a == b", c.Width())
	}
	branches := &node{op: "?:", kids: n.kids[1:], line: n.line, col: n.col}
	x, y, err := s.pair(branches, want)
	if err != nil {
		return nil, err
	}
	return Cond{c, x, y}, nil
}

// pair elaborates two operands to one width: the wanted one, or the wider of the two.
func (s *scope) pair(n *node, want int) (x, y Expr, err error) {
	a, b := n.kids[0], n.kids[1]
	if want == 0 {
		if want, err = s.widest(n.kids); err != nil {
			return nil, nil, err
		}
	}
	if x, err = s.elaborate(a, want); err != nil {
		return nil, nil, err
	}
	if y, err = s.elaborate(b, want); err != nil {
		return nil, nil, err
	}
	if n.op == "?:" && x.Width() != y.Width() {
		return nil, nil, s.fail(n, "the two branches have %d and %d bits", x.Width(), y.Width())
	}
	return widen(x, want), widen(y, want), nil
}

// widen puts zeros before a value that is narrower than w.
func widen(x Expr, w int) Expr {
	if x.Width() >= w {
		return x
	}
	return Concat{[]Expr{Const{strings.Repeat("0", w-x.Width())}, x}}
}

// bitwise makes one gate of all operands; a single bit beside a bus acts on each bit of it.
func (s *scope) bitwise(n *node, want int) (Expr, error) {
	w, err := s.widest(n.kids)
	if err != nil {
		return nil, err
	}
	if arithmeticOnly(n.kids) {
		w = max(w, want)
	}
	g := Gated{Op: n.op, W: w}
	for _, k := range n.kids {
		x, err := s.elaborate(k, w)
		if err != nil {
			return nil, err
		}
		switch {
		case x.Width() == w:
		case x.Width() == 1:
			x = Repeat{x, w}
		default:
			return nil, s.fail(n, "%s joins values of %d and %d bits", n.op, x.Width(), w)
		}
		g.In = append(g.In, x)
	}
	return g, nil
}

// arithmeticOnly reports whether every operand's width is open, so that the target's counts.
func arithmeticOnly(kids []*node) bool {
	for _, k := range kids {
		if !flexible(k) && !widens(k) {
			return false
		}
	}
	return true
}

func (s *scope) arithmetic(n *node, want int) (Expr, error) {
	x, y, err := s.pair(n, want)
	if err != nil {
		return nil, err
	}
	w := max(x.Width(), y.Width())
	if want > 0 && w > want {
		x, y, w = low(x, want), low(y, want), want
	}
	if n.op == "*" && x.Width()*y.Width() > MaxWidth*MaxWidth/4 {
		return nil, s.fail(n, "a product of %d bits is too large", w)
	}
	return Binary{Op: n.op, X: widen(x, w), Y: widen(y, w), W: w}, nil
}

// low takes the w least significant bits.
func low(x Expr, w int) Expr {
	if x.Width() <= w {
		return x
	}
	return Slice{X: x, Hi: w - 1, Lo: 0}
}

func (s *scope) shift(n *node, want int) (Expr, error) {
	x, err := s.elaborate(n.kids[0], want)
	if err != nil {
		return nil, err
	}
	y, err := s.elaborate(n.kids[1], 0)
	if err != nil {
		return nil, err
	}
	x = widen(x, want)
	return Binary{Op: n.op, X: x, Y: y, W: x.Width()}, nil
}

func (s *scope) index(n *node) (Expr, error) {
	x, err := s.elaborate(n.kids[0], 0)
	if err != nil {
		return nil, err
	}
	bit := func(k *node) (int, error) {
		i, err := strconv.Atoi(k.text)
		if k.op != "number" || err != nil {
			return 0, s.fail(k, "a part of a bus is taken by numbers, as in A[3:1]")
		}
		if i >= x.Width() {
			return 0, s.fail(k, "bit %d of %d: bits are numbered from 0", i, x.Width())
		}
		return i, nil
	}
	if n.op == "[:]" {
		hi, err := bit(n.kids[1])
		if err != nil {
			return nil, err
		}
		lo, err := bit(n.kids[2])
		if err != nil {
			return nil, err
		}
		if hi < lo {
			return nil, s.fail(n, "write the higher bit first, as in A[3:1]")
		}
		return Slice{x, hi, lo}, nil
	}
	if n.kids[1].op == "number" {
		i, err := bit(n.kids[1])
		if err != nil {
			return nil, err
		}
		return Slice{x, i, i}, nil
	}
	index, err := s.elaborate(n.kids[1], 0)
	if err != nil {
		return nil, err
	}
	if index.Width() > 6 || 1<<index.Width() > MaxWidth {
		return nil, s.fail(n, "an index of %d bits selects among more than %d", index.Width(), MaxWidth)
	}
	return Select{x, index}, nil
}

func (s *scope) call(n *node) (Expr, error) {
	x, err := s.elaborate(n.kids[0], 0)
	if err != nil {
		return nil, err
	}
	w, err := s.width(n)
	if err != nil {
		return nil, err
	}
	return Call{n.op, x, w}, nil
}
