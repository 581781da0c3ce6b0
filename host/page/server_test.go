package page

import (
	"context"
	"errors"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/bench"
	"chipassay/host/identify"
	"chipassay/host/link"
	"chipassay/host/record"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/march"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
)

// twoChips are a good one and a bad one.
const twoChips = `7400 date 7806
7410 date 7938 defect "2 open"`

// A served is a server that listens on the loopback address, with a virtual adapter, chips
// to practise with and records of its own.
type served struct {
	*Server
	address string // the first address, with its token
	off     chan struct{}
}

// serve serves a bench with a tray, and with other means where they are changed.
func serve(t *testing.T, tray string, other ...func(m *bench.Means)) served {
	t.Helper()
	file := filepath.Join(t.TempDir(), "records")
	means := bench.Means{
		Find: library.Open,
		Plan: func(typ part.Type) (assay.Plan, error) { return assay.NewPlan(typ, nil) },
		Memory: func(typ part.Type) assay.MemoryPlan {
			test, _ := march.ByName(march.Default)
			return assay.MemoryPlan{Type: typ, Test: test}
		},
		Identify: candidates,
		Adapter:  func(context.Context) (*adapter.Adapter, error) { return nil, link.ErrNoAdapter },
		Board:    func() (*virtual.Board, error) { return virtual.NewBoard(), nil },
		Tray:     func() ([]virtual.Place, error) { return virtual.ParseTray(strings.NewReader(tray), library.Open) },
		Seed:     1,
		Records:  func(context.Context, bool) (*record.Store, error) { return record.Open(file) },
	}
	for _, change := range other {
		change(&means)
	}
	b := bench.New(means)
	require.NoError(t, b.Open(t.Context()))
	off := make(chan struct{}, 1)
	s := New(b, parts, func() { off <- struct{}{} })
	s.Away = 1500 * time.Millisecond
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	guard := NewGuard(l.Addr(), s.Handler())
	ctx, cancel := context.WithCancel(context.Background())
	server := &http.Server{Handler: guard, BaseContext: func(net.Listener) context.Context { return ctx }}
	go server.Serve(l)
	t.Cleanup(func() {
		cancel()
		require.NoError(t, errors.Join(server.Close(), b.Close()))
	})
	return served{s, guard.Address(l.Addr().String()), off}
}

// parts are the library, read once for all tests.
var parts = sync.OnceValues(func() (*library.Library, error) { return library.With() })

// candidates are how a chip is identified, read once for all tests.
var candidates = sync.OnceValues(func() (p identify.Plan, err error) {
	lib, err := parts()
	if err != nil {
		return p, err
	}
	all, err := lib.All()
	if err != nil {
		return p, err
	}
	circuits, err := logic.CompileAll(all)
	if err != nil {
		return p, err
	}
	memories, err := lib.Memories()
	return identify.Plan{Candidates: match.Of(circuits, memories)}, err
})
