package march

import (
	"fmt"
	"strings"
	"unicode"
)

// A SyntaxError says where a march test's notation is wrong.
type SyntaxError struct {
	Notation string
	Column   int // of the character at fault, from 0, counted in characters
	Reason   string
}

// Error gives the reason, and the notation with a caret below it.
func (e *SyntaxError) Error() string {
	return fmt.Sprintf("march test: %s\n    %s\n    %s^", e.Reason, e.Notation, strings.Repeat(" ", e.Column))
}

// Parse reads a march test in the literature's notation:
//
//	{⇕(w0);⇑(r0,w1);Del;⇓(r1,w0)}
//
// For keyboards without arrows, the orders may be written ^ v | or up, down,
// any; the braces and blanks may be left out or added; case does not matter.
// A test must read something, and must not read what was not written: such a
// test would fail every good memory. Errors are of type *SyntaxError.
func Parse(notation string) (Test, error) {
	p := &parser{text: []rune(strings.Map(blank, notation))}
	t, err := p.test()
	if err != nil {
		return Test{}, err
	}
	return t, nil
}

// blank makes every kind of space one column wide, so that the caret stands right.
func blank(r rune) rune {
	if unicode.IsSpace(r) || unicode.IsControl(r) {
		return ' '
	}
	return r
}

type parser struct {
	text  []rune
	at    int
	held  *uint8 // what every cell holds here; nil before the first write
	reads bool
}

func (p *parser) fail(column int, format string, a ...any) error {
	return &SyntaxError{Notation: string(p.text), Column: column, Reason: fmt.Sprintf(format, a...)}
}

// next gives the next character that is not a blank, 0 at the end.
func (p *parser) next() rune {
	for p.at < len(p.text) && p.text[p.at] == ' ' {
		p.at++
	}
	if p.at == len(p.text) {
		return 0
	}
	return p.text[p.at]
}

func (p *parser) accept(r rune) bool {
	if p.next() != r {
		return false
	}
	p.at++
	return true
}

func (p *parser) test() (Test, error) {
	var t Test
	braces := p.accept('{')
	for {
		e, err := p.element()
		if err != nil {
			return t, err
		}
		t.Elements = append(t.Elements, e)
		if !p.accept(';') {
			break
		}
	}
	if braces && !p.accept('}') {
		return t, p.fail(p.at, "a ; or a } is missing here")
	}
	if p.next() != 0 {
		return t, p.fail(p.at, "the test ends before this")
	}
	if !p.reads {
		return t, p.fail(p.at, "the test reads nothing, so it finds nothing")
	}
	return t, nil
}

var orders = map[string]Order{
	"⇕": Any, "↕": Any, "|": Any, "any": Any,
	"⇑": Up, "↑": Up, "^": Up, "up": Up,
	"⇓": Down, "↓": Down, "v": Down, "down": Down,
}

func (p *parser) element() (Element, error) {
	p.next()
	start := p.at
	word := strings.ToLower(p.word())
	if word == "del" {
		return Element{Wait: true}, nil
	}
	order, ok := orders[word]
	if !ok {
		return Element{}, p.fail(start, "an element begins with ⇑ ⇓ ⇕, ^ v |, up, down or any, or is Del")
	}
	e := Element{Order: order}
	if !p.accept('(') {
		return e, p.fail(p.at, "a ( is missing here")
	}
	for {
		o, err := p.operation()
		if err != nil {
			return e, err
		}
		e.Operations = append(e.Operations, o)
		if !p.accept(',') {
			break
		}
	}
	if !p.accept(')') {
		return e, p.fail(p.at, "a , or a ) is missing here")
	}
	return e, nil
}

// word takes a run of letters, or one other character.
func (p *parser) word() string {
	start := p.at
	for p.at < len(p.text) && unicode.IsLetter(p.text[p.at]) {
		p.at++
	}
	if p.at == start && p.at < len(p.text) {
		p.at++
	}
	return string(p.text[start:p.at])
}

func (p *parser) operation() (Operation, error) {
	kind := unicode.ToLower(p.next())
	start := p.at
	if kind != 'r' && kind != 'w' {
		return Operation{}, p.fail(start, "an operation is r0, r1, w0 or w1")
	}
	p.at++
	digit := p.next()
	if digit != '0' && digit != '1' {
		return Operation{}, p.fail(p.at, "a 0 or a 1 is missing here")
	}
	p.at++
	o := Operation{Write: kind == 'w', Value: uint8(digit - '0')}
	switch {
	case o.Write:
		p.held = &o.Value
	case p.held == nil:
		return o, p.fail(start, "%s reads before anything was written", o)
	case *p.held != o.Value:
		return o, p.fail(start, "%s expects %d where the cells hold %d: a good memory would fail", o, o.Value, *p.held)
	default:
		p.reads = true
	}
	return o, nil
}
