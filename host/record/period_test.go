package record

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A period belongs to the day in its middle (ISO 8601 has a week belong to its Thursday): compared with the arithmetic
// of times, for periods of every length around bounds, alone and with a part, all and the newest.
func TestPeriodsAtBounds(t *testing.T) { inBoth(t, testPeriodsAtBounds) }

func testPeriodsAtBounds(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	bound := time.Date(1979, 1, 1, 0, 0, 0, 0, time.UTC)
	var chips []Record
	for days := -33; days <= 33; days++ {
		for _, long := range []int{1, 2, 7, 30, 31} {
			r := nand()
			r.From = bound.AddDate(0, 0, days)
			r.To = r.From.AddDate(0, 0, long-1)
			chips = append(chips, r)
		}
	}
	none := nand()
	none.From, none.To, none.Year, none.DateCode = time.Time{}, time.Time{}, 0, ""
	require.NoError(t, s.AppendAll(t.Context(), append(chips, none)))
	for _, q := range []Query{{From: bound}, {To: bound}, {From: bound, To: bound}, {From: bound.AddDate(0, 0, -3), To: bound.AddDate(0, 0, 3)}} {
		want := 0
		for _, r := range chips {
			middle := r.From.Add(r.To.Sub(r.From) / 2)
			if (q.From.IsZero() || !middle.Before(q.From)) && (q.To.IsZero() || middle.Before(q.To.AddDate(0, 0, 1))) {
				want++
			}
		}
		for _, limit := range []int{0, 1000} {
			for _, part := range []string{"", chips[0].Part} {
				q.NewestFirst, q.Limit, q.Part = limit > 0, limit, part
				n := 0
				for r, err := range s.Find(t.Context(), q) {
					require.NoError(t, err)
					require.NotEmpty(t, r.DateCode)
					n++
				}
				require.Equal(t, want, n, "%+v", q)
			}
		}
	}
}

// The chips of a lot are found by its index, and not by looking at all: SQLite takes an index with a condition only for a
// statement that has it too (https://www.sqlite.org/partialindex.html, 3).
func TestLotIsFoundByItsIndex(t *testing.T) {
	s := newStore(t)
	statement, args := Query{Lot: "depot 1"}.statement(narrowRow, "record")
	rows, err := s.db.QueryContext(t.Context(), "EXPLAIN QUERY PLAN "+statement, args...)
	require.NoError(t, err)
	defer rows.Close()
	var plan []string
	for rows.Next() {
		var id, parent, unused int
		var step string
		require.NoError(t, rows.Scan(&id, &parent, &unused, &step))
		plan = append(plan, step)
	}
	require.NoError(t, rows.Err())
	require.Contains(t, strings.Join(plan, "\n"), "USING INDEX record_lot")
}
