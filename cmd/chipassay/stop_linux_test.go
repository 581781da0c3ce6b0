package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"chipassay/firmware/avrsim"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
)

// A lineAdapter is the virtual adapter at a pseudo-terminal, as a port with an adapter
// behind it. Its time passes with the bytes on the line and never with silence, so that
// the adapter's own watchdog does not switch off what the program left on.
type lineAdapter struct {
	port   *avrsim.PTY
	socket *virtual.Socket
	board  *virtual.Adapter
	live   func() // called once, while the supply is on and the program waits for an answer
	done   chan error
}

// liveFrames is how many messages come with the supply on before live is called: the
// chip's function is under way then.
const liveFrames = 4

// newLineAdapter is one with a good chip in its socket.
func newLineAdapter(t *testing.T, typed string, live func()) *lineAdapter {
	typ, err := library.Open(typed)
	if err != nil {
		t.Fatal(err)
	}
	chip, err := virtual.NewChip(typ)
	if err != nil {
		t.Fatal(err)
	}
	l := &lineAdapter{socket: virtual.NewSocket(chip, 1), live: live, done: make(chan error, 1)}
	if l.port, err = avrsim.OpenPTY(); err != nil {
		t.Fatal(err)
	}
	if l.board, err = virtual.Open(t.Context(), l.socket); err != nil {
		t.Fatal(err)
	}
	if err := l.board.SetReadTimeout(0); err != nil {
		t.Fatal(err)
	}
	go func() { l.done <- l.serve() }()
	return l
}

// serve hands over what comes and what is answered, until the port is closed.
func (l *lineAdapter) serve() error {
	buffer := make([]byte, 4096)
	for seen := 0; ; {
		n, err := l.port.Read(buffer)
		if err != nil {
			return nil // closed by the test
		}
		if _, err := l.board.Write(buffer[:n]); err != nil {
			return err
		}
		if l.socket.Live() {
			if seen++; seen == liveFrames {
				l.live()
			}
		}
		for {
			n, err := l.board.Read(buffer)
			if err != nil {
				return err
			}
			if n == 0 {
				break
			}
			if _, err := l.port.Write(buffer[:n]); err != nil {
				return err
			}
		}
	}
}

// close ends the adapter, after which the socket can be looked at.
func (l *lineAdapter) close(t *testing.T) {
	if err := l.port.Close(); err != nil {
		t.Error(err)
	}
	if err := <-l.done; err != nil {
		t.Error(err)
	}
	if err := l.board.Close(); err != nil {
		t.Error(err)
	}
}

// Whatever ends the program, the chip is without supply when it has ended: Ctrl-C, a
// request to end, a closed terminal, Ctrl-\. A single test exits with 3, and a drawer
// run ends as by end.
func TestEverySignalSwitchesTheSupplyOff(t *testing.T) {
	program := filepath.Join(t.TempDir(), "chipassay") // as in TestKilledDrawerRuns
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(self, program); err != nil {
		t.Fatal(err)
	}
	lesson := filepath.Join(t.TempDir(), "lesson.txt")
	if err := os.WriteFile(lesson, []byte(strings.Repeat("rows\n", 1000)), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		chip, arguments string
		status          int
		said            string
	}{
		"test":    {"7400", "test 7400 --every-readback --soak 1h", exitCouldNotTest, "interrupted; the supply is off"},
		"memory":  {"2114", "test 2114", exitCouldNotTest, "interrupted; the supply is off"},
		"dump":    {"2716", "dump 2716", exitCouldNotTest, "Interrupted; the supply is off"},
		"explore": {"7400", "explore 7400 --family 74 --script " + lesson, exitCouldNotTest, "interrupted; the supply is off"},
		"drawer":  {"7400", "drawer D3 --part 7400 --records " + filepath.Join(t.TempDir(), "r.db"), exitPass, "not recorded: interrupted"},
	} {
		for _, s := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGQUIT} {
			t.Run(fmt.Sprintf("%s/%d", name, s), func(t *testing.T) {
				command, started := exec.Command(program), make(chan struct{})
				stopped := false
				l := newLineAdapter(t, c.chip, func() {
					<-started
					stopped = true
					command.Process.Signal(s)
				})
				command.Args = append([]string{program}, append(strings.Fields(c.arguments), "--adapter", l.port.Path)...)
				command.Env = append(os.Environ(), "HOME="+t.TempDir())
				var said bytes.Buffer
				command.Stdout, command.Stderr = &said, &said
				if err := command.Start(); err != nil {
					t.Fatal(err)
				}
				close(started)
				err := command.Wait()
				l.close(t)
				if status := command.ProcessState.ExitCode(); status != c.status || !strings.Contains(said.String(), c.said) {
					t.Errorf("exit status %d (%v), want %d and %q:\n%s", status, err, c.status, c.said, said.String())
				}
				if !stopped || l.socket.Live() {
					t.Errorf("stopped while on: %v; the supply is still on: %v", stopped, l.socket.Live())
				}
			})
		}
	}
}

// nohup starts a program with SIGHUP ignored, so that it outlives its terminal.
func TestNohupOutlivesTheTerminal(t *testing.T) {
	if !slices.Contains(stopSignals(), os.Signal(syscall.SIGHUP)) {
		t.Error("a closed terminal is not heeded")
	}
	signal.Ignore(syscall.SIGHUP)
	defer signal.Reset(syscall.SIGHUP)
	if slices.Contains(stopSignals(), os.Signal(syscall.SIGHUP)) {
		t.Error("a closed terminal ends what nohup started")
	}
}
