package record

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"
)

// Where several benches have one set of records, what lists, counts and exports is of all of them, and says at which
// bench each chip is. What is about one chip names it with its bench's letter; a bare number is one's own. Rows
// are added at one's own bench. Together gives a Store that answers so, and At the bench of a chip that it found.

// A Number names a row, or a chip by its first row: 17, or A17 where there are several benches.
type Number struct {
	Bench  string
	Serial int64
}

func (n Number) String() string { return n.Bench + strconv.FormatInt(n.Serial, 10) }

// Compare sorts by bench, and then by number.
func (n Number) Compare(o Number) int {
	return cmp.Or(cmp.Compare(len(n.Bench), len(o.Bench)), cmp.Compare(n.Bench, o.Bench), cmp.Compare(n.Serial, o.Serial))
}

// Row is the number of the row itself.
func (r Record) Row() Number { return Number{r.Bench, r.Serial} }

// Bag is the chip's number, as it is written on its bag.
func (r Record) Bag() Number { return Number{r.Bench, r.Chip} }

// Shared reports whether the rows are those of all benches.
func (s *Store) Shared() bool { return s.all }

// Benches are the letters of all benches whose rows these are; none for a file alone.
func (s *Store) Benches(ctx context.Context) ([]string, error) {
	switch {
	case s.all:
		return s.remote.Benches(ctx)
	case s.bench == "":
		return nil, nil
	}
	return []string{s.bench}, nil
}

// ErrWhichBench is the error for a number without a letter, on a computer that is no bench.
var ErrWhichBench = errors.New("of which bench? This computer is none, so give the letter before the number, as A17")

// At are the rows of one bench alone, by its letter; without one, those of this bench.
func (s *Store) At(ctx context.Context, letter string) (*Store, error) {
	switch {
	case s.all && s.own != nil && (letter == "" || letter == s.own.bench):
		return s.own, nil
	case s.all && letter == "":
		return nil, ErrWhichBench
	case s.all:
		return s.remote.Of(ctx, letter)
	case letter == "" || letter == s.bench:
		return s, nil
	}
	return s.On(ctx, letter)
}

// Together are the rows of all benches, with those of this bench that were just handed over; for a file alone,
// and where the server is away, just these, and then it says what is not handed over yet and why.
func (s *Store) Together(ctx context.Context) (*Store, Handed, error) {
	if s.outlet == nil {
		return s, Handed{}, nil
	}
	h, err := s.waiting(ctx)
	if err != nil || h.Why != nil {
		return s, h, err
	}
	all := s.outlet.server.All()
	all.own, all.bench = s, s.bench
	return all, h, nil
}

// together is Together where what waits does not matter.
func (s *Store) together(ctx context.Context) *Store {
	if all, _, err := s.Together(ctx); err == nil {
		return all
	}
	return s
}

// waiting is Waiting without a new attempt soon after one that failed, so that nobody waits for it each time.
func (s *Store) waiting(ctx context.Context) (Handed, error) {
	o := s.outlet
	o.mu.Lock()
	failed, again := o.failed, o.again
	o.mu.Unlock()
	if failed == nil || time.Now().After(again) {
		return s.Waiting(ctx)
	}
	return s.behind(ctx, failed)
}

// Behind says what is not handed over yet, as far as is known without asking the server.
func (s *Store) Behind(ctx context.Context) (Handed, error) {
	if late := s.Late(); late != nil {
		return s.behind(ctx, late)
	}
	return Handed{}, nil
}

// BehindWords say what is not handed over yet; empty where nothing is.
func (s *Store) BehindWords() string {
	h, err := s.Behind(context.Background())
	if err != nil {
		return err.Error()
	}
	return h.Words()
}

// LateWords are BehindWords with the reason.
func (s *Store) LateWords() string {
	words := s.BehindWords()
	if late := s.Late(); words != "" && late != nil {
		words = fmt.Sprintf("%s: %v", words, late)
	}
	return words
}

// Words say what of a bench is not handed over; empty where nothing is.
func (h Handed) Words() string {
	switch {
	case h.Waiting == 0:
		return ""
	case h.First == 0 && h.Waiting == 1:
		return "not handed over yet: 1 lot or photo"
	case h.First == 0:
		return fmt.Sprintf("not handed over yet: %d lots or photos", h.Waiting)
	case h.Waiting == 1:
		return "not handed over yet: record " + Number{h.bench, h.First}.String()
	}
	return fmt.Sprintf("not handed over yet: %d records, lots or photos, from record %s on", h.Waiting, Number{h.bench, h.First})
}

// firstTests are when the chips of a lot were tested first.
func (s *Store) firstTests(ctx context.Context, lot string, chips []Record) (map[Number]time.Time, error) {
	when := map[Number]time.Time{}
	for r, err := range s.Find(ctx, Query{Lot: lot, All: true}) {
		if err != nil {
			return nil, err
		}
		if r.Serial == r.Chip {
			when[r.Bag()] = r.Time
		}
	}
	for _, c := range chips {
		if _, ok := when[c.Bag()]; ok {
			continue
		}
		at, err := s.At(ctx, c.Bench) // it came into the lot later
		if err != nil {
			return nil, err
		}
		history, err := at.History(ctx, c.Chip)
		if err != nil {
			return nil, err
		}
		when[c.Bag()] = history[0].Time
	}
	return when, nil
}

// lotsTogether are the lots of all benches by the day on which they were opened. One that several benches opened is one
// lot, with the plan of the first.
func (s *Store) lotsTogether(ctx context.Context) (lots []Lot, err error) {
	benches, err := s.Benches(ctx)
	if err != nil {
		return nil, err
	}
	var all []Lot
	for _, letter := range benches {
		of, err := lotsOf(ctx, s.remote.view(letter))
		if err != nil {
			return nil, err
		}
		for _, l := range of {
			l.Bench = letter
			all = append(all, l)
		}
	}
	slices.SortStableFunc(all, func(a, b Lot) int { return a.Time.Compare(b.Time) })
	at := map[string]int{}
	for _, l := range all {
		if i, ok := at[l.Name]; ok {
			lots[i].Again = append(lots[i].Again, l)
			continue
		}
		at[l.Name] = len(lots)
		lots = append(lots, l)
	}
	return lots, nil
}
