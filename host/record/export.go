package record

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"strings"
)

// ExportCSV writes the records asked for, with their reports, as CSV after
// RFC 4180 with a header, and says how many. Cells that a spreadsheet would run
// are neutralised (see neutral). What ImportCSV is to take is exported with All.
// The last column is the digest of the chip's photo; pictures are not in CSV.
func (s *Store) ExportCSV(ctx context.Context, w io.Writer, q Query) (rows int, err error) {
	out := bufio.NewWriterSize(w, 1<<16)
	if _, err := out.WriteString(strings.ReplaceAll(names(columns), ", ", ",") + "," + photoColumn + "\r\n"); err != nil {
		return 0, err
	}
	pictures, err := s.picturesByChip(ctx)
	if err != nil {
		return 0, err
	}
	var line []byte
	rows, err = s.export(ctx, q, func(cells [][]byte) error {
		line = line[:0]
		for i, cell := range cells {
			if i > 0 {
				line = append(line, ',')
			}
			if columns[i].form == asNumber && string(cell) == "0" {
				continue
			}
			line = AppendCell(line, cell)
		}
		line = append(append(line, ','), pictures[string(cells[chipColumn])]...)
		_, err := out.Write(append(line, "\r\n"...))
		return err
	})
	if err != nil {
		return rows, err
	}
	return rows, out.Flush()
}

// AppendCell writes a cell after RFC 4180, one that a spreadsheet would run as a
// formula with an apostrophe before it (see neutral). One with a semicolon or tab is put in
// quotes too, since some spreadsheets part cells there.
func AppendCell(line, cell []byte) []byte {
	quoted := bytes.ContainsAny(cell, "\",;\t\r\n")
	if quoted {
		line = append(line, '"')
	}
	if neutral(cell) {
		line = append(line, '\'')
	}
	if !quoted {
		return append(line, cell...)
	}
	for {
		i := bytes.IndexByte(cell, '"')
		if i < 0 {
			break
		}
		line = append(append(line, cell[:i+1]...), '"')
		cell = cell[i+1:]
	}
	return append(append(line, cell...), '"')
}

// formula are the characters that begin a formula, with their full-width forms,
// which some spreadsheets take for the same.
//
// Source: OWASP, CSV Injection (equals, plus, minus, at, tab, carriage return,
// line feed), from memory.
const formula = "=+-@\t\r\n＝＋－＠"

// neutral says whether an apostrophe is put before a cell: where a spreadsheet
// would run it, and, so that it can be taken away again, where it looks as if
// that had been done already.
func neutral(cell []byte) bool {
	cell = bytes.TrimLeft(cell, "'")
	return len(cell) > 0 && bytes.IndexAny(cell[:min(len(cell), 3)], formula) == 0
}

// plain takes the apostrophe away again.
func plain(cell string) string {
	if strings.HasPrefix(cell, "'") && neutral([]byte(cell)) {
		return cell[1:]
	}
	return cell
}

// ExportLines writes the records asked for as JSON Lines: an object a record, on
// a line of its own, with the columns of ExportCSV as its keys. Numbers and
// pins_failed are numbers, report is the report itself; what is empty or 0 is
// left out. What ImportLines is to take is exported with All. The key photo has the
// digest of the chip's photo; ExportAll writes the pictures too.
func (s *Store) ExportLines(ctx context.Context, w io.Writer, q Query) (rows int, err error) {
	out := bufio.NewWriterSize(w, 1<<16)
	pictures, err := s.picturesByChip(ctx)
	if err != nil {
		return 0, err
	}
	var line []byte
	rows, err = s.export(ctx, q, func(cells [][]byte) error {
		line = append(line[:0], '{')
		for i, cell := range cells {
			c := columns[i]
			if len(cell) == 0 || c.form == asNumber && string(cell) == "0" {
				continue
			}
			if len(line) > 1 {
				line = append(line, ',')
			}
			line = append(append(append(line, '"'), c.name...), `":`...)
			switch c.form {
			case asNumber, asObject:
				line = append(line, cell...)
			case asList:
				line = append(append(append(line, '['), bytes.ReplaceAll(cell, []byte(" "), []byte(","))...), ']')
			default:
				line = appendString(line, cell)
			}
		}
		if digest := pictures[string(cells[chipColumn])]; digest != "" {
			line = append(append(append(line, `,"`+photoColumn+`":"`...), digest...), '"')
		}
		_, err := out.Write(append(line, "}\n"...))
		return err
	})
	if err != nil {
		return rows, err
	}
	return rows, out.Flush()
}

