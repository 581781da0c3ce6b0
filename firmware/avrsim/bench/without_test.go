//go:build !simavr

package main

import (
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"chipassay/firmware/avrsim"
)

// Without the build tag the command says in one line what it needs.
func TestSaysWhatItNeeds(t *testing.T) {
	command := filepath.Join(t.TempDir(), "bench")
	if out, err := exec.Command("go", "build", "-o", command, ".").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	out, err := exec.Command(command, "--chip", "7410").CombinedOutput()
	if exit, ok := err.(*exec.ExitError); !ok || exit.ExitCode() != 2 {
		t.Errorf("ended with %v", err)
	}
	message := string(out)
	if strings.Count(message, "\n") != 1 || !strings.Contains(message, "-tags simavr") || !strings.Contains(message, avrsim.Packages) {
		t.Errorf("printed %q", message)
	}
}
