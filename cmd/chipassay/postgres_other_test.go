//go:build !unix

package main

import "github.com/rogpeppe/go-internal/testscript"

func postgres(ts *testscript.TestScript, _ bool, _ []string) {
	ts.Fatalf("servers are not started here")
}
