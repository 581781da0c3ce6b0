// Package record stores the result of every chip in one SQLite file, to which rows are
// only appended. A retest, a correction or an undo is a new row that names the old one;
// queries answer from the latest.
//
// Each row holds the SHA-256 digest of its own fields and of the row before (see
// Record.Sum), so a changed, removed or inserted row is noticed. Rows cut off the end,
// or rewritten with all that follow, are noticed only if the digest of one of them was
// kept elsewhere (see Seal), as on a certificate.
//
// Where several benches have one set of records, each has such a file, and hands its rows over to a
// PostgreSQL server as they are (see OpenBench and Server).
package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode"

	"chipassay/host/verdict"
)

// A Kind says what a row is for.
type Kind string

// The kinds of rows.
const (
	Test       Kind = "test"       // a chip was tested
	Correction Kind = "correction" // what stood in row Corrects reads so instead
	Void       Kind = "void"       // row Corrects does not hold: the chip stands as before it
)

// Limits of what a row may hold, in bytes.
const (
	MaxText   = 10_000  // of one text
	MaxReport = 4 << 20 // of the report
)

// A Record is one row. Texts are one line: Append makes blanks of control
// characters. A text that is empty, a serial number that is 0 and a time that
// is zero stand for what is not known or does not apply.
type Record struct {
	Bench string // the letter before Serial and Chip, of one of several benches; in no digest

	Serial int64 // from 1, without a gap; given by Append
	Kind   Kind
	Time   time.Time // of the test, UTC, to the millisecond

	Part, Type, Family string // "7410", "74LS10", "74LS"
	Drawer, Lot        string
	Operator           string
	Marking            string // as read from the chip

	DateCode string    // as marked: "7938", "T4"
	From, To time.Time // first and last day of the week or month that it stands for
	Year     int       // of that month, or of that week by ISO 8601

	Verdict    verdict.Verdict
	Grade      verdict.Grade // of records before version 2 of the report also none, where no levels were measured
	Reason     string
	Note       string
	PinsFailed []int

	Adapter, Firmware string
	DefinitionSHA256  string // hexadecimal
	VectorsSHA256     string

	Chip     int64 // serial of the first test of this chip; given by Append
	RetestOf int64 // serial of an earlier test of the same chip; Append makes it that of the first
	Corrects int64 // serial of the row that a correction or void replaces

	ImportedSerial int64  // in the file that it came from
	ImportedDigest string // there, hexadecimal

	Previous string // digest of the row before, hexadecimal; empty in the first
	Digest   string // of this row; given by Append
	Report   []byte // the whole report as compact JSON; left out by Find
}

// BagNumber is the chip's number as it is written on its bag: 17, or A17 at bench A of several.
func (r Record) BagNumber() string { return r.Bench + strconv.FormatInt(r.Chip, 10) }

// Nonconforming reports whether the chip is nonconforming in a lot: it failed, or passed
// with a grade of reject, or where levels decide, with a but.
func (r Record) Nonconforming(by Deciding) bool {
	return by == ByLevels && r.Verdict == verdict.PassBut || r.Verdict == verdict.Fail || r.Verdict.Passed() && r.Grade == verdict.Reject
}

