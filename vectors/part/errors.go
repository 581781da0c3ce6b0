package part

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// An Error is a mistake in a definition, with the place where it stands.
type Error struct {
	File      string
	Line, Col int    // from 1; Col counts characters
	Msg       string // what is wrong and what to write
	Text      string // the whole line
}

// Error gives file, line, column and message, then the line with a caret under the place.
func (e *Error) Error() string {
	var caret strings.Builder
	for i, r := range e.Text {
		if utf8.RuneCountInString(e.Text[:i]) >= e.Col-1 {
			break
		}
		if r == '\t' {
			caret.WriteByte('\t')
		} else {
			caret.WriteByte(' ')
		}
	}
	return fmt.Sprintf("%s:%d:%d: %s\n    %s\n    %s^", e.File, e.Line, e.Col, e.Msg, e.Text, caret.String())
}
