package part

import (
	"strconv"
	"strings"
)

// A node is an expression as it was written, before names and widths are known.
type node struct {
	op   string // an operator, "name", "number", "?:", "{}", "[]", "[:]", "!" or a function's name
	text string // of a name or a number
	kids []*node
	line line
	col  int

	width int // in bits, once known
}

// binary operators from loose to tight; those of one row bind alike, to the left.
var precedence = [][]string{
	{"|"}, {"^"}, {"&"}, {"==", "!="}, {"<", "<=", ">", ">="}, {"<<", ">>"}, {"+", "-"}, {"*"},
}

var functions = map[string]bool{"parity": true, "any": true, "all": true, "count": true}

// exprParser reads expressions from the tokens of one line.
type exprParser struct {
	src   *source
	line  line
	next  int // index into line.tokens
	depth int
}

func (p *exprParser) peek() token {
	if p.next < len(p.line.tokens) {
		return p.line.tokens[p.next]
	}
	return token{endOfLine, "the end of the line", len([]rune(p.line.text)) + 1}
}

// accept steps over a symbol if it stands next.
func (p *exprParser) accept(symbols ...string) bool {
	t := p.peek()
	for _, s := range symbols {
		if t.kind == symbol && t.text == s {
			p.next++
			return true
		}
	}
	return false
}

func (p *exprParser) expect(s string) error {
	if !p.accept(s) {
		return p.src.errorAt(p.line, p.peek().col, "%q must stand here, not %s", s, p.peek().text)
	}
	return nil
}

func (p *exprParser) atEnd() error {
	if t := p.peek(); t.kind != endOfLine {
		return p.src.errorAt(p.line, t.col, "%s is not expected here", t.text)
	}
	return nil
}

func (p *exprParser) node(op string, col int, kids ...*node) *node {
	return &node{op: op, kids: kids, line: p.line, col: col}
}

// expression reads c ? a : b, or what binds tighter.
func (p *exprParser) expression() (*node, error) {
	if p.depth++; p.depth > MaxDepth {
		return nil, p.src.errorAt(p.line, p.peek().col, "the expression is nested more than %d deep: give a part of it a name", MaxDepth)
	}
	defer func() { p.depth-- }()
	cond, err := p.binary(0)
	if err != nil {
		return nil, err
	}
	col := p.peek().col
	if !p.accept("?") {
		return cond, nil
	}
	then, err := p.expression()
	if err != nil {
		return nil, err
	}
	if err := p.expect(":"); err != nil {
		return nil, err
	}
	otherwise, err := p.expression()
	if err != nil {
		return nil, err
	}
	return p.node("?:", col, cond, then, otherwise), nil
}

func (p *exprParser) binary(level int) (*node, error) {
	if level == len(precedence) {
		return p.unary()
	}
	left, err := p.binary(level + 1)
	if err != nil {
		return nil, err
	}
	for {
		t := p.peek()
		if !p.accept(precedence[level]...) {
			return left, nil
		}
		right, err := p.binary(level + 1)
		if err != nil {
			return nil, err
		}
		// a & b & c is one gate of three inputs, not two gates
		if strings.Contains("&|^", t.text) && left.op == t.text && left.text == "" {
			left.kids = append(left.kids, right)
			continue
		}
		left = p.node(t.text, t.col, left, right)
	}
}

func (p *exprParser) unary() (*node, error) {
	t := p.peek()
	if p.accept("!", "-") {
		if p.depth++; p.depth > MaxDepth {
			return nil, p.src.errorAt(p.line, t.col, "more than %d operators in a row", MaxDepth)
		}
		defer func() { p.depth-- }()
		x, err := p.unary()
		if err != nil {
			return nil, err
		}
		if t.text == "-" {
			return p.node("-", t.col, &node{op: "number", text: "0", line: p.line, col: t.col}, x), nil
		}
		return p.node("!", t.col, x), nil
	}
	x, err := p.primary()
	if err != nil {
		return nil, err
	}
	for p.accept("[") {
		col := p.peek().col
		index, err := p.expression()
		if err != nil {
			return nil, err
		}
		if p.accept(":") {
			low, err := p.expression()
			if err != nil {
				return nil, err
			}
			x = p.node("[:]", col, x, index, low)
		} else {
			x = p.node("[]", col, x, index)
		}
		if err := p.expect("]"); err != nil {
			return nil, err
		}
	}
	return x, nil
}

func (p *exprParser) primary() (*node, error) {
	t := p.peek()
	switch {
	case p.accept("("):
		x, err := p.expression()
		if err != nil {
			return nil, err
		}
		if x.op == "&" || x.op == "|" || x.op == "^" {
			x.text = "()" // a gate of its own, as written
		}
		return x, p.expect(")")
	case p.accept("{"):
		join := p.node("{}", t.col)
		for {
			x, err := p.expression()
			if err != nil {
				return nil, err
			}
			join.kids = append(join.kids, x)
			if !p.accept(",") {
				return join, p.expect("}")
			}
		}
	case t.kind == rangeToken: // Q3..Q0 beside each other, as {Q3, Q2, Q1, Q0}
		p.next++
		names, err := expandRange(t.text)
		if err != nil {
			return nil, p.src.errorAt(p.line, t.col, "%v", err)
		}
		join := p.node("{}", t.col)
		for _, name := range names {
			join.kids = append(join.kids, &node{op: "name", text: name, line: p.line, col: t.col})
		}
		return join, nil
	case t.kind == nameToken:
		p.next++
		if functions[t.text] && p.accept("(") {
			x, err := p.expression()
			if err != nil {
				return nil, err
			}
			return p.node(t.text, t.col, x), p.expect(")")
		}
		op := "name"
		if _, ok := literal(t.text); ok {
			op = "number"
		}
		return &node{op: op, text: t.text, line: p.line, col: t.col}, nil
	}
	return nil, p.src.errorAt(p.line, t.col, "a name, a number or a bracket must stand here, not %s", t.text)
}

// literal reads a constant: x, z, 12, 0b1100, 0xC, 4'12. Bits stand most
// significant first; an unsized number has no leading zeros but is never empty.
func literal(text string) (c Const, ok bool) {
	if text == "x" || text == "z" {
		return Const{text}, true
	}
	width := 0
	digits := text
	if w, d, sized := strings.Cut(text, "'"); sized {
		n, err := strconv.Atoi(w)
		if err != nil || n < 1 || n > MaxWidth {
			return c, false
		}
		width, digits = n, d
	}
	base := 10
	if len(digits) > 2 && digits[0] == '0' && (digits[1] == 'b' || digits[1] == 'x') {
		base = map[byte]int{'b': 2, 'x': 16}[digits[1]]
		digits = digits[2:]
	}
	n, err := strconv.ParseUint(digits, base, 64)
	if err != nil {
		return c, false
	}
	bits := strconv.FormatUint(n, 2)
	if width > 0 {
		if len(bits) > width {
			return c, false
		}
		bits = strings.Repeat("0", width-len(bits)) + bits
	}
	return Const{bits}, true
}
