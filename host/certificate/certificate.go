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
	"slices"
	"strings"

	"chipassay/host/marking"
	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/vectors/part"
)

// ErrNone is the error for a record of which there can be no certificate; what
// wraps it says why.
var ErrNone = errors.New("no certificate")

// A Certificate is the report of a chip's test, with what its current record says instead.
type Certificate struct {
	report.Document               // of the test; of no version where the record has none
	Record          record.Record // the chip's current one
	Tested          record.Record // that of the test: the same, or the one that Record corrects

	history []record.Record // all rows about the chip, the oldest first
}

// Read makes the certificate of the chip that a record is about, by its current record. If
// that has the report of its test, the two must not contradict each other.
func Read(ctx context.Context, s *record.Store, serial int64) (c Certificate, err error) {
	if c.history, err = s.History(ctx, serial); err != nil {
		return c, err
	}
	current := record.Current(c.history)
	if current == nil {
		return c, fmt.Errorf("all records of chip %d were taken back: test the chip again: %w", c.history[0].Serial, ErrNone)
	}
	if c.Record, err = s.Get(ctx, current.Serial); err != nil {
		return c, err
	}
	r := c.Record
	if r.Sum() != r.Digest {
		return c, fmt.Errorf("record %d: %w: it was changed since it was written: restore the records from a backup", r.Serial, ErrNone)
	}
	for c.Tested = r; c.Tested.Kind == record.Correction; {
		if c.Tested, err = s.Get(ctx, c.Tested.Corrects); err != nil {
			return c, err
		}
	}
	whole := r.Report
	if len(whole) == 0 {
		whole = c.Tested.Report
	}
	if len(whole) > 0 {
		if c.Document, err = report.ReadDocument(whole); err != nil {
			return c, fmt.Errorf("record %d: %w: %w", r.Serial, ErrNone, err)
		}
		if why := contradiction(r, c.Document); why != "" {
			return c, fmt.Errorf("record %d %s: test the chip again: %w", r.Serial, why, ErrNone)
		}
	}
	c.takeRecord()
	c.Photo, err = Photo(ctx, s, r.Chip)
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

// Check is the error for a certificate without the report of its test; nil for others.
func (c Certificate) Check() error {
	if c.Version > 0 || c.Serial() == 0 {
		return nil
	}
	return fmt.Errorf("record %d has no test report (it was imported), so what was applied and measured is not known: test the chip again: %w",
		c.Serial(), ErrNone)
}

// contradiction says what a record claims and the report of the test does not
// bear out. What makes a chip look worse is no contradiction: it is noted.
func contradiction(r record.Record, t report.Document) string {
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

// takeRecord puts what the record says instead into the report.
func (c *Certificate) takeRecord() {
	r := c.Record
	c.Verdict, c.Reason, c.DateCode, c.Note = r.Verdict.OrNotTested(), r.Reason, c.dateCode(), r.Note
	c.Started, c.Place = c.Tested.Time.UTC(), "" // the place in a run is none in a drawer
	c.DefinitionSHA256, c.VectorsSHA256, c.Adapter, c.Firmware = r.DefinitionSHA256, r.VectorsSHA256, r.Adapter, r.Firmware
	if c.Grade != r.Grade {
		c.Grade, c.GradeReasons = r.Grade, nil
	}
	if c.DateCode != nil && c.DateCode.Doubt != "" && !slices.Contains(c.Cautions, c.DateCode.Doubt) {
		c.Cautions = append(c.Cautions, c.DateCode.Doubt)
	}
	c.Findings = append(c.cleared(), c.Findings...)
}

// dateCode is the record's date code. One that the report does not have is read anew.
func (c *Certificate) dateCode() *marking.DateCode {
	r := c.Record
	if r.DateCode == "" {
		return nil
	}
	var d marking.DateCode
	if c.DateCode != nil && c.DateCode.Raw == r.DateCode {
		d = *c.DateCode
	} else {
		d, _ = marking.ReadDateCode(r.DateCode, marking.MadeSince(part.FamilyByName(r.Family)), r.Time) // else it is what the record says
	}
	d.Raw, d.From, d.To = r.DateCode, marking.Day{Time: r.From}, marking.Day{Time: r.To}
	return &d
}

// drawer is the chip's drawer; none for one that was given away, for to whom is on no paper.
func (c Certificate) drawer() string {
	if record.IsAway(c.Record.Drawer) {
		return ""
	}
	return c.Record.Drawer
}

// Row is the number of the record itself, with its bench's letter where there are several.
func (c Certificate) Row() record.Number { return c.Record.Row() }

// Serial is the number of the record itself.
func (c Certificate) Serial() int64 { return c.Record.Serial }

// FileName is the name of the file for some certificates, or their labels, by the chips'
// numbers: "certificate-17.html".
func FileName(what string, list []Certificate) string {
	if len(list) == 1 {
		return fmt.Sprintf("%s-%s.html", what, list[0].Record.BagNumber())
	}
	return fmt.Sprintf("%ss-%s-and-%d-more.html", strings.TrimSuffix(what, "s"), list[0].Record.BagNumber(), len(list)-1)
}
