package drawer

import (
	"context"
	"io"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/link"
	"chipassay/host/record"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// A stopwatch is a Bench that reports how long its tests took.
type stopwatch struct {
	*Tray
	tests time.Duration
}

func (s *stopwatch) Test(ctx context.Context, t part.Type) (*assay.Result, error) {
	begin := time.Now()
	defer func() { s.tests += time.Since(begin) }()
	return s.Tray.Test(ctx, t)
}

// BenchmarkChip is a chip of a drawer run, and what of it the run adds to the test
// itself: noticing it in and out of the socket, and the record on the disk. The
// goal is under 10 ms added.
func BenchmarkChip(b *testing.B) {
	socket := virtual.NewSocket(nil, 1)
	conn, err := virtual.Open(b.Context(), socket)
	require.NoError(b, err)
	a, err := adapter.Open(b.Context(), link.New(conn, 0))
	require.NoError(b, err)
	typ, err := library.Open("7400")
	require.NoError(b, err)
	station := &Station{Adapter: a, Plan: func(t part.Type) (assay.Plan, error) { return assay.NewPlan(t, nil) }}
	_, err = station.plan(typ) // made once for all chips
	require.NoError(b, err)
	places := make([]virtual.Place, b.N)
	for i := range places {
		chip, err := virtual.NewChip(typ)
		require.NoError(b, err)
		places[i] = virtual.Place{Marking: "7400", DateCode: "7938", Chip: chip}
	}
	store, err := record.Open(filepath.Join(b.TempDir(), "records.db"))
	require.NoError(b, err)
	defer store.Close()
	watch := &stopwatch{Tray: &Tray{Station: station, Socket: socket, Places: places}}
	r := Run{Drawer: "D3", Typed: "7400", Find: library.Open, Bench: watch, Hand: watch, Records: store, Screen: &Screen{W: io.Discard}}
	b.ResetTimer()
	begin := time.Now()
	s, err := r.Do(b.Context())
	whole := time.Since(begin)
	require.NoError(b, err)
	require.Len(b, s.Tray.Chips, b.N)
	b.ReportMetric(float64((whole-watch.tests).Microseconds())/1000/float64(b.N), "ms-added/chip")
	b.ReportMetric(float64(watch.tests.Microseconds())/1000/float64(b.N), "ms-test/chip")
}
