//go:build !simavr

package avrsim

import (
	"os/exec"
	"strings"
	"testing"
)

// The tests of this folder are behind the build tag simavr; this one runs them,
// so that the plain go test of the whole project does not pass them by.
func TestWithSimulator(t *testing.T) {
	out, err := exec.CommandContext(t.Context(), "go", "test", "-tags", "simavr", "./...").CombinedOutput()
	if err == nil {
		return
	}
	for _, missing := range []string{"simavr/", "-lsimavr", "-lelf", "avr-gcc", "gcc"} {
		if strings.Contains(string(out), missing) {
			t.Errorf("where a package is missing: %s", Packages)
			break
		}
	}
	t.Fatalf("%v\n%s", err, out)
}
