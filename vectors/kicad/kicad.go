// Package kicad reads the symbols of a KiCad symbol library file (.kicad_sym, an
// open text format of nested lists) as far as a part definition can use them:
// each symbol's pins with number, name and electrical type.
package kicad

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// A Pin is one pin of a symbol.
type Pin struct {
	Number int
	Name   string // as a definition writes it: ~{OE} becomes /OE
	Type   string // input, output, bidirectional, tri_state, open_collector, power_in, passive, no_connect …
}

// Limits on a file, so that none can exhaust the program.
const (
	maxBytes = 64 << 20
	maxDepth = 100
)

// ErrFormat is the error of a text that is no symbol library.
var ErrFormat = errors.New("not a KiCad symbol library")

// A Library is the symbols of a file.
type Library struct {
	pins   map[string][]Pin
	parent map[string]string // symbols that extend another
}

// Read reads a symbol library.
func Read(text string) (*Library, error) {
	if len(text) > maxBytes {
		return nil, fmt.Errorf("%w: %d bytes are more than %d", ErrFormat, len(text), maxBytes)
	}
	r := &reader{text: text}
	top, err := r.list(0)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrFormat, err)
	}
	if top.head() != "kicad_symbol_lib" {
		return nil, fmt.Errorf("%w: it begins with %q", ErrFormat, top.head())
	}
	l := &Library{pins: map[string][]Pin{}, parent: map[string]string{}}
	for _, s := range top.all("symbol") {
		name := s.word(1)
		if base := s.first("extends"); base != nil {
			l.parent[name] = base.word(1)
		}
		l.pins[name] = pinsOf(s)
	}
	return l, nil
}

// Symbols lists the names of the symbols, sorted.
func (l *Library) Symbols() []string {
	var names []string
	for name := range l.pins {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// Pins gives the pins of a symbol by number, those of the symbol that it extends
// included; ok is false where there is no such symbol. A pin that several units
// draw is given once.
func (l *Library) Pins(name string) (pins []Pin, ok bool) {
	for range 10 {
		own, found := l.pins[name]
		if !found {
			return nil, false
		}
		pins = append(pins, own...)
		base, extends := l.parent[name]
		if !extends {
			break
		}
		name = base
	}
	slices.SortStableFunc(pins, func(a, b Pin) int { return a.Number - b.Number })
	return slices.CompactFunc(pins, func(a, b Pin) bool { return a.Number == b.Number }), true
}

// pinsOf gathers the pins of a symbol and its units. Pins whose number is no
// number are left out.
func pinsOf(s *node) []Pin {
	var pins []Pin
	for _, p := range s.all("pin") {
		number, name := p.first("number"), p.first("name")
		if number == nil || name == nil {
			continue
		}
		if n, err := strconv.Atoi(number.word(1)); err == nil {
			pins = append(pins, Pin{Number: n, Name: pinName(name.word(1)), Type: p.word(1)})
		}
	}
	for _, unit := range s.all("symbol") {
		if !strings.HasSuffix(unit.word(1), "_2") { // the De Morgan form draws the same pins again
			pins = append(pins, pinsOf(unit)...)
		}
	}
	return pins
}

// pinName turns an overbar into a leading slash.
func pinName(name string) string {
	if inner, ok := strings.CutPrefix(name, "~{"); ok {
		return "/" + strings.Replace(inner, "}", "", 1)
	}
	return strings.TrimPrefix(strings.Replace(name, "~", "/", 1), "/ ")
}

// A node is a list, or a word.
type node struct {
	text string
	kids []*node
}

func (n *node) head() string { return n.word(0) }

// word gives the text of element i, or "".
func (n *node) word(i int) string {
	if i >= len(n.kids) {
		return ""
	}
	return n.kids[i].text
}

// all gives the lists inside a list that begin with a word.
func (n *node) all(head string) []*node {
	var found []*node
	for _, k := range n.kids {
		if k.kids != nil && k.head() == head {
			found = append(found, k)
		}
	}
	return found
}

func (n *node) first(head string) *node {
	for _, k := range n.all(head) {
		return k
	}
	return nil
}

type reader struct {
	text string
	at   int
}

func (r *reader) skip() {
	for r.at < len(r.text) && strings.IndexByte(" \t\r\n", r.text[r.at]) >= 0 {
		r.at++
	}
}

// list reads a list in parentheses.
func (r *reader) list(depth int) (*node, error) {
	r.skip()
	if depth > maxDepth || r.at >= len(r.text) || r.text[r.at] != '(' {
		return nil, fmt.Errorf("a list must stand at byte %d", r.at)
	}
	r.at++
	n := &node{kids: []*node{}}
	for {
		r.skip()
		if r.at >= len(r.text) {
			return nil, errors.New("the last list is not closed")
		}
		switch r.text[r.at] {
		case ')':
			r.at++
			return n, nil
		case '(':
			k, err := r.list(depth + 1)
			if err != nil {
				return nil, err
			}
			n.kids = append(n.kids, k)
		case '"':
			word, err := r.quoted()
			if err != nil {
				return nil, err
			}
			n.kids = append(n.kids, &node{text: word})
		default:
			start := r.at
			for r.at < len(r.text) && strings.IndexByte(" \t\r\n()\"", r.text[r.at]) < 0 {
				r.at++
			}
			n.kids = append(n.kids, &node{text: r.text[start:r.at]})
		}
	}
}

func (r *reader) quoted() (string, error) {
	var b strings.Builder
	for r.at++; r.at < len(r.text); r.at++ {
		switch c := r.text[r.at]; {
		case c == '"':
			r.at++
			return b.String(), nil
		case c == '\\' && r.at+1 < len(r.text):
			r.at++
			b.WriteByte(r.text[r.at])
		default:
			b.WriteByte(c)
		}
	}
	return "", errors.New("a quoted text is not closed")
}
