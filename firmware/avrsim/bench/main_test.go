//go:build simavr

package main

import (
	"bufio"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"chipassay/host/adapter"
	"chipassay/host/link"
)

// build makes the command, so that a signal reaches it and not go run.
func build(t *testing.T) string {
	t.Helper()
	command := filepath.Join(t.TempDir(), "bench")
	if out, err := exec.Command("go", "build", "-tags", "simavr", "-o", command, ".").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return command
}

// The command serves an adapter at the port that it prints, until it is terminated.
func TestServesUntilTerminated(t *testing.T) {
	command := exec.Command(build(t), "--chip", "7410", "--defect", "12 stuck low", "--defect", "1 open", "--seed", "7")
	command.Stderr = os.Stderr
	out, err := command.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	defer command.Process.Kill()
	line, err := bufio.NewReader(out).ReadString('\n')
	path, ok := strings.CutPrefix(strings.TrimSpace(line), "PORT ")
	if err != nil || !ok {
		t.Fatalf("printed %q, %v", line, err)
	}
	for err = seat(t, path); errors.Is(err, link.ErrTimeout); { // a loaded machine answers late
		err = seat(t, path)
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := command.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := command.Wait(); err != nil {
		t.Errorf("ended with %v", err)
	}
}

// seat finds the adapter at a port and seats a chip of 14 pins.
func seat(t *testing.T, path string) error {
	t.Helper()
	l, err := link.Connect(t.Context(), path, 0)
	if err != nil {
		return err
	}
	a, err := adapter.Open(t.Context(), l)
	if err != nil {
		return errors.Join(err, l.Close())
	}
	_, err = a.Seat(14, 14, 7)
	return errors.Join(err, a.Close())
}

func TestMistakes(t *testing.T) {
	bench := build(t)
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"--chip", "7410", "--defect", "12 stuk"}, "the forms are"},
		{[]string{"--chip", "7410", "--defect", "15 open"}, "a 7410 has 14 pins"},
		{[]string{"--chip", "9999"}, "no part 9999"},
		{[]string{"--defect", "1 open"}, "--chip PART"},
		{[]string{"7410"}, "--chip PART"},
		{[]string{"--groups", "starter,lode"}, "no group of the carrier is named"},
		{[]string{"--supply", "12"}, "4.4 to 5.5 V"},
		{[]string{"--board-defect", "R999 bent"}, "R999 bent"},
	} {
		out, err := exec.Command(bench, c.args...).CombinedOutput()
		if exit, ok := err.(*exec.ExitError); !ok || exit.ExitCode() != 2 || !strings.Contains(string(out), c.want) {
			t.Errorf("%q: %v, %s", c.args, err, out)
		}
	}
}
