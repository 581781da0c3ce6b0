package record

import (
	"context"
	"errors"
	"fmt"
	"slices"
)

// A Cleared is a chip that was nonconforming in a lot and no longer counts as such,
// since a row replaced that record.
type Cleared struct {
	Bench  string `json:"bench,omitempty"` // the letter before both numbers, of several
	Failed int64  `json:"record"`          // serial of the record by which it was nonconforming
	By     int64  `json:"by"`              // serial of the row that changed it
	How    string `json:"how"`             // "retest, pass", or why
}

func (c Cleared) String() string {
	return fmt.Sprintf("record %s, by record %s (%s)", Number{c.Bench, c.Failed}, Number{c.Bench, c.By}, c.How)
}

// Cleared are the chips of a lot that were nonconforming in it and no longer are, by
// the order of their first tests.
func (s *Store) Cleared(ctx context.Context, lot string) ([]Cleared, error) {
	l, err := s.Lot(ctx, lot)
	if err != nil && !errors.Is(err, ErrNoLot) {
		return nil, err
	}
	by := l.Decides
	var chips []Number
	for r, err := range s.Find(ctx, Query{Lot: lot, All: true}) {
		if err != nil {
			return nil, err
		}
		if r.Nonconforming(by) {
			chips = append(chips, r.Bag())
		}
	}
	slices.SortFunc(chips, Number.Compare)
	var list []Cleared
	for _, chip := range slices.Compact(chips) {
		at, err := s.At(ctx, chip.Bench)
		if err != nil {
			return nil, err
		}
		rows, err := at.History(ctx, chip.Serial)
		if err != nil {
			return nil, err
		}
		if c := clearedIn(rows, lot, by); c != nil {
			list = append(list, *c)
		}
	}
	return list, nil
}

// clearedIn says which row of a chip's history last made it count as nonconforming in a
// lot no longer; nil where it counts so, or never did.
func clearedIn(rows []Record, lot string, by Deciding) (last *Cleared) {
	bad := int64(0) // serial of the record by which it is nonconforming
	for i, r := range rows {
		now := Current(rows[:i+1])
		switch counts := now != nil && now.Lot == lot && now.Nonconforming(by); {
		case counts:
			bad, last = now.Serial, nil
		case bad != 0:
			bad, last = 0, &Cleared{r.Bench, bad, r.Serial, r.how()}
		}
	}
	return last
}

// how says what a row did to the one before it.
func (r Record) how() string {
	switch {
	case r.Kind == Void:
		return "void: " + r.Reason
	case r.Kind == Correction && r.Lot == "":
		return "corrected: of no lot"
	case r.Kind == Correction:
		return "corrected: of lot " + r.Lot
	}
	return "retest, " + r.Verdict.String()
}
