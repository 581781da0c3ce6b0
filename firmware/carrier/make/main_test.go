package main

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"testing"
)

// Two runs write the same bytes.
func TestRunsRepeat(t *testing.T) {
	one, other := t.TempDir(), t.TempDir()
	for _, dir := range []string{one, other} {
		if err := run(dir, true, io.Discard); err != nil {
			t.Fatal(err)
		}
	}
	var written []string
	for _, pattern := range []string{"*", "board/*"} {
		paths, err := filepath.Glob(filepath.Join(one, pattern))
		if err != nil {
			t.Fatal(err)
		}
		written = append(written, paths...)
	}
	for _, path := range written {
		name, err := filepath.Rel(one, path)
		if err != nil {
			t.Fatal(err)
		}
		if name == "board" {
			continue
		}
		a, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(filepath.Join(other, name))
		if err != nil {
			t.Fatal(err)
		}
		if len(a) == 0 || !bytes.Equal(a, b) {
			t.Errorf("%s: %d bytes, then %d others", name, len(a), len(b))
		}
	}
	for _, name := range []string{"bom.csv", "wiring.csv", "carrier.cir", "schematic.pdf", "plan.pdf", "board/carrier-top.gbr", "board/carrier-plated.drl"} {
		if _, err := os.Stat(filepath.Join(one, name)); err != nil {
			t.Error(err)
		}
	}
}
