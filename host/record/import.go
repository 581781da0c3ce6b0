package record

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"strings"
)

// Imported says what an import did.
type Imported struct {
	Added      int
	Duplicates int // already there, by their digests, and left out
	Photos     int // added
}

// ErrImport is the error of a file that cannot be imported. Nothing of it was.
var ErrImport = errors.New("nothing was imported")

// maxLine is the longest line of JSON that is read, bytes: a report and what
// the other columns can take, every byte of it escaped.
const maxLine = MaxReport + 32*6*MaxText

// ImportCSV appends what ExportCSV wrote, all or nothing. Each row gets a new
// serial number and keeps the old one as ImportedSerial. A row that was changed
// since it was written, or that is about a chip whose first test is neither in
// the file nor here, is refused (ErrImport). Photos are not in CSV, and so are not added.
func (s *Store) ImportCSV(ctx context.Context, r io.Reader) (Imported, error) {
	return s.load(ctx, csvRecords(r))
}

// ImportLines appends what ExportLines or ExportAll wrote, as ImportCSV does.
func (s *Store) ImportLines(ctx context.Context, r io.Reader) (Imported, error) {
	return s.load(ctx, jsonRecords(r))
}

// A carried is what an import reads: a record, or else a photo.
type carried struct {
	Record
	photo *photoLine
}

// load appends records and photos as they were written elsewhere.
func (s *Store) load(ctx context.Context, rows iter.Seq2[carried, error]) (done Imported, err error) {
	err = s.write(ctx, func(w *writer) error {
		i := importer{writer: w, bench: s.bench, here: map[Number]int64{}, photos: map[Number]int64{}, last: map[string]Record{}}
		var err error
		if i.find, err = w.tx.PrepareContext(ctx, `SELECT serial FROM record WHERE digest IN (?1, ?2)
			UNION ALL SELECT serial FROM record WHERE imported_digest <> '' AND imported_digest IN (?1, ?2) LIMIT 1`); err != nil {
			return err
		}
		line := 0
		for r, err := range rows {
			line++
			switch {
			case err != nil:
			case r.photo != nil:
				if err := i.addPhoto(ctx, *r.photo); err != nil {
					return fmt.Errorf("photo %d of the file: %w", r.photo.Number, err)
				}
				continue
			default:
				err = i.add(ctx, r.Record)
			}
			if err != nil {
				return fmt.Errorf("record %d of the file: %w", line, err)
			}
		}
		done = i.done
		return nil
	})
	if err != nil {
		return Imported{}, fmt.Errorf("%w: %w", ErrImport, err)
	}
	return done, nil
}

type importer struct {
	*writer
	find   *sql.Stmt
	bench  string            // that it is imported at
	here   map[Number]int64  // serial numbers: of the file to here
	photos map[Number]int64  // numbers of photos likewise
	last   map[string]Record // of each bench of the file
	done   Imported
}

func (i *importer) add(ctx context.Context, r Record) error {
	bench, last := r.Bench, i.last[r.Bench]
	switch {
	case bench != "" && i.bench != "" && bench != i.bench:
		return fmt.Errorf("it is of bench %s: at bench %s of several, rows of others are on the server, and are not made its own", bench, i.bench)
	case r.Digest == "" || r.Sum() != r.Digest:
		return errors.New("it was changed after it was written, or is not whole")
	case r.Serial == last.Serial+1 && last.Serial > 0 && r.Previous != last.Digest:
		return errors.New("it does not follow the record before it")
	}
	i.last[bench] = Record{Serial: r.Serial, Digest: r.Digest}
	origin := r.ImportedDigest
	if origin == "" {
		origin = r.Digest
	}
	var twin int64
	switch err := i.find.QueryRowContext(ctx, r.Digest, origin).Scan(&twin); {
	case err == nil:
		i.here[r.Row()] = twin
		i.done.Duplicates++
		return nil
	case !errors.Is(err, sql.ErrNoRows):
		return err
	}
	if r.ImportedDigest == "" {
		r.ImportedSerial, r.ImportedDigest = r.Serial, r.Digest
	}
	for _, serial := range []*int64{&r.RetestOf, &r.Corrects} {
		there := *serial
		if *serial = i.here[Number{bench, there}]; there != 0 && *serial == 0 {
			return fmt.Errorf("it is about record %d, which is neither in the file before it nor here: export all records", there)
		}
	}
	was := r.Row()
	r, err := i.append(ctx, r)
	if err != nil {
		return err
	}
	i.here[was] = r.Serial
	i.done.Added++
	return nil
}

