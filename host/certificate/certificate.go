// Package certificate prints a record as a page to hand over with the chip: the
// certificate, or, if the chip failed or was not tested, a sheet that says so. It also
// makes labels for the drawer, and signs pages so that any change shows.
//
// The page of a record is the same, byte for byte, until a row about the same chip, or a
// photo of it, is added: it holds the time of the test, not of writing. Its QR code (ISO/IEC 18004,
// error correction M) holds
//
//	CHIPASSAY RECORD 17 <SHA-256 of the record in capital hexadecimal digits>
//
// in the alphanumeric characters of that standard, to keep the code small.
//
// Sign documents the signature, Key.Fingerprint the fingerprint.
package certificate

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"

	"chipassay/host/record"
	"chipassay/host/report"
)

// ErrNone is the error for a record of which there can be no certificate; what
// wraps it says why.
var ErrNone = errors.New("no certificate")

// A Certificate is what there is to say of one chip.
type Certificate struct {
	Record record.Record   // the one that holds
	Tested record.Record   // that of the test: the same, or the one that Record corrects
	Chip   report.Document // of the test

	history []record.Record // all rows about the chip, the oldest first
	photo   *report.Photo   // nil for none
}

// Read makes the certificate of a record. The record must be its chip's current one and
// have the report of its test, and the two must not contradict each other.
func Read(ctx context.Context, s *record.Store, serial int64) (Certificate, error) {
	r, history, err := holding(ctx, s, serial)
	if err != nil {
		return Certificate{}, err
	}
	tested, err := testOf(ctx, s, r)
	if err != nil {
		return Certificate{}, err
	}
	c, err := New(r, tested)
	if err != nil {
		return c, err
	}
	c.history = history
	c.photo, err = Photo(ctx, s, r.Chip)
	return c, err
}

// Photo is the photo of a chip as a page shows it; nil where it has none.
func Photo(ctx context.Context, s *record.Store, chip int64) (*report.Photo, error) {
	p, picture, err := s.Photo(ctx, chip)
	if errors.Is(err, record.ErrNoPhoto) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return &report.Photo{JPEG: picture.JPEG, SHA256: picture.SHA256, Width: picture.Width, Height: picture.Height, Added: p.Time}, nil
}

// holding is a record, if it is its chip's current one, with all rows about that chip.
func holding(ctx context.Context, s *record.Store, serial int64) (r record.Record, history []record.Record, err error) {
	if r, err = s.Get(ctx, serial); err != nil {
		return r, nil, err
	}
	if history, err = s.History(ctx, serial); err != nil {
		return r, nil, err
	}
	if err := holds(r, history); err != nil {
		return r, nil, err
	}
	if r.Sum() != r.Digest {
		return r, nil, fmt.Errorf("record %d: %w: it was changed since it was written: restore the records from a backup", serial, ErrNone)
	}
	return r, history, nil
}

// holds says why a record is not its chip's current one, and which is.
func holds(r record.Record, history []record.Record) error {
	now := record.Current(history)
	if now != nil && now.Serial == r.Serial {
		return nil
	}
	what := "is not the current one"
	if r.Kind == record.Void {
		what = fmt.Sprintf("only takes back record %d", r.Corrects)
	}
	if v := voidOf(history, r.Serial); v != nil {
		what = fmt.Sprintf("was taken back by record %d", v.Serial)
	}
	if now == nil {
		return fmt.Errorf("record %d %s, and so was all else about its chip: test the chip again: %w", r.Serial, what, ErrNone)
	}
	how := "a retest"
	switch {
	case now.Kind == record.Correction:
		how = fmt.Sprintf("which corrects record %d", now.Corrects)
	case now.Serial < r.Serial:
		how = "the test before it"
	}
	return fmt.Errorf("record %d %s: the current record of its chip is %d, %s: make the page again with chipassay certificate %d: %w",
		r.Serial, what, now.Serial, how, r.Chip, ErrNone)
}

// testOf is the record of the test that a record corrects, or the record itself.
func testOf(ctx context.Context, s *record.Store, r record.Record) (record.Record, error) {
	for r.Kind == record.Correction {
		var err error
		if r, err = s.Get(ctx, r.Corrects); err != nil {
			return r, err
		}
	}
	return r, nil
}

// New makes the certificate of a record by the record of the test, which is the
// same unless the first corrects it.
func New(r, tested record.Record) (Certificate, error) {
	c := Certificate{Record: r, Tested: tested}
	whole := r.Report
	if len(whole) == 0 {
		whole = tested.Report
	}
	if len(whole) == 0 {
		return c, fmt.Errorf("record %d has no test report (it was imported), so what was applied and measured is not known: test the chip again: %w", r.Serial, ErrNone)
	}
	var err error
	if c.Chip, err = report.ReadDocument(whole); err != nil {
		return c, fmt.Errorf("record %d: %w: %w", r.Serial, ErrNone, err)
	}
	if why := c.contradiction(); why != "" {
		return c, fmt.Errorf("record %d %s: test the chip again: %w", r.Serial, why, ErrNone)
	}
	return c, nil
}

// contradiction says what a record claims and the report of the test does not
// bear out. What makes a chip look worse is no contradiction: it is noted.
func (c Certificate) contradiction() string {
	r, t := c.Record, c.Chip
	switch {
	case r.Part != t.Part || r.Type != t.Type || r.Family != t.Family:
		return fmt.Sprintf("names the chip %s, but it was tested as %s", r.Type, t.Type)
	case r.Verdict.Passed() && t.Verdict != r.Verdict:
		return fmt.Sprintf("says %s, but the report of the test says %s", r.Verdict, t.Verdict)
	case r.Verdict.Passed() && (t.VectorsApplied == 0 || t.VectorsApplied != t.VectorsPlanned):
		return fmt.Sprintf("says pass, but only %d of %d vectors were applied", t.VectorsApplied, t.VectorsPlanned)
	case r.Verdict.Passed() && (t.FailureCount > 0 || len(t.PinsFailed) > 0 || t.RunsFailed > 0):
		return "says pass, but the report of the test lists wrong readings"
	case r.Grade.Rank() < t.Grade.Rank():
		return fmt.Sprintf("gives the grade %s, but the test gave %s", r.Grade, cmp.Or(t.Grade.String(), "none"))
	}
	return ""
}

// FileName is the name of the file for the certificates, or the labels, of some
// records: "certificate-17.html".
func FileName(what string, serials []int64) string {
	switch n := len(serials); n {
	case 0:
		return what + ".html"
	case 1:
		return fmt.Sprintf("%s-%d.html", what, serials[0])
	default:
		return fmt.Sprintf("%ss-%d-and-%d-more.html", strings.TrimSuffix(what, "s"), serials[0], n-1)
	}
}
