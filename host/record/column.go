package record

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// timeForm is RFC 3339 in UTC, to the millisecond.
const timeForm = "2006-01-02T15:04:05.000Z"

// A column is one field of a record: its name in the file, in exports and in
// the digest, and its value as a string, empty where there is none.
type column struct {
	name string
	form form
	get  func(*Record) string
	set  func(*Record, string) error
	text func(*Record) *string // of a person's or the report's own words, else nil
}

// A form is how a column is written in SQL and JSON.
type form uint8

const (
	asText   form = iota
	asNumber      // a whole number
	asList        // whole numbers with blanks between; in JSON an array
	asObject      // JSON
)

// columns are all of them, in the order of the schema. The report stands last,
// in a table of its own.
var columns = []column{
	number("serial", func(r *Record) *int64 { return &r.Serial }),
	{name: "kind", get: func(r *Record) string { return string(r.Kind) },
		set: func(r *Record, s string) error { r.Kind = Kind(s); return nil }},
	moment("time", timeForm, func(r *Record) *time.Time { return &r.Time }),
	text("part", func(r *Record) *string { return &r.Part }),
	text("type", func(r *Record) *string { return &r.Type }),
	text("family", func(r *Record) *string { return &r.Family }),
	text("drawer", func(r *Record) *string { return &r.Drawer }),
	text("lot", func(r *Record) *string { return &r.Lot }),
	text("operator", func(r *Record) *string { return &r.Operator }),
	text("marking", func(r *Record) *string { return &r.Marking }),
	text("date_code", func(r *Record) *string { return &r.DateCode }),
	moment("date_from", time.DateOnly, func(r *Record) *time.Time { return &r.From }),
	moment("date_to", time.DateOnly, func(r *Record) *time.Time { return &r.To }),
	number("date_year", func(r *Record) *int { return &r.Year }),
	text("verdict", func(r *Record) *string { return (*string)(&r.Verdict) }),
	text("grade", func(r *Record) *string { return (*string)(&r.Grade) }),
	text("reason", func(r *Record) *string { return &r.Reason }),
	text("note", func(r *Record) *string { return &r.Note }),
	{name: "pins_failed", form: asList, get: pinsText, set: setPins},
	text("adapter", func(r *Record) *string { return &r.Adapter }),
	text("firmware", func(r *Record) *string { return &r.Firmware }),
	text("definition_sha256", func(r *Record) *string { return &r.DefinitionSHA256 }),
	text("vectors_sha256", func(r *Record) *string { return &r.VectorsSHA256 }),
	number("chip", func(r *Record) *int64 { return &r.Chip }),
	number("retest_of", func(r *Record) *int64 { return &r.RetestOf }),
	number("corrects", func(r *Record) *int64 { return &r.Corrects }),
	number("imported_serial", func(r *Record) *int64 { return &r.ImportedSerial }),
	text("imported_digest", func(r *Record) *string { return &r.ImportedDigest }),
	text("previous", func(r *Record) *string { return &r.Previous }),
	text("digest", func(r *Record) *string { return &r.Digest }),
	{name: "report", form: asObject, get: func(r *Record) string { return string(r.Report) },
		set: func(r *Record, s string) error { r.Report = []byte(s); return nil }},
}

// narrow are the columns of table record.
var narrow = columns[:len(columns)-1]

func names(columns []column) string {
	var list []string
	for _, c := range columns {
		list = append(list, c.name)
	}
	return strings.Join(list, ", ")
}

func text(name string, field func(*Record) *string) column {
	return column{name: name, text: field,
		get: func(r *Record) string { return *field(r) },
		set: func(r *Record, s string) error { *field(r) = s; return nil },
	}
}

func number[N int | int64](name string, field func(*Record) *N) column {
	return column{name: name, form: asNumber,
		get: func(r *Record) string {
			if *field(r) == 0 {
				return ""
			}
			return strconv.FormatInt(int64(*field(r)), 10)
		},
		set: func(r *Record, s string) (err error) {
			if s == "" {
				*field(r) = 0
				return nil
			}
			n, err := strconv.ParseInt(s, 10, 64)
			if *field(r) = N(n); err == nil && int64(N(n)) != n {
				err = strconv.ErrRange
			}
			return err
		},
	}
}

func moment(name, form string, field func(*Record) *time.Time) column {
	return column{name: name,
		get: func(r *Record) string {
			if field(r).IsZero() {
				return ""
			}
			return field(r).Format(form)
		},
		set: func(r *Record, s string) (err error) {
			*field(r) = time.Time{}
			if s != "" {
				*field(r), err = time.Parse(form, s)
			}
			return err
		},
	}
}

func pinsText(r *Record) string {
	var list []string
	for _, p := range r.PinsFailed {
		list = append(list, strconv.Itoa(p))
	}
	return strings.Join(list, " ")
}

func setPins(r *Record, s string) error {
	r.PinsFailed = nil
	for _, word := range strings.Fields(s) {
		n, err := strconv.Atoi(word)
		if err != nil {
			return err
		}
		r.PinsFailed = append(r.PinsFailed, n)
	}
	return nil
}

// value is what SQL keeps.
func (c column) value(r *Record) any {
	s := c.get(r)
	if c.form != asNumber {
		return s
	}
	n, _ := strconv.ParseInt(s, 10, 64) // empty is 0
	return n
}

// Sum is the SHA-256 digest of the record, in hexadecimal: that of name and
// value of every field but the digest itself, in the order of the schema, the
// report last, each as a netstring: its length in bytes, a colon, itself, a
// comma. Fields that are empty or 0 are left out, so that fields which a later
// version adds do not change old digests. The field previous ties the row to
// the one before.
func (r *Record) Sum() string {
	var b []byte
	for _, c := range columns {
		if c.name == "digest" {
			continue
		}
		if v := c.get(r); v != "" {
			b = appendNetstring(appendNetstring(b, c.name), v)
		}
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

func appendNetstring(b []byte, s string) []byte {
	b = strconv.AppendInt(b, int64(len(s)), 10)
	b = append(append(b, ':'), s...)
	return append(b, ',')
}

// scan fills a record from values in the order of some columns.
func (r *Record) scan(columns []column, values []string) error {
	if len(values) != len(columns) {
		return fmt.Errorf("it has %d columns, not %d", len(values), len(columns))
	}
	for i, c := range columns {
		if err := c.set(r, values[i]); err != nil {
			return fmt.Errorf("column %s: %w", c.name, err)
		}
	}
	return nil
}
