//go:build !simavr

package avrsim

import (
	"io/fs"
	"os"
	"os/exec"
	"strings"
	"testing"

	// What the tests behind the tag use, so that go test does not take an old
	// result for theirs when one of these changes.
	_ "chipassay/firmware/images"
	_ "chipassay/host/adapter/conformance"
	_ "chipassay/host/assay"
	_ "chipassay/host/drawer"
	_ "chipassay/host/virtual"
	_ "chipassay/vectors/library"
)

// The tests of this folder are behind the build tag simavr; this one runs them,
// so that the plain go test of the whole project does not pass them by.
func TestWithSimulator(t *testing.T) {
	readFolder(t)
	out, err := exec.CommandContext(t.Context(), "go", "test", "-timeout", "0", "-tags", "simavr", "./...").CombinedOutput()
	if err == nil {
		return
	}
	if strings.Contains(string(out), "[build failed]") || strings.Contains(string(out), "avr-gcc") {
		t.Errorf("where a package is missing: %s; and cgo needs a C compiler", Packages)
	}
	t.Fatalf("%v\n%s", err, out)
}

// readFolder reads the files behind the tag, for the same reason.
func readFolder(t *testing.T) {
	t.Helper()
	folder := os.DirFS(".")
	err := fs.WalkDir(folder, ".", func(path string, entry fs.DirEntry, err error) error {
		if err == nil && entry.Type().IsRegular() {
			_, err = fs.ReadFile(folder, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}
