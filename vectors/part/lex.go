package part

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Limits on a definition, so that none can hang or exhaust the program.
const (
	MaxBytes     = 64 << 10 // of one file
	MaxPins      = 28
	MaxDepth     = 64 // of nested expressions
	MaxWidth     = 64 // bits of a bus
	MaxState     = 4096
	maxNames     = 4096 // signals of one variant
	maxStatement = 2000 // of one part, with what it inherits
	maxWork      = 2_000_000
)

type tokenKind uint8

const (
	endOfLine  tokenKind = iota
	nameToken            // 1A, /OE, #Y, families
	rangeToken           // 1A..4A
	quoted               // "…", text holds what is between the quotes
	symbol               // an operator or a bracket
)

type token struct {
	kind tokenKind
	text string
	col  int // from 1, in characters
}

// A line is one line of a definition, split into tokens.
type line struct {
	number int
	text   string
	tokens []token
}

// written is the line as a person would write it, its comment and spacing left out.
func (l line) written() string {
	var b strings.Builder
	for i, t := range l.tokens {
		switch {
		case i == 0, slices.Contains(opening, l.tokens[i-1].text), slices.Contains(closing, t.text):
		default:
			b.WriteByte(' ')
		}
		b.WriteString(t.text)
	}
	return b.String()
}

// Symbols that no blank follows, and that no blank precedes.
var (
	opening = []string{"!", "(", "[", "{"}
	closing = []string{")", "]", "}", ",", "["}
)

// source is a definition's text on its way into the parser.
type source struct {
	file  string
	lines []line
	spent int // work done on checks that grow faster than the text
}

// spend accounts for work and refuses a definition that asks for too much of it.
func (s *source) spend(l line, work int) error {
	if s.spent += work; s.spent > maxWork {
		return s.errorAt(l, 1, "the file's function tables are too large to check: split them, or write equations")
	}
	return nil
}

func (s *source) errorAt(l line, col int, format string, args ...any) error {
	return &Error{File: s.file, Line: l.number, Col: col, Msg: fmt.Sprintf(format, args...), Text: l.text}
}

// split cuts a text into lines of tokens, leaving out blank lines and comments.
func split(file, text string) (*source, error) {
	s := &source{file: file}
	if len(text) > MaxBytes {
		return nil, fmt.Errorf("%s: a definition file may have %d bytes, this one has %d: split it", file, MaxBytes, len(text))
	}
	number := 0
	for raw := range strings.Lines(text) {
		number++
		l := line{number: number, text: strings.TrimRight(raw, "\r\n")}
		if !utf8.ValidString(raw) {
			return nil, s.errorAt(line{number: number}, 1, "the line is not UTF-8 text")
		}
		if err := s.tokenize(&l); err != nil {
			return nil, err
		}
		if len(l.tokens) > 0 {
			s.lines = append(s.lines, l)
		}
	}
	return s, nil
}

func (s *source) tokenize(l *line) error {
	runes := []rune(l.text)
	for i := 0; i < len(runes); {
		r := runes[i]
		col := i + 1
		switch {
		case unicode.IsSpace(r):
			i++
		case r == '#' && (i+1 == len(runes) || unicode.IsSpace(runes[i+1])):
			return nil
		case r == '"':
			end := i + 1
			for end < len(runes) && runes[end] != '"' {
				end++
			}
			if end == len(runes) {
				return s.errorAt(*l, col, "the text has no closing quote")
			}
			l.tokens = append(l.tokens, token{quoted, string(runes[i+1 : end]), col})
			i = end + 1
		case isNameRune(r) || r == '/' && i+1 < len(runes) && isNameRune(runes[i+1]):
			end, kind := scanName(runes, i)
			l.tokens = append(l.tokens, token{kind, string(runes[i:end]), col})
			i = end
		default:
			width := 1
			if i+1 < len(runes) && twoRuneOperators[string(runes[i:i+2])] {
				width = 2
			} else if !strings.ContainsRune("=()[]{}&|^!?:,+-*<>", r) {
				return s.errorAt(*l, col, "%q has no meaning here", r)
			}
			l.tokens = append(l.tokens, token{symbol, string(runes[i : i+width]), col})
			i += width
		}
	}
	return nil
}

var twoRuneOperators = map[string]bool{"==": true, "!=": true, "<=": true, ">=": true, "<<": true, ">>": true}

func isNameRune(r rune) bool {
	return r == '_' || r == '#' || r == '\'' || r < utf8.RuneSelf && (unicode.IsLetter(r) || unicode.IsDigit(r))
}

// scanName finds the end of a name, or of a range of names.
func scanName(runes []rune, i int) (end int, kind tokenKind) {
	word := func(i int) int {
		if i < len(runes) && runes[i] == '/' {
			i++
		}
		for i < len(runes) && (isNameRune(runes[i]) || isPoint(runes, i)) {
			i++
		}
		return i
	}
	end = word(i)
	if end+2 < len(runes) && runes[end] == '.' && runes[end+1] == '.' {
		if last := word(end + 2); last > end+2 {
			return last, rangeToken
		}
	}
	return end, nameToken
}

// isPoint reports whether the rune is a decimal point: between digits, as in load 1.25.
func isPoint(runes []rune, i int) bool {
	return runes[i] == '.' && i > 0 && unicode.IsDigit(runes[i-1]) && i+1 < len(runes) && unicode.IsDigit(runes[i+1])
}
