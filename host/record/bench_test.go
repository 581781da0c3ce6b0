package record

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// million is the size of the store that is measured.
const million = 1_000_000

// signalTypes are what the tram museum's drawers D1 to D7 hold here.
var signalTypes = []struct{ part, family string }{
	{"7400", "74LS"}, {"7402", "74LS"}, {"7404", "74LS"}, {"7408", "74LS"}, {"7410", "74LS"}, {"7420", "74LS"}, {"7430", "74LS"},
	{"7432", "74LS"}, {"7474", "74LS"}, {"7486", "74LS"}, {"7490", "74LS"}, {"74138", "74LS"}, {"74157", "74LS"}, {"74161", "74LS"},
	{"7400", "74"}, {"7402", "74"}, {"7404", "74"}, {"7410", "74"}, {"7440", "74"}, {"7447", "74"}, {"7474", "74"}, {"7493", "74"}, {"74121", "74"},
	{"7400", "74HC"}, {"7404", "74HC"}, {"7414", "74HC"}, {"7432", "74HC"}, {"7474", "74HC"}, {"74595", "74HC"},
	{"4001", "4000B"}, {"4011", "4000B"}, {"4013", "4000B"}, {"4017", "4000B"}, {"4049", "4000B"}, {"4060", "4000B"}, {"4093", "4000B"},
}

// signalChip is the n-th chip of the drawers: what it is depends on n and the
// generator alone.
func signalChip(rng *rand.Rand, n int, report []byte) Record {
	k := n / 50 * 7919 % len(signalTypes) // a bag of 50 after the other; 7919 is prime
	t := signalTypes[k]
	year := 1970 + k%12 + rng.IntN(8)
	monday := time.Date(year, 1, 4, 0, 0, 0, 0, time.UTC)
	monday = monday.AddDate(0, 0, -(int(monday.Weekday())+6)%7+7*rng.IntN(52)) // week 1 holds 4 January: ISO 8601
	_, week := monday.ISOWeek()
	name := t.family + t.part[2:]
	if t.family == "4000B" {
		name = t.part + "B"
	}
	r := Record{
		Time: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC).Add(time.Duration(n) * 7 * time.Second),
		Part: t.part, Type: name, Family: t.family, Drawer: fmt.Sprintf("D%d", 1+k%7), Lot: fmt.Sprintf("signal box %d", k*10+rng.IntN(10)),
		Operator: "workshop", Marking: name + "N", DateCode: fmt.Sprintf("%02d%02d", year%100, week),
		From: monday, To: monday.AddDate(0, 0, 6), Year: year, Verdict: "pass", Reason: "All steps answered as they should.",
		Adapter: "virtual adapter", Firmware: "1.0", Report: report,
		DefinitionSHA256: "5feceb66ffc86f38d952786c6d696c79c2dbc239dd4e91b46729d73a27fb57e9",
		VectorsSHA256:    "6b86b273ff34fce19d6b804eff5a3f5747ada4eaa22f1d49c01e52ddb7875b4b",
	}
	switch c := rng.IntN(100); {
	case c < 55:
		r.Grade = "strong"
	case c < 85:
		r.Grade = "sound"
	case c < 90:
		r.Grade = "doubtful"
	case c < 98:
		r.Verdict, r.Grade, r.Reason, r.PinsFailed = "fail", "reject", "Pin 8 is stuck low.", []int{8}
	default:
		r.Verdict, r.Reason = "not-tested", "No contact at pin 7."
	}
	return r
}

