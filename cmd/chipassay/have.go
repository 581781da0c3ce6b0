package main

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"chipassay/host/record"
)

// A possession is a good chip of one's own, by the records.
type possession struct {
	Type, Drawer, DateCode string
	made                   time.Time // zero where there is no date code
}

// possessions are the good chips in the records, by the part's number.
func (f *recordsFile) possessions(ctx context.Context) (have map[string][]possession, err error) {
	have = map[string][]possession{}
	err = f.use(func(s *record.Store) error {
		for r, err := range s.Find(ctx, record.Query{}) {
			if err != nil {
				return err
			}
			var t record.Tally
			if t.Add(r.Verdict, r.Grade, 1); t.Good() == 1 {
				have[r.Part] = append(have[r.Part], possession{r.Type, r.Drawer, r.DateCode, r.From})
			}
		}
		return nil
	})
	return have, err
}

// nearest sorts chips by how near their date codes are to a day, those without one last;
// the oldest first where no day is given.
func nearest(chips []possession, day time.Time) []possession {
	away := func(p possession) time.Duration {
		switch {
		case p.made.IsZero():
			return 1<<63 - 1
		case day.IsZero():
			return p.made.Sub(time.Unix(-1<<31, 0))
		}
		return p.made.Sub(day).Abs()
	}
	chips = slices.Clone(chips)
	slices.SortStableFunc(chips, func(a, b possession) int {
		return cmp.Or(cmp.Compare(away(a), away(b)), cmp.Compare(a.Drawer, b.Drawer), cmp.Compare(a.Type, b.Type))
	})
	return chips
}

// noDay asks for the oldest chips first.
var noDay time.Time

// where says where chips are, in few words: "D3 7938, D3 8012, 4 more".
func where(chips []possession) string {
	const few = 2
	var places []string
	for i, p := range chips {
		if i == few && len(chips) > few {
			places = append(places, fmt.Sprintf("%d more", len(chips)-few))
			break
		}
		place := strings.TrimSpace(cmp.Or(p.Drawer, "no drawer") + " " + p.DateCode)
		places = append(places, place)
	}
	return strings.Join(places, ", ")
}

// haveFlag gives a command the flag --have, with the file of records that it asks.
func haveFlag(cmd *cobra.Command, have *bool, file *recordsFile) {
	cmd.Flags().BoolVar(have, "have", false, "only parts of which your records have a good chip, and where it is")
	file.flag(cmd)
}
