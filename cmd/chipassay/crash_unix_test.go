//go:build unix

package main

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"chipassay/host/record"
	"chipassay/vectors/sample"
)

// sharing is how many killed runs in turn write to one file: to verify a long one
// takes its time.
const sharing = 20

// crashTray has verdicts of every kind, a retest, a correction and an undo: all
// that a run writes, and more of it than a run of the test comes to.
var crashTray = strings.Repeat(`7400 date 7806
7402 date 7926 defect "1 stuck low" after "note from the yard"
74LS00 date 8123 after "retest"
7404 date 7745 after "undo"
`, 10)

// Runs of a drawer are killed at random points. What a run said that it wrote is there, whole, in the order in
// which it was said; the file opens each time, and every digest is right.
//
// Common practice: an acknowledged write survives the process.
func TestKilledDrawerRuns(t *testing.T) {
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	tray := filepath.Join(folder, "d3.tray")
	if err := os.WriteFile(tray, []byte(crashTray), 0o644); err != nil {
		t.Fatal(err)
	}
	// The test's own program is chipassay where it is called so (see TestMain).
	program := filepath.Join(folder, "chipassay")
	if err := os.Symlink(self, program); err != nil {
		t.Fatal(err)
	}
	t.Parallel()
	random := sample.Random(t)
	kills, acknowledged := sample.Number(15, 300), 0
	for run := range kills {
		file := filepath.Join(folder, fmt.Sprintf("records%d.db", run/sharing))
		command := exec.Command(program, "drawer", "D3", "--tray", tray, "--records", file, "--operator", strconv.Itoa(run), "--at-least", "0")
		command.Env = append(os.Environ(), "HOME="+folder)
		before := rowsOf(t, file)
		said, err := killed(command, random.IntN(12), random.Float64())
		if err != nil {
			t.Fatalf("run %d: %v", run, err)
		}
		acknowledged += said
		if err := wholeAfter(t, file, before, said, run); err != nil {
			t.Fatalf("run %d: %v", run, err)
		}
	}
	t.Logf("%d runs were killed; %d records were acknowledged, and all are there", kills, acknowledged)
}

// written is what a run says once a record is on the disk.
var written = regexp.MustCompile(`^( {5}(tested again, )?recorded|corrected$|taken back: )`)

// killed starts a run and kills it after it said that a number of records were written,
// and a part of the time more that it took until then. It gives how many it said were
// written.
func killed(command *exec.Cmd, records int, part float64) (said int, err error) {
	out, err := command.StdoutPipe()
	if err != nil {
		return 0, err
	}
	began := time.Now()
	if err := command.Start(); err != nil {
		return 0, err
	}
	kill := func(wait time.Duration) {
		time.Sleep(wait)
		command.Process.Kill()
	}
	killing := false
	for s := bufio.NewScanner(out); s.Scan(); {
		if written.MatchString(s.Text()) {
			said++
		}
		if !killing && said >= records { // for none: at its first line
			killing = true
			go kill(time.Duration(part * float64(time.Since(began)) / float64(1+records)))
		}
	}
	err = command.Wait()
	if exit := new(exec.ExitError); killing && (err == nil || errors.As(err, &exit) && !exit.Exited()) {
		return said, nil // killed, or done before the kill came
	}
	return said, fmt.Errorf("it ended by itself after %d records: %v", said, err)
}

// rowsOf is how many records a file has.
func rowsOf(t *testing.T, file string) int {
	if _, err := os.Stat(file); err != nil {
		return 0
	}
	s, err := record.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	rows, bad, err := s.Verify(t.Context())
	if err != nil || bad != nil {
		t.Fatal(err, bad)
	}
	return rows
}

// wholeAfter opens the file and compares the records after those before with how many a
// run said that it wrote.
func wholeAfter(t *testing.T, file string, before, said, run int) error {
	s, err := record.Open(file)
	if err != nil {
		return err
	}
	defer s.Close()
	for i := range said {
		serial := int64(before + i + 1)
		r, err := s.Get(t.Context(), serial)
		if err != nil {
			return err
		}
		if r.Operator != strconv.Itoa(run) || r.Kind != record.Void && len(r.Report) == 0 {
			return fmt.Errorf("record %d is not what the run wrote: %s, %d bytes of report", serial, r.Operator, len(r.Report))
		}
	}
	if _, bad, err := s.Verify(t.Context()); err != nil || bad != nil {
		return fmt.Errorf("%v, %v", bad, err)
	}
	return nil
}
