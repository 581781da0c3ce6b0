package part

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
)

// Kinds are the kinds of part that a definition may name.
var Kinds = []string{
	"gate", "buffer", "inverter", "schmitt", "flip-flop", "latch", "register", "shift-register", "counter", "decoder",
	"encoder", "multiplexer", "arithmetic", "comparator", "parity", "transceiver", "driver", "timer", "switch",
	"oscillator", "display", "memory", "converter", "other",
}

// A statement is one statement of a definition with the lines that belong to it:
// the rows of a package or a table, the rules of a register.
type statement struct {
	keyword   string // "=" for an equation
	line      line
	rows      []line
	gate      string
	inherited int // 0 for the part's own, 1 from the part that this one is like, 2 from the one before
}

// A block is the statements of one part, as written.
type block struct {
	number   string
	head     line
	common   []statement
	variants []variantBlock
	text     []string // the lines of the block and of what it is like, for the digest
}

type variantBlock struct {
	head       line
	statements []statement
}

// Parse reads a definition file: one part or several. The file's name is for messages.
// Errors are of type *Error wherever they have a place in the text.
func Parse(file, text string) ([]*Part, error) {
	src, err := split(file, text)
	if err != nil {
		return nil, err
	}
	blocks, err := src.blocks()
	if err != nil {
		return nil, err
	}
	if len(blocks) == 0 {
		return nil, fmt.Errorf("%s: no part is defined: a definition begins with a line such as part 7400 \"quad 2-input NAND gate\"", file)
	}
	var parts []*Part
	for _, b := range blocks {
		p, err := src.build(b)
		if err != nil {
			return nil, err
		}
		parts = append(parts, p)
	}
	return parts, nil
}

// keywords that open a statement, each with a word on what follows it.
var keywords = map[string]string{
	"part": "", "kind": "", "families": "", "source": "", "like": "", "caution": "", "refuse": "", "untested": "",
	"variant": "", "package": "", "inputs": "", "outputs": "", "bidirectional": "", "external": "", "expander": "",
	"tie": "", "schmitt": "", "pull-up": "", "load": "", "drive": "", "bus": "", "gate": "", "end": "", "table": "",
	"register": "", "never": "", "unstable": "", "stable": "", "together": "", "sequence": "", "step": "", "repeat": "",
	"memory": "", "address": "", "data": "", "select": "", "write": "", "enable": "", "rows": "", "access": "",
	"refresh": "", "rewrite": "", "strobe": "", "inverted": "", "joined": "", "diodeless": "", "pumped": "", "unsupplied": "", "receiver": "", "differential": "",
	"timing": "", "trip": "",
}

// keyword gives the keyword a line begins with: hyphens are symbols to the
// tokenizer, so pull-up is put together here.
func (l line) keyword() string {
	t := l.tokens
	if len(t) > 2 && t[0].text == "pull" && t[1].text == "-" && t[2].text == "up" {
		return "pull-up"
	}
	if len(t) > 1 && t[1].kind == symbol && t[1].text == "=" {
		return "=" // a pin may have a keyword's name
	}
	if _, ok := keywords[t[0].text]; ok && t[0].kind == nameToken {
		return t[0].text
	}
	for _, token := range t {
		if token.kind == symbol && token.text == "=" {
			return "="
		}
	}
	return ""
}

// blocks groups the lines into parts and their statements.
func (s *source) blocks() ([]*block, error) {
	var blocks []*block
	byNumber := map[string]*block{}
	for i := 0; i < len(s.lines); {
		l := s.lines[i]
		if l.keyword() != "part" {
			return nil, s.errorAt(l, l.tokens[0].col, "a part must begin here: part NUMBER \"title\"")
		}
		if len(l.tokens) != 3 || l.tokens[1].kind != nameToken || l.tokens[2].kind != quoted {
			return nil, s.errorAt(l, l.tokens[0].col, "write the number and the title: part 7400 \"quad 2-input NAND gate\"")
		}
		end := i + 1
		for end < len(s.lines) && s.lines[end].keyword() != "part" {
			end++
		}
		b := &block{number: l.tokens[1].text, head: l}
		if byNumber[b.number] != nil {
			return nil, s.errorAt(l, l.tokens[1].col, "part %s is defined twice, first in line %d", b.number, byNumber[b.number].head.number)
		}
		if err := s.fill(b, s.lines[i+1:end], byNumber); err != nil {
			return nil, err
		}
		byNumber[b.number] = b
		blocks = append(blocks, b)
		i = end
	}
	return blocks, nil
}

// fill sorts the lines of a part into statements, common ones and each variant's.
func (s *source) fill(b *block, lines []line, earlier map[string]*block) error {
	b.text = append(b.text, b.head.text)
	for _, l := range lines {
		b.text = append(b.text, l.text)
	}
	var ownVariants []variantBlock
	into := &b.common
	for len(lines) > 0 {
		l := lines[0]
		switch l.keyword() {
		case "like":
			if err := s.inherit(b, l, earlier); err != nil {
				return err
			}
			lines = lines[1:]
		case "variant":
			ownVariants = append(ownVariants, variantBlock{head: l})
			into = &ownVariants[len(ownVariants)-1].statements
			lines = lines[1:]
		default:
			statements, rest, err := s.take(lines)
			if err != nil {
				return err
			}
			*into = append(*into, statements...)
			if len(*into) > maxStatement {
				return s.errorAt(l, 1, "part %s has more than %d statements", b.number, maxStatement)
			}
			lines = rest
		}
	}
	if ownVariants != nil {
		b.variants = ownVariants
	}
	return nil
}

