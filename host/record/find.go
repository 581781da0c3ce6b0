package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"chipassay/host/verdict"
)

// A Query says which records are asked for. What is left empty does not matter;
// Part to Grade match whole values, case and all.
type Query struct {
	Bench string // its letter, where there are several

	Part, Type, Family, Drawer, Lot string
	Verdict                         verdict.Verdict
	Grade                           verdict.Grade

	// From and To bound the date code, both days included. A week or month belongs to
	// the day in its middle: a week to its Thursday, as it does to the year in ISO 8601.
	From, To time.Time

	Text string // somewhere in marking, operator, reason or note; ASCII letters in either case

	All         bool   // also rows that others replaced, and voids
	NewestFirst bool   // by serial number
	Limit       int    // how many at most; 0 for all
	After       int64  // serial number after which to go on, in the order asked for; 0 for the start
	AfterRow    Number // likewise where there are several benches, whose rows are by time

	remote  bool   // on a server
	benches bool   // of all benches, by time; After is then of no use
	since   string // the time of AfterRow
}

// ErrNone is the error for a serial number that no record has.
var ErrNone = errors.New("no such record")

// middle is twice the day in the middle of the period of a date code.
const middle = "julianday(date_from) + julianday(date_to)"

// longest is how many days a period may have, so that the index on first days can be used.
const longest = 31

// indexedLetters are how many letters of a text are in a server's indexes.
const indexedLetters = 200

// where is the condition on columns that record and tally share, with an AND
// before each, and its arguments.
func (q Query) where() (string, []any) {
	var b strings.Builder
	var args []any
	if q.benches && q.Bench != "" {
		b.WriteString(" AND bench = ?")
		args = append(args, q.Bench)
	}
	for _, c := range []struct{ column, value string }{
		{"part", q.Part}, {"type", q.Type}, {"family", q.Family}, {"drawer", q.Drawer},
		{"lot", q.Lot}, {"verdict", string(q.Verdict)}, {"grade", string(q.Grade)},
	} {
		indexed := c.column == "part" || c.column == "type" || c.column == "drawer" || c.column == "lot"
		switch {
		case c.value == "":
			continue
		case q.remote && indexed && utf8.RuneCountInString(c.value) < indexedLetters:
			// The same as that the whole text is equal; to say both, PostgreSQL would expect too few rows.
			b.WriteString(" AND left(" + c.column + ", 200) = ?")
		case q.remote && indexed:
			b.WriteString(" AND left(" + c.column + ", 200) = left(?, 200) AND " + c.column + " = ?")
			args = append(args, c.value)
		default:
			b.WriteString(" AND " + c.column + " = ?")
		}
		if args = append(args, c.value); c.column == "lot" {
			b.WriteString(" AND lot <> ''") // as the index is, which is not used without
		}
	}
	return b.String(), args
}

