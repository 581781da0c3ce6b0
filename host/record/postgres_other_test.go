//go:build !unix

package record

import "testing"

func stopCluster() {}

// inBoth runs a test of a store on a file; on other systems a server is not started.
func inBoth(t *testing.T, test func(*testing.T, func(testing.TB) *Store)) { test(t, newStore) }