// csvRecords reads the records of a CSV file.
func csvRecords(r io.Reader) iter.Seq2[carried, error] {
	return func(yield func(carried, error) bool) {
		in := bufio.NewReader(r)
		if mark, _ := in.Peek(3); string(mark) == "\uFEFF" { // as some programs put before UTF-8
			_, _ = in.Discard(3)
		}
		table := csv.NewReader(in)
		table.ReuseRecord = true
		tableRecords(func(yield func([]string, error) bool) {
			for {
				cells, err := table.Read()
				if err == io.EOF || !yield(cells, err) || err != nil {
					return
				}
			}
		})(yield)
	}
}

// tableRecords reads the records of a table, whose first row is the header.
func tableRecords(rows iter.Seq2[[]string, error]) iter.Seq2[carried, error] {
	return func(yield func(carried, error) bool) {
		var order []column
		headed := false
		for cells, err := range rows {
			if !headed {
				if err == nil {
					order, err = inOrder(cells)
				} else {
					err = fmt.Errorf("the header: %w", err)
				}
				if headed = true; err != nil {
					yield(carried{}, err)
					return
				}
				continue
			}
			var r Record
			for i := 0; err == nil && i < len(cells); i++ {
				cells[i] = plain(cells[i])
			}
			if err == nil {
				err = r.scan(order, cells)
			}
			if !yield(carried{Record: r}, err) || err != nil {
				return
			}
		}
		if !headed {
			yield(carried{}, fmt.Errorf("the header: %w", io.EOF))
		}
	}
}

// inOrder are the columns of a header.
func inOrder(head []string) (order []column, err error) {
	seen := map[string]bool{}
	for _, name := range head {
		c, err := columnNamed(name)
		switch name {
		case photoColumn: // it follows from the photos, which are not in CSV
			c, err = column{name: name, set: func(*Record, string) error { return nil }}, nil
		case benchColumn:
			c, err = column{name: name, set: setBench}, nil
		}
		if err != nil {
			return nil, fmt.Errorf("the header: %w, so export did not write this: take over a list kept by hand with --columns", err)
		}
		if seen[name] {
			return nil, fmt.Errorf("column %q stands there twice", name)
		}
		seen[name] = true
		order = append(order, c)
	}
	return order, nil
}

func columnNamed(name string) (column, error) {
	i := slices.IndexFunc(columns, func(c column) bool { return c.name == name })
	if i < 0 {
		return column{}, fmt.Errorf("column %q is not one of a record", name)
	}
	return columns[i], nil
}

// jsonRecords reads the records of a file of JSON Lines.
func jsonRecords(r io.Reader) iter.Seq2[carried, error] {
	return func(yield func(carried, error) bool) {
		lines := bufio.NewScanner(r)
		lines.Buffer(nil, maxLine)
		for lines.Scan() {
			if len(bytes.TrimSpace(lines.Bytes())) == 0 {
				continue
			}
			row, err := parseLine(lines.Bytes())
			if !yield(row, err) || err != nil {
				return
			}
		}
		if err := lines.Err(); err != nil {
			yield(carried{}, err)
		}
	}
}

func parseLine(line []byte) (r carried, err error) {
	var object map[string]json.RawMessage
	if err := json.Unmarshal(line, &object); err != nil {
		return r, err
	}
	if raw := object[photoColumn]; len(object) == 1 && len(raw) > 0 && raw[0] == '{' {
		r.photo = &photoLine{}
		return r, json.Unmarshal(raw, r.photo)
	}
	for name, raw := range object {
		switch name {
		case photoColumn: // it follows from the photos
			continue
		case benchColumn:
			var letter string
			if err := errors.Join(json.Unmarshal(raw, &letter), setBench(&r.Record, letter)); err != nil {
				return r, err
			}
			continue
		}
		c, err := columnNamed(name)
		if err != nil {
			return r, err
		}
		var value string
		switch c.form {
		case asNumber, asObject:
			value = string(raw)
		case asText:
			err = json.Unmarshal(raw, &value)
		case asList:
			var list []int
			err = json.Unmarshal(raw, &list)
			value = strings.Trim(fmt.Sprint(list), "[]")
		}
		if err == nil {
			err = c.set(&r.Record, value)
		}
		if err != nil {
			return r, fmt.Errorf("%s: %w", name, err)
		}
	}
	return r, nil
}

// setBench sets the letter of a row's bench.
func setBench(r *Record, letter string) error {
	if letter != "" && !letters.MatchString(letter) {
		return fmt.Errorf("%q is no bench's letter", letter)
	}
	r.Bench = letter
	return nil
}