// fill appends n chips.
func fill(ctx context.Context, s *Store, n int, report []byte) error {
	rng := rand.New(rand.NewPCG(74, 1979))
	for done := 0; done < n; {
		err := s.write(ctx, func(w *writer) error {
			for range min(10_000, n-done) {
				if _, err := w.append(ctx, signalChip(rng, done, report)); err != nil {
					return err
				}
				done++
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

var fullStore = sync.OnceValues(func() (*Store, error) {
	report, err := os.ReadFile(filepath.Join("..", "report", "testdata", "pass.json"))
	if err != nil {
		return nil, err
	}
	path := filepath.Join(os.TempDir(), "chipassay-million.sqlite")
	s, err := Open(path)
	if err != nil {
		return nil, err
	}
	var have int
	if err := s.db.QueryRow("SELECT count(*) FROM record").Scan(&have); err != nil || have >= million {
		return s, err
	}
	start := time.Now()
	err = fill(context.Background(), s, million-have, report)
	fmt.Printf("%d records appended in %v\n", million-have, time.Since(start))
	return s, err
})

// BenchmarkMillion measures what a person waits for with a million records:
//
//	go test ./host/record -run '^$' -bench Million
//
// The store of 4 GB is made once, in the system's folder for temporary files.
func BenchmarkMillion(b *testing.B) {
	s, err := fullStore()
	require.NoError(b, err)
	ctx := b.Context()
	day := func(text string) time.Time {
		d, err := parseDay(text)
		require.NoError(b, err)
		return d
	}
	find := func(q Query) func(*testing.B) {
		return func(b *testing.B) {
			n := 0
			for b.Loop() {
				n = 0
				for _, err := range s.Find(ctx, q) {
					if err != nil {
						b.Fatal(err)
					}
					n++
				}
			}
			b.ReportMetric(float64(n), "rows")
		}
	}
	b.Run("find part and year", find(Query{Part: "7410", From: day("1978-01-01"), To: day("1978-12-31")}))
	b.Run("find type and year, newest 20", find(Query{Type: "74LS10", From: day("1978-01-01"), To: day("1978-12-31"), NewestFirst: true, Limit: 20}))
	b.Run("find part, newest 20", find(Query{Part: "7410", NewestFirst: true, Limit: 20}))
	b.Run("find newest 20", find(Query{NewestFirst: true, Limit: 20}))
	b.Run("find drawer rejects newest 20", find(Query{Drawer: "D3", Verdict: "fail", NewestFirst: true, Limit: 20}))
	b.Run("find text newest 20", find(Query{Text: "stuck low", NewestFirst: true, Limit: 20}))
	b.Run("find year newest 20", find(Query{From: day("1978-01-01"), To: day("1978-12-31"), NewestFirst: true, Limit: 20}))
	b.Run("find text that is nowhere", find(Query{Text: "no such words"}))
	b.Run("stock", func(b *testing.B) {
		for b.Loop() {
			if h, err := s.Stock(ctx, Query{}); err != nil || len(h) == 0 {
				b.Fatal(err)
			}
		}
	})
	b.Run("counts by drawer", func(b *testing.B) {
		for b.Loop() {
			if h, err := s.Counts(ctx, Query{}, ByDrawer); err != nil || len(h) == 0 {
				b.Fatal(err)
			}
		}
	})
	b.Run("get", func(b *testing.B) {
		rng := rand.New(rand.NewPCG(1, 2))
		for b.Loop() {
			if _, err := s.Get(ctx, 1+rng.Int64N(million)); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("append", func(b *testing.B) {
		rng := rand.New(rand.NewPCG(1, 2))
		for b.Loop() {
			if _, err := s.Append(ctx, signalChip(rng, 0, nil)); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("open", func(b *testing.B) {
		for b.Loop() {
			o, err := Open(s.Path())
			if err != nil {
				b.Fatal(err)
			}
			o.Close()
		}
	})
	for name, export := range map[string]func(context.Context, io.Writer, Query) (int, error){"csv": s.ExportCSV, "lines": s.ExportLines} {
		b.Run("export "+name, func(b *testing.B) {
			n := 0
			for b.Loop() {
				if n, err = export(ctx, io.Discard, Query{All: true, Limit: 200_000}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
		})
	}
	b.Run("import lines", func(b *testing.B) {
		var file bytes.Buffer
		n, err := s.ExportLines(ctx, &file, Query{Limit: 50_000})
		require.NoError(b, err)
		for b.Loop() {
			to := newStore(b)
			if _, err := to.ImportLines(ctx, bytes.NewReader(file.Bytes())); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
	})
	b.Run("verify", func(b *testing.B) {
		for b.Loop() {
			n, bad, err := s.Verify(ctx)
			if err != nil || bad != nil {
				b.Fatal(err, bad)
			}
			b.ReportMetric(float64(n), "rows")
		}
	})
}
