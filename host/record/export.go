package record

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"io"
	"slices"
	"strings"
	"time"
)

// ExportCSV writes the records asked for, with their reports, as CSV after
// RFC 4180 with a header, and says how many. Cells that a spreadsheet would run
// are neutralised (see Cell). What ImportCSV is to take is exported with All.
// The last column is the digest of the chip's photo; pictures are not in CSV. Rows of all benches
// have the letter of theirs in a column before.
func (s *Store) ExportCSV(ctx context.Context, w io.Writer, q Query) (rows int, err error) {
	pictures, err := s.picturesByChip(ctx)
	if err != nil {
		return 0, err
	}
	table := csv.NewWriter(w)
	table.UseCRLF = true
	cells := append(strings.Split(names(columns), ", "), photoColumn)
	if s.all {
		cells = slices.Insert(cells, 0, benchColumn)
	}
	if err := table.Write(cells); err != nil {
		return 0, err
	}
	row := cells[len(cells)-len(columns)-1:]
	for r, err := range s.FindReports(ctx, q) {
		if err != nil {
			return rows, err
		}
		for i, c := range columns {
			row[i] = Cell(c.get(&r))
		}
		if row[len(columns)] = pictures[r.Bag()]; s.all {
			cells[0] = r.Bench
		}
		if err := table.Write(cells); err != nil {
			return rows, err
		}
		rows++
	}
	table.Flush()
	return rows, table.Error()
}

// formula are the characters that begin a formula, with their full-width forms,
// which some spreadsheets take for the same.
//
// Source: OWASP, CSV Injection (equals, plus, minus, at, tab, carriage return,
// line feed), from memory.
const formula = "=+-@\t\r\n＝＋－＠"

// parting are the characters at which some spreadsheets part cells, whatever the quotes.
const parting = ";\t"

// neutral says whether an apostrophe is put before the beginning of a cell: where a
// spreadsheet would run it, and, so that it can be taken away again, where it looks as if
// that had been done already.
func neutral(cell string) bool {
	cell = strings.TrimLeft(cell, "'")
	return cell != "" && strings.IndexAny(cell[:min(len(cell), 3)], formula) == 0
}

// Cell is what is written of a cell: with an apostrophe before whatever a spreadsheet would
// run as a formula, at its beginning and wherever it might be parted.
func Cell(cell string) string {
	if !neutral(cell) && strings.IndexByte(cell, parting[0]) < 0 && strings.IndexByte(cell, parting[1]) < 0 {
		return cell // as nearly all
	}
	return beginnings(cell, func(rest string) (put string, skip int) {
		if neutral(rest) {
			return "'", 0
		}
		return "", 0
	})
}

// plain takes the apostrophes away again.
func plain(cell string) string {
	return beginnings(cell, func(rest string) (put string, skip int) {
		if strings.HasPrefix(rest, "'") && neutral(rest) {
			return "", 1
		}
		return "", 0
	})
}

// beginnings copies a cell. Where a cell may begin it asks what to put there, and how many
// bytes to leave out, for what is from there on.
func beginnings(cell string, change func(rest string) (put string, skip int)) string {
	var b strings.Builder
	for {
		put, skip := change(cell)
		b.WriteString(put)
		cell = cell[skip:]
		at := strings.IndexAny(cell, parting)
		if at < 0 {
			b.WriteString(cell)
			return b.String()
		}
		b.WriteString(cell[:at+1])
		cell = cell[at+1:]
	}
}

// A row is a record in an export but for its report, with the names of the columns, and the digest of the
// chip's photo.
type row struct {
	Bench            string `json:"bench,omitempty"`
	Serial           int64  `json:"serial,omitempty"`
	Kind             Kind   `json:"kind,omitempty"`
	Time             string `json:"time,omitempty"`
	Part             string `json:"part,omitempty"`
	Type             string `json:"type,omitempty"`
	Family           string `json:"family,omitempty"`
	Drawer           string `json:"drawer,omitempty"`
	Lot              string `json:"lot,omitempty"`
	Operator         string `json:"operator,omitempty"`
	Marking          string `json:"marking,omitempty"`
	DateCode         string `json:"date_code,omitempty"`
	DateFrom         string `json:"date_from,omitempty"`
	DateTo           string `json:"date_to,omitempty"`
	DateYear         int    `json:"date_year,omitempty"`
	Verdict          string `json:"verdict,omitempty"`
	Grade            string `json:"grade,omitempty"`
	Reason           string `json:"reason,omitempty"`
	Note             string `json:"note,omitempty"`
	PinsFailed       []int  `json:"pins_failed,omitempty"`
	Adapter          string `json:"adapter,omitempty"`
	Firmware         string `json:"firmware,omitempty"`
	DefinitionSHA256 string `json:"definition_sha256,omitempty"`
	VectorsSHA256    string `json:"vectors_sha256,omitempty"`
	Chip             int64  `json:"chip,omitempty"`
	RetestOf         int64  `json:"retest_of,omitempty"`
	Corrects         int64  `json:"corrects,omitempty"`
	ImportedSerial   int64  `json:"imported_serial,omitempty"`
	ImportedDigest   string `json:"imported_digest,omitempty"`
	Previous         string `json:"previous,omitempty"`
	Digest           string `json:"digest,omitempty"`
	Photo            string `json:"photo,omitempty"`
}

func rowOf(r *Record, photo string) row {
	when := func(t time.Time, form string) string {
		if t.IsZero() {
			return ""
		}
		return t.Format(form)
	}
	return row{r.Bench, r.Serial, r.Kind, when(r.Time, timeForm), r.Part, r.Type, r.Family, r.Drawer, r.Lot, r.Operator, r.Marking,
		r.DateCode, when(r.From, time.DateOnly), when(r.To, time.DateOnly), r.Year, string(r.Verdict), string(r.Grade), r.Reason, r.Note, r.PinsFailed,
		r.Adapter, r.Firmware, r.DefinitionSHA256, r.VectorsSHA256, r.Chip, r.RetestOf, r.Corrects,
		r.ImportedSerial, r.ImportedDigest, r.Previous, r.Digest, photo}
}

// ExportLines writes the records asked for as JSON Lines: an object a record, on
// a line of its own, with the columns of ExportCSV as its keys. Numbers and
// pins_failed are numbers, report is the report itself; what is empty or 0 is
// left out. What ImportLines is to take is exported with All. The key photo has the
// digest of the chip's photo; ExportAll writes the pictures too.
func (s *Store) ExportLines(ctx context.Context, w io.Writer, q Query) (rows int, err error) {
	pictures, err := s.picturesByChip(ctx)
	if err != nil {
		return 0, err
	}
	out := bufio.NewWriterSize(w, 1<<16)
	var line bytes.Buffer
	lines := json.NewEncoder(&line)
	lines.SetEscapeHTML(false)
	for r, err := range s.FindReports(ctx, q) {
		if err != nil {
			return rows, err
		}
		line.Reset()
		object := rowOf(&r, pictures[r.Bag()])
		if !s.all {
			object.Bench = "" // the rows of one bench are as those of a file
		}
		if err := lines.Encode(object); err != nil {
			return rows, err
		}
		// The report is compact JSON since it was recorded (Record.check), and stays so byte by byte: to read it again
		// would take most of the time.
		if len(r.Report) > 0 {
			line.Truncate(line.Len() - len("}\n"))
			line.WriteString(`,"report":`)
			line.Write(r.Report)
			line.WriteString("}\n")
		}
		if _, err := line.WriteTo(out); err != nil {
			return rows, err
		}
		rows++
	}
	return rows, out.Flush()
}