// FromReport is the record of a test by its report as report.Document.WriteJSON
// writes it. Drawer, lot, operator and marking are the caller's to fill in.
func FromReport(report []byte) (Record, error) {
	var s struct {
		Part, Type, Family string
		DateCode           *struct {
			Raw, From, To string
		} `json:"date_code"`
		Note, Reason      string
		Verdict           verdict.Verdict
		Grade             verdict.Grade
		But               []string
		PinsFailed        []int `json:"pins_failed"`
		Adapter, Firmware string
		DefinitionSHA256  string `json:"definition_sha256"`
		VectorsSHA256     string `json:"vectors_sha256"`
		Started           time.Time
	}
	if err := json.Unmarshal(report, &s); err != nil {
		return Record{}, fmt.Errorf("report of a test: %w", err)
	}
	r := Record{
		Kind: Test, Time: s.Started, Part: s.Part, Type: s.Type, Family: s.Family,
		Verdict: s.Verdict, Grade: s.Grade, Reason: s.Reason, Note: s.Note, PinsFailed: s.PinsFailed,
		Adapter: s.Adapter, Firmware: s.Firmware,
		DefinitionSHA256: s.DefinitionSHA256, VectorsSHA256: s.VectorsSHA256, Report: report,
	}
	if s.Verdict == verdict.PassBut {
		r.Reason = strings.Join(s.But, "; ")
	}
	if d := s.DateCode; d != nil {
		var err1, err2 error
		r.DateCode = d.Raw
		r.From, err1 = parseDay(d.From)
		r.To, err2 = parseDay(d.To)
		if err := errors.Join(err1, err2); err != nil {
			return Record{}, fmt.Errorf("report of a test: date code: %w", err)
		}
		r.Year = yearOf(r.From, r.To)
	}
	return r, r.check()
}

// ErrRecord is the error of a record that cannot be kept as it is.
var ErrRecord = errors.New("not a record")

// check says what is wrong with a record, and puts its texts and times into
// the form in which they are kept.
func (r *Record) check() error {
	if r.Kind == "" {
		r.Kind = Test
	}
	r.Time = r.Time.UTC().Truncate(time.Millisecond)
	for _, c := range columns {
		if c.text == nil {
			continue
		}
		t := c.text(r)
		if *t = oneLine(*t); len(*t) > MaxText {
			return fmt.Errorf("%w: %s is %d bytes long, over %d", ErrRecord, c.name, len(*t), MaxText)
		}
	}
	if !r.From.IsZero() {
		r.From, r.To = day(r.From), day(r.To)
	}
	switch {
	case r.Kind != Test && r.Kind != Correction && r.Kind != Void:
		return fmt.Errorf("%w: kind is %q, not test, correction or void", ErrRecord, r.Kind)
	case r.Kind != Void && !r.Verdict.Known():
		return fmt.Errorf("%w: verdict is %q, not one of %s", ErrRecord, string(r.Verdict), verdict.List(verdict.All))
	case !r.Grade.Known():
		return fmt.Errorf("%w: grade is %q, not one of %s", ErrRecord, string(r.Grade), verdict.List(verdict.Grades[:len(verdict.Grades)-1]))
	case r.From.IsZero() != r.To.IsZero() || r.To.Before(r.From):
		return fmt.Errorf("%w: the date code's last day is before its first", ErrRecord)
	case (r.Kind == Test) != (r.Corrects == 0):
		return fmt.Errorf("%w: a correction or void names the row that it corrects, a test does not", ErrRecord)
	case r.Kind != Test && r.RetestOf != 0:
		return fmt.Errorf("%w: only a test can be a retest", ErrRecord)
	case len(r.Report) > MaxReport:
		return fmt.Errorf("%w: the report is %d bytes long, over %d", ErrRecord, len(r.Report), MaxReport)
	}
	return r.compactReport()
}

func (r *Record) compactReport() error {
	if len(r.Report) == 0 {
		return nil
	}
	var compact bytes.Buffer
	if err := json.Compact(&compact, r.Report); err != nil {
		return fmt.Errorf("%w: the report is not JSON: %w", ErrRecord, err)
	}
	if r.Report = compact.Bytes(); r.Report[0] != '{' {
		return fmt.Errorf("%w: the report is not a JSON object", ErrRecord)
	}
	return nil
}

// oneLine makes blanks of what would break a line, or steer a terminal.
func oneLine(s string) string {
	return strings.Map(func(c rune) rune {
		if unicode.IsControl(c) || c == '\u2028' || c == '\u2029' {
			return ' '
		}
		return c
	}, strings.ToValidUTF8(s, "\uFFFD"))
}

func day(t time.Time) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
}

func parseDay(s string) (time.Time, error) { return time.Parse(time.DateOnly, s) }
