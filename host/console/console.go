// Package console lays text out for a person's terminal: in lines of a width, and with
// nothing in it that the terminal would execute. Widths are in characters.
package console

import (
	"os"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/term"
)

// IsTerminal reports whether a file is a terminal.
func IsTerminal(f *os.File) bool { return term.IsTerminal(int(f.Fd())) }

// Colour reports whether output to a file should be coloured: it is a terminal that knows it,
// and the person has not set NO_COLOR.
func Colour(f *os.File) bool {
	if os.Getenv("NO_COLOR") != "" || os.Getenv("TERM") == "" || os.Getenv("TERM") == "dumb" {
		return false
	}
	return IsTerminal(f)
}

// Printable puts a replacement for what a terminal might execute.
func Printable(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return unicode.ReplacementChar
	}, text)
}

// Clip cuts a text to a width, and shows that it did.
func Clip(text string, width int) string {
	text = Printable(text)
	if runes := []rune(text); len(runes) > width {
		return string(runes[:width-1]) + "…"
	}
	return text
}

// Hang wraps a text behind a lead, under which its other lines begin.
func Hang(lead, text string, width int) []string {
	wide := utf8.RuneCountInString(lead)
	lines := Wrap(text, width-wide)
	for i, line := range lines {
		lines[i] = Printable(lead) + line
		lead = strings.Repeat(" ", wide)
	}
	return lines
}

// Fold breaks a line between words into as many as it takes, and keeps the spaces of the first
// as they are; those after it are indented.
func Fold(line string, indent, width int) []string {
	if utf8.RuneCountInString(line) <= width {
		return []string{line}
	}
	at := strings.LastIndexByte(line[:min(len(line), width)], ' ')
	if at <= indent {
		return []string{line}
	}
	return append([]string{strings.TrimRight(line[:at], " ")}, Hang(strings.Repeat(" ", indent), line[at:], width)...)
}

// Wrap breaks a text between words into lines of at most a width; a longer word has a
// line of its own.
func Wrap(text string, width int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(Printable(text)) {
		switch {
		case line == "":
			line = word
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width:
			lines = append(lines, line)
			line = word
		default:
			line += " " + word
		}
	}
	return append(lines, line)
}
