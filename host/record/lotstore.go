package record

import (
	"context"
	"crypto/sha256"
	"database/sql"
	_ "embed"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"chipassay/host/lot"
)

//go:embed schema2.sql
var schema2 string

//go:embed schema3.sql
var schema3 string

// A Deciding is what of a chip decides a lot.
type Deciding string

// What may decide. A lot that does not say is decided by the function alone.
const (
	ByFunction Deciding = "function" // a wrong vector makes a chip nonconforming
	ByLevels   Deciding = "levels"   // and so does what is wrong with one whose every vector was right
)

// Words are what makes a chip of the lot nonconforming.
func (d Deciding) Words() string {
	if d == ByLevels {
		return "function and levels decide"
	}
	return "function alone decides"
}

// A Lot is a lot that was opened for inspection, with the plan that was chosen
// for it then. Name and Source are one line each, as a record's texts.
//
// ExportCSV and ExportLines write records, which name their lots, and not the
// lots themselves; Backup copies both.
type Lot struct {
	Bench string // where it was opened, of several; in no digest
	Again []Lot  // of the same name, that other benches opened later: their plans do not hold

	Number  int64     // from 1, without a gap; given by OpenLot
	Time    time.Time // UTC, to the millisecond
	Name    string    // the Lot of its records
	Source  string    // the supplier
	Plan    lot.Plan
	Resumed bool // the supplier had acted on a discontinuation
	Decides Deciding

	Record       int64  // serial of the last record when the lot was opened, or 0
	RecordDigest string // its digest

	Previous string // digest of the lot before
	Digest   string
}

// Errors of lots.
var (
	ErrLotOpen = errors.New("is open already")
	ErrNoLot   = errors.New("no such lot")
)

// OpenLot keeps a lot and its plan, and gives it back with number and digests. It
// returns when the lot is on the disk. A name that is there already is refused
// (ErrLotOpen), and the lot of that name given back.
func (s *Store) OpenLot(ctx context.Context, l Lot) (Lot, error) {
	l.Name, l.Source = strings.TrimSpace(oneLine(l.Name)), strings.TrimSpace(oneLine(l.Source))
	if l.Name == "" || len(l.Name) > MaxText || len(l.Source) > MaxText {
		return Lot{}, fmt.Errorf("a lot's name has 1 to %d bytes, its source at most as many", MaxText)
	}
	if l.Time.IsZero() {
		l.Time = time.Now()
	}
	l.Time = l.Time.UTC().Truncate(time.Millisecond)
	err := s.write(ctx, func(w *writer) error {
		there, err := lotsOf(ctx, w.tx)
		if err != nil {
			return err
		}
		if i := slices.IndexFunc(there, func(o Lot) bool { return o.Name == l.Name }); i >= 0 {
			l = there[i]
			return ErrLotOpen
		}
		l.Number, l.Previous = int64(len(there))+1, ""
		if len(there) > 0 {
			l.Previous = there[len(there)-1].Digest
		}
		l.Record, l.RecordDigest = w.last, w.digest
		l.Digest = l.Sum()
		return insert(ctx, w.tx, "lot", l.fields())
	})
	l.Bench = s.bench
	if errors.Is(err, ErrLotOpen) {
		return l, fmt.Errorf("lot %s %w", l.Name, ErrLotOpen)
	}
	if err != nil {
		return Lot{}, fmt.Errorf("open lot %s: %w", l.Name, err)
	}
	return l, nil
}

// Lots are all lots in the order in which they were opened. A row that is not as
// it was written is refused (ErrDamaged).
func (s *Store) Lots(ctx context.Context) ([]Lot, error) {
	if s.all {
		return s.lotsTogether(ctx)
	}
	lots, err := lotsOf(ctx, s.db)
	for i := range lots {
		lots[i].Bench = s.bench
	}
	return lots, err
}

// Lot is the lot of a name, or ErrNoLot.
func (s *Store) Lot(ctx context.Context, name string) (Lot, error) {
	lots, err := s.Lots(ctx)
	if err != nil {
		return Lot{}, err
	}
	for _, l := range lots {
		if l.Name == name {
			return l, nil
		}
	}
	return Lot{}, fmt.Errorf("lot %s: %w", name, ErrNoLot)
}

// A field is a column of a lot or a photo.
type field struct {
	name  string
	value any // string, int or int64
}

