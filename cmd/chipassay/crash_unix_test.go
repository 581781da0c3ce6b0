//go:build unix

package main

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"chipassay/host/record"
)

// kills is how many runs are killed, and sharing how many of them in turn on one
// file: to verify a long one takes its time.
const (
	kills   = 200
	sharing = 20
)

// crashTray has verdicts of every kind, a retest, a correction and an undo: all
// that a run writes.
var crashTray = strings.Repeat(`7400 date 7806
7402 date 7926 defect "1 stuck low" after "note from the yard"
74LS00 date 8123 after "retest"
7404 date 7745 after "undo"
`, 5)

// A run of a drawer is killed at a random point, two hundred times over. What a run said that it wrote is there, whole, in the order in
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
	random := rand.New(rand.NewPCG(7, 0))
	acknowledged, cutShort := 0, 0
	for run := range kills {
		file := filepath.Join(folder, fmt.Sprintf("records%d.db", run/sharing))
		command := exec.Command(program, "drawer", "D3", "--tray", tray, "--records", file, "--operator", strconv.Itoa(run), "--at-least", "0")
		command.Env = append(os.Environ(), "HOME="+folder)
		out, err := command.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := command.Start(); err != nil {
			t.Fatal(err)
		}
		said := killed(command, out, random)
		if command.Wait() != nil {
			cutShort++
		}
		acknowledged += len(said)
		if err := wholeAfter(t, file, said, run); err != nil {
			t.Fatalf("run %d: %v", run, err)
		}
	}
	t.Logf("%d of %d runs were cut short; %d records were acknowledged, and all are there", cutShort, kills, acknowledged)
	if cutShort < kills*3/4 || acknowledged < kills {
		t.Errorf("%d runs cut short, %d records acknowledged: too few to tell anything", cutShort, acknowledged)
	}
}

var written = regexp.MustCompile(`(?:^ {5}record (\d+)|^record (\d+) corrects|\(record (\d+) says so)`)

// killed kills a run after a random number of lines and a random moment more, and
// gives the serial numbers that it said were written.
func killed(command *exec.Cmd, out io.Reader, random *rand.Rand) (said []int64) {
	lines := random.IntN(24)
	wait := time.Duration(random.IntN(20_000)) * time.Microsecond
	for s := bufio.NewScanner(out); s.Scan(); lines-- {
		if m := written.FindStringSubmatch(s.Text()); m != nil {
			serial, _ := strconv.ParseInt(m[1]+m[2]+m[3], 10, 64) // digits
			said = append(said, serial)
		}
		if lines == 0 {
			go func() {
				time.Sleep(wait)
				command.Process.Kill()
			}()
		}
	}
	return said
}

// wholeAfter opens the file and compares it with what a run said.
func wholeAfter(t *testing.T, file string, said []int64, run int) error {
	s, err := record.Open(file)
	if err != nil {
		return err
	}
	defer s.Close()
	for _, serial := range said {
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
