// Package sheet reads and writes spreadsheets: workbooks of ISO/IEC 29500 (Office Open XML), whose
// files end in .xlsx. Cells are texts and numbers; none that is written is a formula.
package sheet

import (
	"errors"
	"fmt"
	"io"
	"iter"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf16"

	"github.com/xuri/excelize/v2"
)

// ErrSheet is the error of a file that is not read as a spreadsheet, or of a table that makes none.
var ErrSheet = errors.New("not a spreadsheet")

// Limits of a sheet, by the format, and of what is unpacked, bytes.
const (
	MaxRows     = 1 << 20
	MaxCell     = 32_767 // of a cell, in units of UTF-16
	maxUnpacked = 1 << 30
)

// Is reports whether a file name is that of a spreadsheet.
func Is(name string) bool { return strings.EqualFold(filepath.Ext(name), ".xlsx") }

// A Row is a row of a sheet.
type Row struct {
	Number int // from 1
	Cells  []string
}

// Read yields the rows of the first sheet of a workbook, as they are shown; but dates are those of ISO 8601 where their
// form is left to the country. A file that the library stumbles over is not a spreadsheet: excelize 2.11.0, the newest
// for Go 1.26 without a patch level, panics on some that are damaged or encrypted, and has no limit to row numbers.
func Read(r io.Reader) iter.Seq2[Row, error] { return read(r, nil) }

// ReadByHand is Read of a workbook that a person made: of the first sheet that has a header among its first rows, for
// others may be before it, and of the very first where none has. What stands in cells that are merged downwards, as one
// drawer beside several chips, stands in each of their rows.
func ReadByHand(r io.Reader, header func(cells []string) bool) iter.Seq2[Row, error] {
	return read(r, header)
}

func read(r io.Reader, header func([]string) bool) iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		book, err := open(r)
		if err != nil {
			yield(Row{}, err)
			return
		}
		defer book.Close() // of temporary files
		name, down := book.GetSheetName(0), []merged(nil)
		if header != nil {
			name = headed(book, header)
			if down, err = mergedDown(book, name); err != nil {
				yield(Row{}, fmt.Errorf("%w: %w", ErrSheet, err))
				return
			}
		}
		rows, err := rowsIn(book, name)
		if err != nil {
			yield(Row{}, err)
			return
		}
		defer rows.Close()
		for n := 1; ; n++ {
			more, cells, err := next(rows, n)
			if !more && err == nil {
				return
			}
			for _, m := range down {
				cells = m.fill(n, cells)
			}
			if !yield(Row{n, cells}, err) || err != nil {
				return
			}
		}
	}
}

// open gives a workbook.
func open(r io.Reader) (book *excelize.File, err error) {
	defer stumbled(&err)
	book, err = excelize.OpenReader(r, excelize.Options{UnzipSizeLimit: maxUnpacked, ShortDatePattern: "yyyy-mm-dd"})
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrSheet, err)
	}
	return book, nil
}

// rowsIn gives the rows of a sheet.
func rowsIn(book *excelize.File, name string) (rows *excelize.Rows, err error) {
	defer stumbled(&err)
	if rows, err = book.Rows(name); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrSheet, err)
	}
	return rows, nil
}

// Preamble is how many rows can be before the header of a list.
const Preamble = 20

// headed is the name of the first sheet with a header among its first rows, or of the first. A sheet that cannot be read has none.
func headed(book *excelize.File, header func([]string) bool) string {
	for _, name := range book.GetSheetList() {
		rows, err := rowsIn(book, name)
		if err != nil {
			continue
		}
		found := false
		for n := 1; n <= Preamble && !found; n++ {
			more, cells, err := next(rows, n)
			if !more || err != nil {
				break
			}
			found = header(cells)
		}
		_ = rows.Close() // of a temporary file
		if found {
			return name
		}
	}
	return book.GetSheetName(0)
}

