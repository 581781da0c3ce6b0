// Package handlist reads lists that people keep by hand: the parts list of a repair, a bill
// of materials, a list of what lies in which drawer. They come as CSV with any of the usual
// separators, and their columns have any names.
package handlist

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// ErrList is the error of a file that is not read as a list.
var ErrList = errors.New("not a list")

// Limits of what is read.
const (
	maxSize = 16 << 20 // bytes
	maxRows = 100_000
)

// A Table is the cells of a list, without blanks around them.
type Table struct {
	Head []string
	Rows []Row
}

// A Row is one row under the header.
type Row struct {
	Line  int // in the file, from 1
	Cells []string
}

// cell is a cell of a row; empty where the row ends before it.
func (r Row) cell(i int) string {
	if i < 0 || i >= len(r.Cells) {
		return ""
	}
	return r.Cells[i]
}

// separators are what parts cells, where several would do the earliest.
const separators = ",;\t|"

// ReadCSV reads a list as CSV, whose columns a person may have named ("part=IC, date=Code"). The separator is the one
// of comma, semicolon, tab and bar that is on the most of the file's first lines outside of quotes. A file that is neither
// UTF-8 nor marked as UTF-16 is read in the first of the usual codings in which its columns are named so.
func ReadCSV(r io.Reader, columns string) ([]Row, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxSize+1))
	if err != nil {
		return nil, err
	}
	if len(text) > maxSize {
		return nil, fmt.Errorf("%w: it is over %d MiB", ErrList, maxSize>>20)
	}
	if text, err = fromUTF16(text); err != nil {
		return nil, err
	}
	text = bytes.TrimPrefix(text, []byte("\uFEFF"))
	if bytes.IndexByte(text, 0) >= 0 {
		return nil, fmt.Errorf("%w: it holds bytes of 0, so it is no CSV", ErrList)
	}
	if text, err = toUTF8(text, columns); err != nil {
		return nil, err
	}
	if bytes.IndexByte(text, '\n') < 0 { // as a Macintosh ends lines
		text = bytes.ReplaceAll(text, []byte("\r"), []byte("\n"))
	}
	table := csv.NewReader(bytes.NewReader(text))
	table.Comma, table.FieldsPerRecord, table.LazyQuotes = separator(string(text)), -1, true
	var rows []Row
	line, several := 0, false // the last row's first line, and whether a cell of it goes over several
	for {
		cells, err := table.Read()
		if errors.Is(err, io.EOF) {
			if several && bytes.Count(text, []byte{'"'})%2 != 0 {
				return nil, fmt.Errorf("%w: a quotation mark in line %d is not closed", ErrList, line)
			}
			return rows, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%w: %w", ErrList, err)
		}
		line, _ = table.FieldPos(0)
		several = slices.ContainsFunc(cells, func(c string) bool { return strings.Contains(c, "\n") })
		if rows = appendRow(rows, line, cells); len(rows) > maxRows {
			return nil, fmt.Errorf("%w: it has over %d rows", ErrList, maxRows)
		}
	}
}

// fromUTF16 makes UTF-8 of a text with a mark of UTF-16, which spreadsheets call Unicode text, and leaves others.
func fromUTF16(text []byte) ([]byte, error) {
	if !bytes.HasPrefix(text, []byte("\xFF\xFE")) && !bytes.HasPrefix(text, []byte("\xFE\xFF")) {
		return text, nil
	}
	return unicode.UTF16(unicode.LittleEndian, unicode.ExpectBOM).NewDecoder().Bytes(text)
}

// codings are those in which spreadsheets write text that is not Unicode: in the west of Europe and in its middle, on
// a Macintosh, and under DOS.
var codings = []*charmap.Charmap{charmap.Windows1252, charmap.Windows1250, charmap.Macintosh, charmap.CodePage850, charmap.CodePage852}

// toUTF8 makes UTF-8 of a text in the first coding in which it holds all headers that a person named, or else in the first.
func toUTF8(text []byte, columns string) ([]byte, error) {
	if utf8.Valid(text) {
		return text, nil
	}
	for _, coding := range codings {
		decoded, err := coding.NewDecoder().Bytes(text)
		if err != nil {
			return nil, err
		}
		lower, all := strings.ToLower(string(decoded)), true
		for _, name := range headers(columns) {
			all = all && strings.Contains(lower, strings.ToLower(name))
		}
		if all {
			return decoded, nil
		}
	}
	return codings[0].NewDecoder().Bytes(text)
}

// appendRow appends a row, unless it is empty. The apostrophe before what a spreadsheet would
// run as a formula is no part of a cell.
func appendRow(rows []Row, line int, cells []string) []Row {
	empty := true
	for i, c := range trimmed(cells) {
		if len(c) > 1 && c[0] == '\'' && strings.ContainsRune("=+-@", rune(c[1])) {
			c = c[1:]
		}
		cells[i] = c
		empty = empty && c == ""
	}
	if empty {
		return rows
	}
	return append(rows, Row{line, cells})
}

// trimmed is cells without blanks around them, in place, and with one where several are.
func trimmed(cells []string) []string {
	for i, c := range cells {
		cells[i] = strings.Join(strings.Fields(c), " ")
	}
	return cells
}

// separator is what parts the cells of a text: what is on the most of its first lines, for a note may hold several commas; of
// those on as many, what is there most often.
func separator(text string) rune {
	const enough = 50 // lines
	lines, counts, here := map[rune]int{}, map[rune]int{}, map[rune]bool{}
	n, quoted := 0, false
	for _, c := range text {
		switch {
		case c == '"':
			quoted = !quoted
		case c == '\n':
			clear(here)
			n++
		case !quoted && strings.ContainsRune(separators, c):
			if counts[c]++; !here[c] {
				lines[c]++
				here[c] = true
			}
		}
		if n == enough {
			break
		}
	}
	best := ','
	for _, c := range separators {
		if lines[c] > lines[best] || lines[c] == lines[best] && counts[c] > counts[best] {
			best = c
		}
	}
	return best
}
