// Package ngspice runs circuits in ngspice, against which tests hold the electrical models. A deck is a file in
// SPICE's language, with its title in the first line (ngspice manual, chapter 2).
package ngspice

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// Run runs a deck in batch mode and gives what it printed. Where ngspice is missing, or refuses the deck, the test fails.
func Run(t testing.TB, deck string) string {
	t.Helper()
	program, err := exec.LookPath("ngspice")
	if err != nil {
		t.Fatal("ngspice is missing; install it: apt-get install -y --no-install-recommends ngspice")
	}
	file := filepath.Join(t.TempDir(), "deck.cir")
	if err := os.WriteFile(file, []byte(deck), 0o644); err != nil {
		t.Fatal(err)
	}
	var complaints strings.Builder
	run := exec.Command(program, "-b", file)
	run.Stderr = &complaints
	out, err := run.Output()
	if err != nil {
		t.Fatalf("ngspice: %v\n%s\n%s", err, &complaints, out)
	}
	return string(out)
}

var measured = regexp.MustCompile(`(?m)^(\w+)\s*=\s*(\S+)`)

// Measure runs a deck and gives what its meas lines found, by their names; what they did not find is missing.
func Measure(t testing.TB, deck string) map[string]float64 {
	t.Helper()
	found := map[string]float64{}
	for _, m := range measured.FindAllStringSubmatch(Run(t, deck), -1) {
		if v, err := strconv.ParseFloat(m[2], 64); err == nil {
			found[m[1]] = v
		}
	}
	return found
}
