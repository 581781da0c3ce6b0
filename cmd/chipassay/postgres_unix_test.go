//go:build unix

package main

import (
	"sync"

	"github.com/rogpeppe/go-internal/testscript"

	"chipassay/host/record/postgrestest"
)

// postgres start, stop, restart a PostgreSQL server, whose address is then $SERVER. It is stopped with
// the script.
func postgres(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: postgres start, stop or restart")
	}
	switch args[0] {
	case "start":
		c, err := postgrestest.Start()
		ts.Check(err)
		ts.Defer(func() { _ = c.Stop() })
		running.Store(ts, c)
		ts.Setenv("SERVER", c.Address("postgres", "owner"))
	case "stop":
		ts.Check(clusterOf(ts).Kill())
	case "restart":
		ts.Check(clusterOf(ts).Restart())
	}
}

// running are the servers of scripts.
var running sync.Map

func clusterOf(ts *testscript.TestScript) *postgrestest.Cluster {
	c, ok := running.Load(ts)
	if !ok {
		ts.Fatalf("postgres start comes first")
	}
	return c.(*postgrestest.Cluster)
}
