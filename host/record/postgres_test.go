//go:build unix

package record

import (
	"database/sql"
	"fmt"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"

	_ "github.com/jackc/pgx/v5/stdlib"
	"github.com/stretchr/testify/require"

	"chipassay/host/record/postgrestest"
)

// cluster is the server of all tests, started by the first that asks for it.
var cluster = sync.OnceValues(postgrestest.Start)

// stopCluster stops the server, if one was started.
var clusterStarted atomic.Bool

func stopCluster() {
	if c, err := func() (*postgrestest.Cluster, error) {
		if !clusterStarted.Load() {
			return nil, nil
		}
		return cluster()
	}(); err == nil && c != nil {
		_ = c.Stop()
	}
}

var databases atomic.Int64

// newDatabase is an empty database.
func newDatabase(t testing.TB) (address string) {
	clusterStarted.Store(true)
	c, err := cluster()
	require.NoError(t, err)
	db, err := sql.Open("pgx", c.Address("postgres", "owner"))
	require.NoError(t, err)
	defer db.Close()
	name := fmt.Sprintf("records%d", databases.Add(1))
	_, err = db.Exec("CREATE DATABASE " + name)
	require.NoError(t, err)
	return c.Address(name, "owner")
}

var shared struct {
	sync.Mutex
	address string
	benches int
}

// newBench is a bench of its own of a server that it shares with others.
func newBench(t testing.TB) *Store {
	shared.Lock()
	defer shared.Unlock()
	if shared.address == "" {
		shared.address = newDatabase(t)
	}
	n := shared.benches
	shared.benches++
	return benchOf(t, shared.address, string([]rune{rune('A' + n/26%26), rune('A' + n%26)}))
}

func benchOf(t testing.TB, address, letter string) *Store {
	s, err := OpenBench(t.Context(), address, letter, filepath.Join(t.TempDir(), "bench.sqlite"))
	require.NoError(t, err)
	t.Cleanup(func() { s.Close() })
	return s
}

// inBoth runs a test of a store on a file and on a server: there rows are written through the bench's own
// file, and read from the server.
func inBoth(t *testing.T, test func(*testing.T, func(testing.TB) *Store)) {
	t.Run("file", func(t *testing.T) { test(t, newStore) })
	t.Run("server", func(t *testing.T) { test(t, onServer) })
}

func onServer(t testing.TB) *Store {
	own := newBench(t)
	s, err := own.On(t.Context(), own.Bench())
	require.NoError(t, err)
	return s
}
