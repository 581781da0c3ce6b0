package chip

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"chipassay/host/marking"
	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/vectors/part"
)

// Errors of a correction.
var (
	ErrUnchanged = errors.New("nothing is corrected")
	ErrNoReason  = errors.New("give the reason")
)

// A Correction is what a person wrote that is to read otherwise; nil stays as it is. What
// was measured is not corrected: the chip is tested again.
type Correction struct {
	Drawer, Lot, Operator, Marking, Note *string
	DateCode                             *string // empty for none
}

// Changes are what of a correction differs from a record.
func (c Correction) Changes(r record.Record) Correction {
	for _, f := range c.fields(&r) {
		if *f.to != nil && strings.TrimSpace(**f.to) == *f.from {
			*f.to = nil
		}
	}
	return c
}

// A corrected is a field of a correction, and the record's.
type corrected struct {
	to   **string
	from *string
}

func (c *Correction) fields(r *record.Record) []corrected {
	return []corrected{
		{&c.Drawer, &r.Drawer}, {&c.Lot, &r.Lot}, {&c.Operator, &r.Operator}, {&c.Marking, &r.Marking}, {&c.Note, &r.Note}, {&c.DateCode, &r.DateCode},
	}
}

// Correct appends a record that replaces the current one of a chip, and gives it back. What
// is wrong with the date code is a record.FieldError of date-code.
func Correct(ctx context.Context, s *record.Store, number int64, c Correction) (record.Record, error) {
	return replace(ctx, s, number, func(r *record.Record) error {
		if c == (Correction{}) {
			return ErrUnchanged
		}
		var date *marking.DateCode
		if c.DateCode != nil {
			var err error
			if date, err = dateCodeOf(r, strings.TrimSpace(*c.DateCode)); err != nil {
				return &record.FieldError{Field: "date-code", Why: err.Error()}
			}
		}
		for _, f := range c.fields(r) {
			if *f.to != nil {
				*f.from = strings.TrimSpace(**f.to)
			}
		}
		if c.DateCode != nil {
			r.SetDate(date)
		}
		r.Kind = record.Correction
		return correctReport(r, c.DateCode != nil, date)
	})
}

// TakeBack appends a record by which the current one of a chip does not hold: the one before
// is current again.
func TakeBack(ctx context.Context, s *record.Store, number int64, why string) (record.Record, error) {
	why = strings.TrimSpace(why)
	return replace(ctx, s, number, func(r *record.Record) error {
		if why == "" {
			return ErrNoReason
		}
		r.Kind, r.Verdict, r.Grade, r.Reason, r.Report = record.Void, "", "", why, nil
		return nil
	})
}

// correctReport puts the note of a record into its report too, and the date code
// where that was corrected.
func correctReport(r *record.Record, dated bool, date *marking.DateCode) error {
	if len(r.Report) == 0 {
		return nil
	}
	d, err := report.ReadDocument(r.Report)
	if err != nil {
		return err
	}
	if d.Note = r.Note; dated {
		d.DateCode = date
	}
	r.Report, err = json.Marshal(d)
	return err
}

// dateCodeOf reads the date code of a record's chip; an empty one is none.
func dateCodeOf(r *record.Record, typed string) (*marking.DateCode, error) {
	if typed == "" {
		return nil, nil
	}
	d, err := marking.ReadDateCode(typed, marking.MadeSince(part.FamilyByName(r.Family)), time.Now())
	return &d, err
}

// replace appends a row that replaces a chip's current record. The number of a record that
// is neither the chip's own nor the current one is refused: it is another that would be
// changed.
func replace(ctx context.Context, s *record.Store, number int64, change func(*record.Record) error) (record.Record, error) {
	c, err := Find(ctx, s, number)
	switch {
	case err != nil:
		return record.Record{}, err
	case c.Current == nil:
		return record.Record{}, fmt.Errorf("record %d was taken back", number)
	case number != c.Number && number != c.Current.Serial:
		return record.Record{}, fmt.Errorf("record %d is not the current one of chip %d: name the chip's number, %d", number, c.Number, c.Number)
	}
	r, err := s.Get(ctx, c.Current.Serial)
	if err != nil {
		return record.Record{}, err
	}
	r.Corrects, r.RetestOf, r.Time = r.Serial, 0, time.Now()
	if err := change(&r); err != nil {
		return record.Record{}, err
	}
	return s.Append(context.WithoutCancel(ctx), r)
}
