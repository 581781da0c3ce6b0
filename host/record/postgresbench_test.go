//go:build unix

package record

import (
	"context"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// BenchmarkMillionOnServer measures what a person waits for with a million records, in a file and on a server, in
// turn, and fails where the server takes more than twice as long:
//
//	go test ./host/record -run '^$' -bench MillionOnServer -benchtime 1x -timeout 60m
//
// Beside the 4 GB of BenchmarkMillion it takes as much again, which is removed at the end.
func BenchmarkMillionOnServer(b *testing.B) {
	file, err := fullStore()
	require.NoError(b, err)
	ctx := b.Context()
	at, err := OpenServer(ctx, newDatabase(b))
	require.NoError(b, err)
	defer at.Close()
	row := benchRow{letter: "A", id: randomID(), server: at.set}
	require.NoError(b, at.admit(ctx, row))
	began := time.Now()
	require.NoError(b, at.take(ctx, file.db, row.letter))
	b.Logf("handed over in %v", time.Since(began))
	_, err = at.all.ExecContext(ctx, "ANALYZE") // as autovacuum does within minutes
	require.NoError(b, err)
	server := at.All()
	one, err := at.Of(ctx, "A")
	require.NoError(b, err)

	day := func(text string) time.Time {
		d, err := parseDay(text)
		require.NoError(b, err)
		return d
	}
	find := func(q Query) func(context.Context, *Store) (int, error) {
		return func(ctx context.Context, s *Store) (n int, err error) {
			for _, err := range s.Find(ctx, q) {
				if err != nil {
					return n, err
				}
				n++
			}
			return n, nil
		}
	}
	for _, c := range []struct {
		name string
		on   *Store
		do   func(context.Context, *Store) (int, error)
	}{
		{"find part and year", server, find(Query{Part: "7410", From: day("1978-01-01"), To: day("1978-12-31")})},
		{"find type and year, newest 20", server, find(Query{Type: "74LS10", From: day("1978-01-01"), To: day("1978-12-31"), NewestFirst: true, Limit: 20})},
		{"find part, newest 20", server, find(Query{Part: "7410", NewestFirst: true, Limit: 20})},
		{"find newest 20", server, find(Query{NewestFirst: true, Limit: 20})},
		{"find drawer rejects newest 20", server, find(Query{Drawer: "D3", Verdict: "fail", NewestFirst: true, Limit: 20})},
		{"find lot", server, find(Query{Lot: "signal box 73"})},
		{"find text newest 20", server, find(Query{Text: "stuck low", NewestFirst: true, Limit: 20})},
		{"find year newest 20", server, find(Query{From: day("1978-01-01"), To: day("1978-12-31"), NewestFirst: true, Limit: 20})},
		{"find text that is nowhere", server, find(Query{Text: "no such words"})},
		{"stock", server, func(ctx context.Context, s *Store) (int, error) {
			h, err := s.Stock(ctx, Query{})
			return len(h), err
		}},
		{"counts by drawer", server, func(ctx context.Context, s *Store) (int, error) {
			h, err := s.Counts(ctx, Query{}, ByDrawer)
			return len(h), err
		}},
		{"one record", one, func(ctx context.Context, s *Store) (int, error) {
			for n := range int64(100) {
				if _, err := s.Get(ctx, 1+rand.Int64N(million-n)); err != nil {
					return 0, err
				}
			}
			return 100, nil
		}},
	} {
		b.Run(c.name, func(b *testing.B) {
			// In turn, and the quickest of each: what else the machine does is not the store's.
			took, rows := [2]time.Duration{time.Hour, time.Hour}, [2]int{}
			for range 15 {
				for i, s := range []*Store{file, c.on} {
					began := time.Now()
					n, err := c.do(ctx, s)
					if err != nil {
						b.Fatal(err)
					}
					rows[i], took[i] = n, min(took[i], time.Since(began))
				}
			}
			inFile, onServer := took[0], took[1]
			b.ReportMetric(float64(inFile.Microseconds())/1000, "ms-file")
			b.ReportMetric(float64(onServer.Microseconds())/1000, "ms-server")
			b.ReportMetric(float64(rows[1]), "rows")
			if rows[0] != rows[1] {
				b.Fatalf("%d rows in the file, %d on the server", rows[0], rows[1])
			}
			if onServer > 2*inFile {
				b.Errorf("%v on the server, %v in the file: over twice as long", onServer, inFile)
			}
		})
	}
}
