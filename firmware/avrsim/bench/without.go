//go:build !simavr

// Bench needs the build tag simavr and a simulator. This is Bench without them.
package main

import (
	"fmt"
	"os"

	"chipassay/firmware/avrsim"
)

func main() {
	fmt.Fprintf(os.Stderr, "run it as go run -tags simavr ./firmware/avrsim/bench, after: %s\n", avrsim.Packages)
	os.Exit(2)
}
