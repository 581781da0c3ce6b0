package stock

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"chipassay/host/record"
)

// An Owned is a good chip of one's own, by the records.
type Owned struct {
	Type, Drawer, DateCode string
	Made                   time.Time // first day of the date code's week; zero where there is none
	Chip                   int64     // its number
	Bench                  string    // the letter before that, where there are several
}

// Good are the good chips in the records, by the part's number.
func Good(ctx context.Context, s *record.Store) (map[string][]Owned, error) {
	have := map[string][]Owned{}
	for r, err := range s.Find(ctx, record.Query{}) {
		if err != nil {
			return nil, err
		}
		if good(r) && !record.IsAway(r.Drawer) {
			have[r.Part] = append(have[r.Part], ownedOf(r))
		}
	}
	return have, nil
}

// good reports whether a chip passed with nothing wrong that was looked at.
func good(r record.Record) bool {
	var t record.Tally
	t.Add(r.Verdict, r.Grade, 1)
	return t.Good() == 1
}

func ownedOf(r record.Record) Owned {
	return Owned{Type: r.Type, Drawer: r.Drawer, DateCode: r.DateCode, Made: r.From, Chip: r.Chip, Bench: r.Bench}
}

// Nearest sorts chips by how near their date codes are to a day, those without one last;
// the oldest first where the day is zero.
func Nearest(chips []Owned, day time.Time) []Owned {
	away := func(o Owned) time.Duration {
		switch {
		case o.Made.IsZero():
			return 1<<63 - 1
		case day.IsZero():
			return o.Made.Sub(time.Unix(-1<<31, 0))
		}
		return o.Made.Sub(day).Abs()
	}
	chips = slices.Clone(chips)
	slices.SortStableFunc(chips, func(a, b Owned) int {
		return cmp.Or(cmp.Compare(away(a), away(b)), cmp.Compare(a.Drawer, b.Drawer), cmp.Compare(a.Type, b.Type))
	})
	return chips
}

// Place is where a chip is: D3, or "D3 at A" where there are several benches.
func (o Owned) Place() string {
	place := cmp.Or(o.Drawer, "no drawer")
	if o.Bench != "" {
		place += " at " + o.Bench
	}
	return place
}

// Where says where chips are, in few words: "D3 7938, D3 8012, 4 more".
func Where(chips []Owned) string {
	const few = 2
	var places []string
	for i, o := range chips {
		if i == few && len(chips) > few {
			places = append(places, fmt.Sprintf("%d more", len(chips)-few))
			break
		}
		places = append(places, strings.TrimSpace(o.Place()+" "+o.DateCode))
	}
	return strings.Join(places, ", ")
}
