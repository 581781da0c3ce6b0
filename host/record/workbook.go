package record

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"

	"chipassay/host/sheet"
)

// A sheet of records is the table of ExportCSV with the column of reports last. A report that is too
// long for one cell goes on in the cells after it, which have no header.

// reportPiece is how much of a report is in one cell, in characters: no more than MaxCell units of UTF-16.
const reportPiece = sheet.MaxCell / 2

// ExportWorkbook writes what ExportCSV does as a spreadsheet.
func (s *Store) ExportWorkbook(ctx context.Context, w io.Writer, q Query) (rows int, err error) {
	from, to := io.Pipe()
	go func() {
		_, err := s.ExportCSV(ctx, to, q)
		to.CloseWithError(err) // io.EOF for nil
	}()
	defer from.Close() // ends the export where the sheet fails
	table := csv.NewReader(from)
	head, err := table.Read()
	if err != nil {
		return 0, err
	}
	at := slices.Index(head, "report")
	err = sheet.Write(w, sheet.Sheet{Name: "records", Head: append(slices.Delete(slices.Clone(head), at, at+1), "report"), Rows: func(yield func([]any, error) bool) {
		for {
			cells, err := table.Read()
			if errors.Is(err, io.EOF) {
				return
			}
			if err != nil {
				yield(nil, err)
				return
			}
			rows++
			if !yield(sheetRow(cells, at), nil) {
				return
			}
		}
	}})
	return rows, err
}

// sheetRow is a row of CSV with the report last, in pieces.
func sheetRow(cells []string, at int) (row []any) {
	for i, c := range cells {
		if i != at {
			row = append(row, c)
		}
	}
	for piece := range slices.Chunk([]rune(cells[at]), reportPiece) {
		row = append(row, string(piece))
	}
	return row
}

// ImportWorkbook appends what ExportWorkbook wrote, as ImportCSV does.
func (s *Store) ImportWorkbook(ctx context.Context, r io.Reader) (Imported, error) {
	return s.load(ctx, tableRecords(workbookRows(r)))
}

// workbookRows are the rows of a sheet as those of CSV: each as wide as the header, with the
// pieces of its report joined.
func workbookRows(r io.Reader) iter.Seq2[[]string, error] {
	return func(yield func([]string, error) bool) {
		width := 0
		for row, err := range sheet.Read(r) {
			cells := row.Cells
			switch {
			case err != nil:
				yield(nil, err)
				return
			case width == 0 && (len(cells) == 0 || cells[len(cells)-1] != "report"):
				yield(nil, fmt.Errorf("the header does not end in report, so export did not write this: take over a list kept by hand with --columns"))
				return
			case width == 0:
				width = len(cells)
			case len(cells) == 0:
				continue
			}
			for len(cells) > width {
				last := len(cells) - 1
				cells[last-1] += cells[last]
				cells = cells[:last]
			}
			for len(cells) < width {
				cells = append(cells, "")
			}
			if !yield(cells, nil) {
				return
			}
		}
	}
}
