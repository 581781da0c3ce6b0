// Command make works out the proofs of the library's parts and writes them to
// vectors/proof/proofs.jsonl, one line for each circuit in each technology. It keeps
// those whose circuit has not changed, unless -all is given.
//
//	go run ./vectors/proof/make [-all]
package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"sync"

	"chipassay/vectors/fault"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
)

func main() {
	all := flag.Bool("all", false, "work out every proof anew")
	to := flag.String("o", filepath.Join("vectors", "proof", "proofs.jsonl"), "file to write")
	flag.Parse()
	if err := run(*to, *all); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(to string, all bool) error {
	parts, err := library.All()
	if err != nil {
		return err
	}
	types := proof.Types(parts)
	lines := make([][]byte, len(types))
	errs := make([]error, len(types))
	next := make(chan int)
	var wait sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for i := range next {
				lines[i], errs[i] = line(types[i], all)
				fmt.Fprintf(os.Stderr, "\r%d of %d  %-12s", i+1, len(types), types[i].Name())
			}
		})
	}
	for i := range types {
		next <- i
	}
	close(next)
	wait.Wait()
	fmt.Fprintln(os.Stderr)
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return os.WriteFile(to, bytes.Join(lines, nil), 0o644)
}

// circuits are those of the whole library.
var circuits = sync.OnceValues(func() ([]*logic.Circuit, error) {
	parts, err := library.All()
	if err != nil {
		return nil, err
	}
	return logic.CompileAll(parts)
})

// line is the record of a type, as JSON with a line feed.
func line(t part.Type, all bool) ([]byte, error) {
	p, r, err := proof.Kept(t)
	switch {
	case err != nil:
	case all || p == nil:
		_, r, err = proof.WorkOut(t, circuits)
	default: // other parts may have come or gone
		var others []*logic.Circuit
		others, err = circuits()
		r.Part, r.Coverage.Intruders = t.Name(), fault.Intruders(p.Circuit, p.Sequence, others)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", t.Name(), err)
	}
	b, err := json.Marshal(r)
	return append(b, '\n'), err
}