// appendString writes a JSON string.
func appendString(line, s []byte) []byte {
	for _, c := range s {
		if c < ' ' || c >= 0x7f || c == '"' || c == '\\' {
			quoted, _ := json.Marshal(string(s)) // of a string there is no error
			return append(line, quoted...)
		}
	}
	return append(append(append(line, '"'), s...), '"')
}

// A batch is rows as they were read, one behind the other.
type batch struct {
	text []byte
	ends []int // of each row's columns, and of its report
}

// batchSize is from when on a batch is handed on, bytes.
const batchSize = 1 << 18

// export yields the cells of each record asked for, in the order of columns,
// until the next. It reads ahead: to read rows takes about as long as what is
// made of them.
func (s *Store) export(ctx context.Context, q Query, yield func(cells [][]byte) error) (n int, err error) {
	ctx, cancel := context.WithCancel(ctx)
	full, free := make(chan batch), make(chan batch, 2)
	free <- batch{}
	free <- batch{}
	var readErr error
	go func() {
		defer close(full)
		readErr = s.readBatches(ctx, q, full, free)
	}()
	defer func() {
		cancel()
		for range full { // until the reader is done with the database
		}
	}()
	for b := range full {
		rows, err := b.rows(yield)
		if n += rows; err != nil {
			return n, err
		}
		free <- b
	}
	return n, readErr
}

// rows yields the cells of each row.
func (b batch) rows(yield func(cells [][]byte) error) (n int, err error) {
	cells := make([][]byte, 0, len(columns))
	from := 0
	for i := 0; i < len(b.ends); i += 2 {
		row, report := b.text[from:b.ends[i]], b.text[b.ends[i]:b.ends[i+1]]
		from = b.ends[i+1]
		cells = cells[:0]
		for cell := range bytes.SplitSeq(row, []byte(separator)) {
			cells = append(cells, cell)
		}
		if cells = append(cells, report); len(cells) != len(columns) {
			return n, fmt.Errorf("%w: record %s has %d columns, not %d", ErrDamaged, cells[0], len(cells), len(columns))
		}
		if err := yield(cells); err != nil {
			return n, err
		}
		n++
	}
	return n, nil
}

// mapped is how much of the file is read through the computer's own memory pages
// while it is exported, bytes: a third faster than by copies.
const mapped = 1 << 33

// readBatches reads the records asked for into batches that are free.
func (s *Store) readBatches(ctx context.Context, q Query, full chan<- batch, free <-chan batch) error {
	conn, err := s.db.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	if s.remote == nil {
		if _, err := conn.ExecContext(ctx, fmt.Sprintf("PRAGMA mmap_size = %d", mapped)); err != nil {
			return damaged(err)
		}
		defer conn.ExecContext(context.WithoutCancel(ctx), "PRAGMA mmap_size = 0") // as all else is read
	}
	statement, args := q.statement(wholeRow, withReport)
	rows, err := conn.QueryContext(ctx, statement, args...)
	if err != nil {
		return damaged(err)
	}
	defer rows.Close()
	b := <-free
	var row, report sql.RawBytes
	for rows.Next() {
		if err := rows.Scan(&row, &report); err != nil {
			return err
		}
		b.text = append(b.text, row...)
		b.ends = append(b.ends, len(b.text))
		b.text = append(b.text, report...)
		b.ends = append(b.ends, len(b.text))
		if len(b.text) < batchSize {
			continue
		}
		if b, err = handOn(ctx, b, full, free); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return damaged(err)
	}
	_, err = handOn(ctx, b, full, free)
	return err
}

// handOn hands a full batch on and takes a free one.
func handOn(ctx context.Context, b batch, full chan<- batch, free <-chan batch) (batch, error) {
	select {
	case full <- b:
	case <-ctx.Done():
		return b, ctx.Err()
	}
	select {
	case b = <-free:
		return batch{b.text[:0], b.ends[:0]}, nil
	case <-ctx.Done():
		return b, ctx.Err()
	}
}
