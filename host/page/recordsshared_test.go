//go:build unix

package page

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/bench"
	"chipassay/host/record"
	"chipassay/host/record/postgrestest"
)

// Where the records are those of several benches, the pages show the chips of all, each under its letter; what is
// another bench's is read and printed, and not changed. Without the server they show one's own, and what waits.
func TestRecordsOfSeveralBenches(t *testing.T) {
	cluster, err := postgrestest.Start()
	require.NoError(t, err)
	t.Cleanup(func() { _ = cluster.Stop() })
	address := cluster.Address("postgres", "owner")
	open := func(letter string) func(m *bench.Means) {
		file := filepath.Join(t.TempDir(), "bench.sqlite")
		return func(m *bench.Means) {
			m.Records = func(ctx context.Context, _ bool) (*record.Store, error) {
				return record.OpenBench(ctx, address, letter, file)
			}
		}
	}
	a, b := serve(t, twoChips, open("A")), serve(t, twoChips, open("B"))
	minutes := 0
	later := func(r *record.Record) { // by time, the newest first: B2, A2, B1, A1
		minutes++
		r.Time = time.Date(2026, 3, 2, 8, minutes, 0, 0, time.UTC)
	}
	for range 2 {
		a.keep(t, later, "pass")
		b.keep(t, later, "fail")
	}
	for _, c := range []struct {
		address string
		has     []string
		lacks   []string
	}{
		{"/drawers", []string{`href="/chip/A1"`, `href="/chip/B2"`, `<option value="B">B</option>`}, []string{`href="/chip/1"`}},
		{"/drawers?bench=B", []string{`href="/chip/B1"`}, []string{`href="/chip/A1"`}},
		{"/drawers?after=A2", []string{`href="/chip/B1"`, `href="/chip/A1"`}, []string{`href="/chip/B2"`, `href="/chip/A2"`}},
		{"/stock", []string{`<th>Bench</th>`, `data-label="Bench">B<`}, nil},
		{"/chip/A1", []string{"Chip A1: the number on its bag", `action="/chip/A1/correct"`}, nil},
		{"/chip/B1", []string{"Chip B1: the number on its bag", "It is of bench B, and corrected there."}, []string{"/correct", "data-photo"}},
		{"/chip/B1/json", []string{`"verdict": "fail"`}, nil},
		{"/certificate?n=A1,B2", []string{`id="record-A1"`, `id="record-B2"`}, nil},
		{"/labels?n=B1&size=63.5x38.1", []string{"no. B1"}, nil},
		{"/export?format=csv", []string{"bench,serial,", "\nB,2,test,"}, nil},
		{"/charts", []string{"<svg"}, nil},
		{"/charts?by=bench", []string{"<h3>By bench</h3>"}, nil},
	} {
		got := a.ask(t, c.address, nil)
		require.Equal(t, http.StatusOK, got.status, "%s: %s", c.address, got.body)
		for _, text := range c.has {
			require.Contains(t, got.body, text, c.address)
		}
		for _, text := range c.lacks {
			require.NotContains(t, got.body, text, c.address)
		}
	}
	got := a.ask(t, "/chip/1", nil)
	require.Equal(t, []any{http.StatusSeeOther, "/chip/A1"}, []any{got.status, got.header.Get("Location")}, "a bare number is one's own")
	got = a.ask(t, "/chip/B1/correct", url.Values{"note": {"not mine"}})
	require.Equal(t, http.StatusUnprocessableEntity, got.status)
	require.Contains(t, got.body, "Chip B1 is of bench B, and is corrected there.")
	got = a.ask(t, "/chip/A1/correct", url.Values{"note": {"mine"}})
	require.Equal(t, http.StatusSeeOther, got.status, got.body)
	require.Equal(t, http.StatusNotFound, a.ask(t, "/chip/Z1", nil).status)
	require.Equal(t, http.StatusUnprocessableEntity, a.ask(t, "/drawers?bench=Z", nil).status)

	require.NoError(t, cluster.Kill())
	a.keep(t, later, "pass")
	got = a.ask(t, "/drawers", nil)
	require.Equal(t, http.StatusOK, got.status)
	require.Contains(t, got.body, `href="/chip/A4"`)
	require.NotContains(t, got.body, `href="/chip/B1"`)
	require.Contains(t, got.body, fmt.Sprintf(`<p class="behind" role="status">%s`, "Not handed over yet: record A4: "))
	require.NoError(t, cluster.Restart())
	require.NoError(t, a.Bench.Records().HandOver(t.Context()))
	got = a.ask(t, "/drawers", nil)
	require.Contains(t, got.body, `href="/chip/B1"`)
	require.NotContains(t, got.body, `class="behind"`)
}
