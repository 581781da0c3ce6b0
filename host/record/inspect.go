package record

import (
	"cmp"
	"context"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"chipassay/host/lot"
	"chipassay/host/verdict"
)

// An Inspection is where a lot stands by the records that hold its name.
type Inspection struct {
	Lot
	lot.Standing
	Before   int       // chips of the sample that were tested before the lot was opened
	Untested []Number  // numbers of the chips of the sample that have no verdict
	Types    []string  // of the sample's chips
	Cleared  []Cleared // chips that were nonconforming and no longer count as such
}

// Inspect is where the inspection of a lot stands, by the records as they are now.
// Chips count in the order of their first tests.
func (s *Store) Inspect(ctx context.Context, l Lot) (Inspection, error) {
	var chips []Record
	for r, err := range s.Find(ctx, Query{Lot: l.Name}) {
		if err != nil {
			return Inspection{}, err
		}
		chips = append(chips, r)
	}
	byFirst := func(a, b Record) int { return cmp.Compare(a.Chip, b.Chip) }
	when := map[Number]time.Time{}
	if s.all { // whose numbers say nothing about what came first
		var err error
		if when, err = s.firstTests(ctx, l.Name, chips); err != nil {
			return Inspection{}, err
		}
		byFirst = func(a, b Record) int {
			return cmp.Or(when[a.Bag()].Compare(when[b.Bag()]), a.Bag().Compare(b.Bag()))
		}
	}
	slices.SortFunc(chips, byFirst)
	i := Inspection{Lot: l, Standing: lot.Inspect(l.Plan, outcomes(chips, l.Decides))}
	for _, r := range chips[:i.Drawn] {
		if r.Bench == l.Bench && r.Chip <= l.Record || r.Bench != l.Bench && when[r.Bag()].Before(l.Time) {
			i.Before++
		}
		if r.Verdict == verdict.NotTested {
			i.Untested = append(i.Untested, r.Bag())
		}
		i.Types = append(i.Types, r.Type)
	}
	slices.Sort(i.Types)
	i.Types = slices.Compact(i.Types)
	var err error
	i.Cleared, err = s.Cleared(ctx, l.Name)
	return i, err
}

// Inspections is Inspect of every lot, in the order in which they were opened.
func (s *Store) Inspections(ctx context.Context) ([]Inspection, error) {
	lots, err := s.Lots(ctx)
	if err != nil {
		return nil, err
	}
	var list []Inspection
	for _, l := range lots {
		i, err := s.Inspect(ctx, l)
		if err != nil {
			return nil, err
		}
		list = append(list, i)
	}
	return list, nil
}

// Notes are what a person should know besides the counts.
func (i Inspection) Notes() (notes []string) {
	for _, o := range i.Again {
		if o.Plan != i.Lot.Plan || o.Source != i.Source || o.Decides.Words() != i.Decides.Words() {
			notes = append(notes, fmt.Sprintf("opened again at bench %s on %s with another plan, which does not hold: that of bench %s, which was first, does", o.Bench, o.Time.Format(time.DateOnly), i.Lot.Bench))
		}
	}
	if i.Before > 0 {
		notes = append(notes, fmt.Sprintf("tested before the lot was opened: %d of the sample; a plan is to be chosen first", i.Before))
	}
	if len(i.Untested) > 0 {
		notes = append(notes, fmt.Sprintf("of the sample without a verdict: %s %s: test each again with --retest and its number, or, if no chip of the lot was in the socket, void the record",
			map[bool]string{true: "record", false: "records"}[len(i.Untested) == 1], strings.Trim(fmt.Sprint(i.Untested), "[]")))
	}
	if i.Beyond > 0 {
		notes = append(notes, fmt.Sprintf("tested beyond the sample, where chips do not count: %d", i.Beyond))
	}
	if len(i.Types) > 1 {
		notes = append(notes, "the sample holds more than one type: "+strings.Join(i.Types, ", "))
	}
	if len(i.Cleared) > 0 {
		var list []string
		for _, c := range i.Cleared {
			list = append(list, c.String())
		}
		notes = append(notes, "bad chips that no longer count: "+strings.Join(list, "; "))
	}
	return notes
}

func outcomes(chips []Record, by Deciding) iter.Seq[lot.Outcome] {
	return func(yield func(lot.Outcome) bool) {
		for _, r := range chips {
			o := lot.NotTested
			switch {
			case r.Nonconforming(by):
				o = lot.Nonconforming
			case r.Verdict.Passed():
				o = lot.Conforming
			}
			if !yield(o) {
				return
			}
		}
	}
}

// Scheme is where the switching rules stand for the lots of one source at one
// AQL, and how many of them are decided. Only where reduced inspection is allowed
// (see lot.Scheme.ReduceBy) do they lead to it.
func (s *Store) Scheme(ctx context.Context, source string, aql float64, reduced bool) (scheme lot.Scheme, decided int, err error) {
	all, err := s.Lots(ctx)
	if err != nil {
		return scheme, 0, err
	}
	var series []lot.Inspected
	reduceBy := lot.Severity("")
	if reduced {
		reduceBy = lot.Reduced
	}
	for _, l := range all {
		if l.Source != source || l.Plan.AQL != aql {
			continue
		}
		i, err := s.Inspect(ctx, l)
		if err != nil {
			return scheme, 0, err
		}
		series = append(series, lot.Inspected{Standing: i.Standing, Resumed: i.Resumed})
		if i.Decision != lot.GoOn {
			decided++
		}
		if i.Lot.Plan.Severity == lot.Reduced {
			reduceBy = lot.Reduced // it was allowed then
		}
	}
	if scheme, err = lot.Series(series, reduceBy); err == nil && !reduced {
		scheme = scheme.Reinstated()
	}
	return scheme, decided, err
}