// fields are the columns in the order of the schema.
func (l Lot) fields() []field {
	resumed := 0
	if l.Resumed {
		resumed = 1
	}
	p := l.Plan
	return []field{
		{"number", l.Number}, {"time", l.Time.Format(timeForm)}, {"name", l.Name}, {"source", l.Source},
		{"size", p.LotSize}, {"aql", lot.FormatAQL(p.AQL)}, {"level", string(p.Level)}, {"severity", string(p.Severity)},
		{"code_letter", p.Letter}, {"used_letter", p.UsedLetter}, {"sample_size", p.SampleSize},
		{"accept", p.Accept}, {"reject", p.Reject}, {"resumed", resumed}, {"decides", string(l.Decides)},
		{"record", l.Record}, {"record_digest", l.RecordDigest}, {"previous", l.Previous}, {"digest", l.Digest},
	}
}

func fieldNames(fields []field) string {
	var list []string
	for _, f := range fields {
		list = append(list, f.name)
	}
	return strings.Join(list, ", ")
}

// Sum is the SHA-256 digest of the lot, in hexadecimal, made of its columns but
// the digest as Record.Sum makes that of a record.
func (l Lot) Sum() string { return sumOf(l.fields()) }

func sumOf(fields []field) string {
	var b []byte
	for _, f := range fields {
		if text := fmt.Sprint(f.value); f.name != "digest" && text != "" && text != "0" {
			b = appendNetstring(appendNetstring(b, f.name), text)
		}
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// lotsOf reads the lots and checks their chain.
func lotsOf(ctx context.Context, q queryer) (lots []Lot, err error) {
	names := fieldNames(Lot{}.fields())
	if version, err := userVersion(ctx, q); err != nil {
		return nil, err
	} else if version < firstWithDeciding { // a backup of before
		names = strings.Replace(names, "decides", "''", 1)
	}
	rows, err := q.QueryContext(ctx, "SELECT "+names+" FROM lot ORDER BY number")
	if err != nil {
		return nil, damaged(err)
	}
	defer rows.Close()
	previous := ""
	for rows.Next() {
		l, err := scanLot(rows)
		if err != nil {
			return nil, err
		}
		if bad := l.bad(int64(len(lots))+1, previous); bad != "" {
			return nil, fmt.Errorf("%w: lot %d (%s) %s", ErrDamaged, l.Number, l.Name, bad)
		}
		previous = l.Digest
		lots = append(lots, l)
	}
	return lots, damaged(rows.Err())
}

// bad says what is wrong with the lot that should have a number and follow another.
func (l Lot) bad(number int64, previous string) string {
	switch {
	case l.Number != number || l.Previous != previous:
		return "does not follow the lot before it"
	case l.Sum() != l.Digest:
		return "was changed after it was opened"
	}
	return ""
}

func scanLot(rows *sql.Rows) (l Lot, err error) {
	var moment, aql string
	p := &l.Plan
	err = rows.Scan(&l.Number, &moment, &l.Name, &l.Source, &p.LotSize, &aql, &p.Level, &p.Severity, &p.Letter, &p.UsedLetter,
		&p.SampleSize, &p.Accept, &p.Reject, &l.Resumed, &l.Decides, &l.Record, &l.RecordDigest, &l.Previous, &l.Digest)
	if err != nil {
		return l, err
	}
	p.WholeLot = p.SampleSize >= p.LotSize
	var err1, err2 error
	l.Time, err1 = time.Parse(timeForm, moment)
	p.AQL, err2 = strconv.ParseFloat(aql, 64)
	if err := errors.Join(err1, err2); err != nil {
		return l, fmt.Errorf("%w: lot %d: %w", ErrDamaged, l.Number, err)
	}
	return l, nil
}

// The versions of the file that first have the table of lots, and what decides one.
const (
	firstWithLots     = 2
	firstWithDeciding = 3
)

// checkLots computes the digests of the lots, and looks for the records that
// they name.
func checkLots(ctx context.Context, q queryer) (*Bad, error) {
	if version, err := userVersion(ctx, q); err != nil || version < firstWithLots {
		return nil, err // a backup of before
	}
	lots, err := lotsOf(ctx, q)
	if errors.Is(err, ErrDamaged) {
		return &Bad{Reason: strings.TrimPrefix(err.Error(), ErrDamaged.Error()+": ")}, nil
	}
	if err != nil {
		return nil, err
	}
	for _, l := range lots {
		if l.Record == 0 {
			continue
		}
		var digest string
		err := q.QueryRowContext(ctx, "SELECT digest FROM record WHERE serial = ?", l.Record).Scan(&digest)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return nil, damaged(err)
		}
		if digest != l.RecordDigest {
			return &Bad{Reason: fmt.Sprintf("lot %s was opened after record %d, which was changed since", l.Name, l.Record)}, nil
		}
	}
	return nil, nil
}
