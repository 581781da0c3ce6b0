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
		if err := run(dir, io.Discard); err != nil {
			t.Fatal(err)
		}
	}
	written, err := os.ReadDir(one)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range written {
		a, err := os.ReadFile(filepath.Join(one, f.Name()))
		if err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(filepath.Join(other, f.Name()))
		if err != nil {
			t.Fatal(err)
		}
		if len(a) == 0 || !bytes.Equal(a, b) {
			t.Errorf("%s: %d bytes, then %d others", f.Name(), len(a), len(b))
		}
	}
	for _, name := range []string{"bom.csv", "wiring.csv", "carrier.cir", "schematic.pdf", "plan.pdf"} {
		if _, err := os.Stat(filepath.Join(one, name)); err != nil {
			t.Error(err)
		}
	}
}
