// Package sheet reads and writes spreadsheets: workbooks of ISO/IEC 29500 (Office Open XML), whose
// files end in .xlsx. Cells are texts and numbers; none that is written is a formula.
package sheet

import (
	"errors"
	"fmt"
	"io"
	"iter"
	"path/filepath"
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

// Read yields the rows of the first sheet of a workbook, as they are shown. A file that the
// library stumbles over is not a spreadsheet: excelize 2.11.0, the newest for Go 1.26 without a
// patch level, panics on some that are damaged or encrypted, and has no limit to row numbers.
func Read(r io.Reader) iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		book, rows, err := open(r)
		if err != nil {
			yield(Row{}, err)
			return
		}
		defer book.Close() // of temporary files
		defer rows.Close()
		for n := 1; ; n++ {
			more, cells, err := next(rows, n)
			if !more && err == nil {
				return
			}
			if !yield(Row{n, cells}, err) || err != nil {
				return
			}
		}
	}
}

// open gives a workbook, and the rows of its first sheet.
func open(r io.Reader) (book *excelize.File, rows *excelize.Rows, err error) {
	defer stumbled(&err)
	book, err = excelize.OpenReader(r, excelize.Options{UnzipSizeLimit: maxUnpacked})
	if err != nil {
		return nil, nil, fmt.Errorf("%w: %w", ErrSheet, err)
	}
	if rows, err = book.Rows(book.GetSheetName(0)); err != nil {
		return nil, nil, fmt.Errorf("%w: %w", ErrSheet, errors.Join(err, book.Close()))
	}
	return book, rows, nil
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