// whereRow is the rest of the condition, on columns that only record has.
func (q Query) whereRow() (string, []any) {
	var b strings.Builder
	var args []any
	// What an index answers, or costs little, comes first.
	if !q.From.IsZero() {
		b.WriteString(" AND date_from >= ?")
		args = append(args, q.From.AddDate(0, 0, -longest).Format(time.DateOnly))
	}
	if !q.To.IsZero() {
		b.WriteString(" AND date_from <= ? AND date_from <> ''")
		args = append(args, q.To.Format(time.DateOnly))
	}
	// Days are reckoned with only where a period lies across a bound: of the others a text says enough.
	if day := q.From.Format(time.DateOnly); !q.From.IsZero() {
		b.WriteString(" AND (date_from >= ? OR " + middle + " >= 2 * julianday(?))")
		args = append(args, day, day)
	}
	if day := q.To.Format(time.DateOnly); !q.To.IsZero() {
		b.WriteString(" AND (date_to <= ? OR " + middle + " < 2 * (julianday(?) + 1))")
		args = append(args, day, day)
	}
	if q.Text != "" {
		// A line break between the texts, which have none, so that nothing matches across two.
		b.WriteString(` AND marking || char(10) || operator || char(10) || reason || char(10) || note LIKE ? ESCAPE '\'`)
		args = append(args, "%"+strings.NewReplacer(`\`, `\\`, `%`, `\%`, `_`, `\_`).Replace(q.Text)+"%")
	}
	return b.String(), args
}

// current is the condition that a row was not replaced.
func (q Query) current() string {
	if q.All {
		return ""
	}
	return " AND NOT EXISTS (SELECT 1 FROM replaced WHERE replaced.serial = record.serial)"
}

// veiled gives PostgreSQL the conditions of whereRow so that it takes half of the rows to fit, and looks at them in
// the order that is asked for until enough do. Left to itself it takes a text or a year to fit next to none, and sorts
// all that do. The plan is the same for every text and year, so that it is kept. A part or a drawer it judges well.
func (q Query) veiled(own string) string {
	if own == "" || !q.remote || q.Limit == 0 || q.Part+q.Type+q.Drawer+q.Lot != "" {
		return own
	}
	return " AND coalesce(" + strings.TrimPrefix(own, " AND ") + ", false)"
}

// statement selects columns of the records asked for.
func (q Query) statement(columns, from string) (string, []any) {
	shared, args := q.where()
	own, more := q.whereRow()
	follows, order := " > ?", ""
	if q.NewestFirst {
		follows, order = " < ?", " DESC"
	}
	by := "record.serial" + order
	if q.benches { // whose numbers say nothing about what came first
		columns += ", record.bench"
		by = "record.time" + order + ", record.bench" + order + ", record.serial" + order
	}
	after := ""
	if q.benches && q.AfterRow.Serial != 0 {
		after = " AND (record.time, record.bench, record.serial)" + strings.TrimSuffix(follows, "?") + "(?, ?, ?)"
		args = append(args, q.since, q.AfterRow.Bench, q.AfterRow.Serial)
	}
	if q.After != 0 {
		after = " AND record.serial" + follows
		args = append(args, q.After)
	}
	args = append(args, more...)
	limit := ""
	if q.Limit > 0 { // not as an argument, of whose size PostgreSQL would know nothing when it plans
		limit = " LIMIT " + strconv.Itoa(q.Limit)
	}
	return "SELECT " + columns + " FROM " + from + " WHERE true" + shared + after + q.veiled(own) + q.current() + " ORDER BY " + by + limit, args
}

// Find yields the records asked for by serial number, without their reports. An
// error ends it.
func (s *Store) Find(ctx context.Context, q Query) iter.Seq2[Record, error] {
	return s.find(ctx, q, narrowRow, "record")
}

func (s *Store) find(ctx context.Context, q Query, columns, from string) iter.Seq2[Record, error] {
	q.benches, q.remote = s.all, s.remote != nil
	if after := q.AfterRow; s.all && after.Serial != 0 {
		err := s.db.QueryRowContext(ctx, "SELECT time FROM record WHERE bench = ? AND serial = ?", after.Bench, after.Serial).Scan(&q.since)
		if err != nil {
			return func(yield func(Record, error) bool) { yield(Record{}, fmt.Errorf("record %s: %w", after, ErrNone)) }
		}
	} else if after.Serial != 0 {
		q.After = after.Serial
	}
	statement, args := q.statement(columns, from)
	return s.lettered(read(ctx, s.db, statement, args...))
}

// lettered gives records the letter of their bench, if they have one.
func (s *Store) lettered(rows iter.Seq2[Record, error]) iter.Seq2[Record, error] {
	if s.bench == "" || s.all {
		return rows
	}
	return func(yield func(Record, error) bool) {
		for r, err := range rows {
			r.Bench = s.bench
			if !yield(r, err) {
				return
			}
		}
	}
}

// SQLite hands over few long values much faster than many short ones. So the
// columns of a row come as one, with the unit separator between, which no text
// holds (see Record); the report comes apart.
const separator = "\x1f"

var (
	narrowRow = "concat_ws(char(31), record." + strings.ReplaceAll(names(narrow), ", ", ", record.") + "), ''"
	wholeRow  = strings.TrimSuffix(narrowRow, "''") + "coalesce(report, '')"
)

// withReport is what wholeRow is selected from.
const withReport = "record LEFT JOIN report USING (serial)"

// read yields the rows of a statement that selects narrowRow or wholeRow.
func read(ctx context.Context, q queryer, statement string, args ...any) iter.Seq2[Record, error] {
	return func(yield func(Record, error) bool) {
		rows, err := q.QueryContext(ctx, statement, args...)
		if err != nil {
			yield(Record{}, damaged(err))
			return
		}
		defer rows.Close()
		var r Record
		var row string
		into := []any{&row, &r.Report}
		if names, err := rows.Columns(); err == nil && len(names) > len(into) {
			into = append(into, &r.Bench)
		}
		for rows.Next() {
			r = Record{}
			err := rows.Scan(into...)
			if err == nil {
				err = r.scan(narrow, strings.Split(row, separator))
			}
			if len(r.Report) == 0 {
				r.Report = nil
			}
			if !yield(r, err) || err != nil {
				return
			}
		}
		if err := rows.Err(); err != nil {
			yield(Record{}, damaged(err))
		}
	}
}

// Get is the whole record of a serial number, whether another replaced it or
// not. The error is ErrNone where there is none.
func (s *Store) Get(ctx context.Context, serial int64) (Record, error) {
	if s.all {
		own, err := s.At(ctx, "")
		if err != nil {
			return Record{}, err
		}
		return own.Get(ctx, serial)
	}
	for r, err := range read(ctx, s.db, "SELECT "+wholeRow+" FROM "+withReport+" WHERE record.serial = ?", serial) {
		if r.Bench == "" {
			r.Bench = s.bench
		}
		return r, err
	}
	return Record{}, fmt.Errorf("record %d: %w", serial, ErrNone)
}

// History is every row about the chip that a record is about, the oldest first,
// without reports. Current picks the current one.
func (s *Store) History(ctx context.Context, serial int64) ([]Record, error) {
	if s.all {
		own, err := s.At(ctx, "")
		if err != nil {
			return nil, err
		}
		return own.History(ctx, serial)
	}
	rows, err := history(ctx, s.db, serial)
	for i := range rows {
		rows[i].Bench = s.bench
	}
	return rows, err
}

func history(ctx context.Context, q queryer, serial int64) ([]Record, error) {
	var chip int64
	err := q.QueryRowContext(ctx, "SELECT chip FROM record WHERE serial = ?", serial).Scan(&chip)
	if errors.Is(err, sql.ErrNoRows) {
		err = fmt.Errorf("record %d: %w", serial, ErrNone)
	}
	if err != nil {
		return nil, err
	}
	var rows []Record
	for r, err := range read(ctx, q, "SELECT "+narrowRow+" FROM record WHERE serial = ?1 OR (chip = ?1 AND chip <> serial) ORDER BY serial", chip) {
		if err != nil {
			return nil, err
		}
		rows = append(rows, r)
	}
	return rows, nil
}

// Current is the current row of a chip's history, or nil where all are void.
func Current(history []Record) *Record {
	if s := stack(history); len(s) > 0 {
		return s[len(s)-1]
	}
	return nil
}

// stack is a chip's history without what is void: the last row is current, and a
// void of it brings back the one before.
func stack(history []Record) (rows []*Record) {
	for i, r := range history {
		if r.Kind == Void {
			rows = rows[:max(0, len(rows)-1)]
		} else {
			rows = append(rows, &history[i])
		}
	}
	return rows
}