// next gives row n, if there is one.
func next(rows *excelize.Rows, n int) (more bool, cells []string, err error) {
	defer stumbled(&err)
	if more = rows.Next(); !more {
		if err = rows.Error(); err != nil {
			err = fmt.Errorf("%w: %w", ErrSheet, err)
		}
		return false, nil, err
	}
	if n > MaxRows {
		return true, nil, fmt.Errorf("%w: it has more than %d rows", ErrSheet, MaxRows)
	}
	if cells, err = rows.Columns(); err != nil {
		err = fmt.Errorf("%w: row %d: %w", ErrSheet, n, err)
	}
	return true, cells, err
}

// stumbled makes a panic the error of the file that is read.
func stumbled(err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("%w: it is damaged (%v)", ErrSheet, p)
	}
}

// merged is a cell that goes on in the rows below it.
type merged struct {
	column, first, last int // from 0; rows from 1
	value               string
}

func mergedDown(book *excelize.File, name string) (down []merged, err error) {
	defer stumbled(&err)
	cells, err := book.GetMergeCells(name)
	if err != nil {
		return nil, err
	}
	for _, c := range cells {
		column, first, err1 := excelize.CellNameToCoordinates(c.GetStartAxis())
		_, last, err2 := excelize.CellNameToCoordinates(c.GetEndAxis())
		if err := errors.Join(err1, err2); err != nil {
			return nil, err
		}
		if last > first {
			down = append(down, merged{column - 1, first, last, c.GetCellValue()})
		}
	}
	return down, nil
}

// fill puts the value into a row that the cell goes on in. A row of nothing else stays empty.
func (m merged) fill(row int, cells []string) []string {
	if row <= m.first || row > m.last || !slices.ContainsFunc(cells, func(c string) bool { return c != "" }) {
		return cells
	}
	for len(cells) <= m.column {
		cells = append(cells, "")
	}
	cells[m.column] = m.value
	return cells
}

// A Sheet is what is written: rows of strings and ints under a header.
type Sheet struct {
	Name string
	Head []string
	Rows iter.Seq2[[]any, error]
}

// Write writes sheets as one workbook. The header stays in sight.
func Write(w io.Writer, sheets ...Sheet) (err error) {
	book := excelize.NewFile()
	defer func() { err = errors.Join(err, book.Close()) }()
	for i, s := range sheets {
		if i == 0 {
			err = book.SetSheetName(book.GetSheetName(0), s.Name)
		} else {
			_, err = book.NewSheet(s.Name)
		}
		if err != nil {
			return err
		}
		if err := s.write(book); err != nil {
			return err
		}
	}
	return book.Write(w)
}

func (s Sheet) write(book *excelize.File) error {
	out, err := book.NewStreamWriter(s.Name)
	if err != nil {
		return err
	}
	if err := out.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	head := make([]any, len(s.Head))
	for i, h := range s.Head {
		head[i] = h
	}
	if err := out.SetRow("A1", head); err != nil {
		return err
	}
	n := 1
	for row, err := range s.Rows {
		if err != nil {
			return err
		}
		if n++; n > MaxRows {
			return fmt.Errorf("%w: it would have over %d rows", ErrSheet, MaxRows)
		}
		for i, c := range row {
			if text, ok := c.(string); ok && len(text) > MaxCell && len(utf16.Encode([]rune(text))) > MaxCell {
				return fmt.Errorf("%w: column %d of row %d would hold over %d characters", ErrSheet, i+1, n, MaxCell)
			}
		}
		if err := out.SetRow(fmt.Sprintf("A%d", n), row); err != nil {
			return err
		}
	}
	return out.Flush()
}

// Of yields rows that are there.
func Of(rows [][]any) iter.Seq2[[]any, error] {
	return func(yield func([]any, error) bool) {
		for _, r := range rows {
			if !yield(r, nil) {
				return
			}
		}
	}
}