// inherit copies the statements of an earlier part of the file.
func (s *source) inherit(b *block, l line, earlier map[string]*block) error {
	if len(l.tokens) < 2 || len(l.tokens) > 3 || len(b.common) > 0 || len(b.variants) > 0 {
		return s.errorAt(l, l.tokens[0].col, "like NUMBER, or like NUMBER FAMILY for one variant of it, must be a part's first statement")
	}
	base := earlier[l.tokens[1].text]
	if base == nil {
		return s.errorAt(l, l.tokens[1].col, "there is no part %s above in this file", l.tokens[1].text)
	}
	b.common = slices.Clone(base.common)
	b.text = append(slices.Clone(base.text), b.text...)
	if len(l.tokens) == 3 {
		family := l.tokens[2]
		v := slices.IndexFunc(base.variants, func(v variantBlock) bool {
			return slices.ContainsFunc(v.head.tokens, func(t token) bool { return t.kind == nameToken && t.text == family.text })
		})
		if v < 0 {
			return s.errorAt(l, family.col, "part %s has no variant %s", base.number, family.text)
		}
		b.common = append(b.common, base.variants[v].statements...)
	} else {
		for _, v := range base.variants {
			v.statements = slices.Clone(v.statements)
			for i := range v.statements {
				v.statements[i].inherited++
			}
			b.variants = append(b.variants, v)
		}
	}
	for i := range b.common {
		b.common[i].inherited++
	}
	return nil
}

// take reads the first statement of lines with what belongs to it. A gate
// statement gives all the statements of its gates.
func (s *source) take(lines []line) (taken []statement, rest []line, err error) {
	l := lines[0]
	st := statement{keyword: l.keyword(), line: l}
	rest = lines[1:]
	count := 0
	switch st.keyword {
	case "":
		return nil, nil, s.errorAt(l, l.tokens[0].col, "%s begins no statement of the language", l.tokens[0].text)
	case "gate":
		return s.takeGates(lines)
	case "package":
		if packagePins(l) == 0 {
			return nil, nil, s.errorAt(l, l.tokens[0].col, "write package DIP14: an even number of pins from 4 to %d", MaxPins)
		}
		count = min(packagePins(l)/2, len(rest))
	case "table":
		for count < len(rest) && isTableRow(rest[count]) {
			count++
		}
	case "register":
		for count < len(rest) && (rest[count].tokens[0].text == "when" || rest[count].tokens[0].text == "on") {
			count++
		}
	case "timing":
		for count < len(rest) && isTimingRow(rest[count]) {
			count++
		}
	case "sequence":
		for count < len(rest) && (rest[count].keyword() == "step" || rest[count].keyword() == "repeat") {
			count++
		}
	}
	st.rows, rest = rest[:count], rest[count:]
	return []statement{st}, rest, nil
}

func isTableRow(l line) bool {
	bar := slices.ContainsFunc(l.tokens, func(t token) bool { return t.kind == symbol && t.text == "|" })
	return bar && l.keyword() == ""
}

// takeGates repeats the logic under a gate statement for each of its names.
func (s *source) takeGates(lines []line) (taken []statement, rest []line, err error) {
	head := lines[0]
	names, err := s.names(head, 1)
	if err != nil {
		return nil, nil, err
	}
	var body []statement
	rest = lines[1:]
	for len(rest) > 0 {
		k := rest[0].keyword()
		if k == "end" {
			rest = rest[1:]
			break
		}
		if k != "=" && k != "table" && k != "register" && k != "bus" {
			break
		}
		var st []statement
		if st, rest, err = s.take(rest); err != nil {
			return nil, nil, err
		}
		body = append(body, st...)
	}
	if len(body) == 0 {
		return nil, nil, s.errorAt(head, 1, "no equation, table or register stands under the gate")
	}
	if len(body)*len(names) > maxStatement {
		return nil, nil, s.errorAt(head, 1, "%d gates of %d statements are more than %d", len(names), len(body), maxStatement)
	}
	for _, name := range names {
		for _, st := range body {
			st.gate = name
			st.line = st.line.forGate(name)
			st.rows = slices.Clone(st.rows)
			for i := range st.rows {
				st.rows[i] = st.rows[i].forGate(name)
			}
			taken = append(taken, st)
		}
	}
	return taken, rest, nil
}

// forGate is the line with the gate's name for each #.
func (l line) forGate(name string) line {
	l.tokens = slices.Clone(l.tokens)
	for i := range l.tokens {
		l.tokens[i].text = strings.ReplaceAll(l.tokens[i].text, "#", name)
	}
	return l
}

// names reads names and ranges from token i of a line to its end.
func (s *source) names(l line, i int) ([]string, error) {
	var names []string
	for _, t := range l.tokens[min(i, len(l.tokens)):] {
		switch t.kind {
		case nameToken:
			names = append(names, t.text)
		case rangeToken:
			more, err := expandRange(t.text)
			if err != nil {
				return nil, s.errorAt(l, t.col, "%v", err)
			}
			names = append(names, more...)
		default:
			return nil, s.errorAt(l, t.col, "%s is not a name", t.text)
		}
	}
	if len(names) == 0 {
		return nil, s.errorAt(l, l.tokens[len(l.tokens)-1].col, "names must follow")
	}
	return names, nil
}

// digest is the SHA-256 of a block's lines without comments, blank lines and indentation.
func (b *block) digest() string {
	h := sha256.New()
	for _, l := range b.text {
		fmt.Fprintln(h, strings.Join(strings.Fields(l), " "))
	}
	return hex.EncodeToString(h.Sum(nil))
}
