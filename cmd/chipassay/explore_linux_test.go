package main

import (
	"bytes"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
)

// A terminal is what a program wrote to a pseudo-terminal so far.
type terminal struct {
	*os.File
	t    *testing.T
	lock sync.Mutex
	text bytes.Buffer
}

// keep keeps what comes until the program has ended. It answers the queries of the
// terminal's colours and cursor, which a program may wait for.
func (s *terminal) keep() {
	buffer := make([]byte, 4096)
	for {
		n, err := s.Read(buffer)
		s.lock.Lock()
		s.text.Write(buffer[:n])
		s.lock.Unlock()
		if bytes.Contains(buffer[:n], []byte("\x1b[6n")) {
			_, _ = io.WriteString(s, "\x1b[1;1R")
		}
		if err != nil {
			return
		}
	}
}

// written is what was written so far.
func (s *terminal) written() string {
	s.lock.Lock()
	defer s.lock.Unlock()
	return s.text.String()
}

// waits waits until some words were written since a place, and gives the place behind.
func (s *terminal) waits(from int, words string) (behind int) {
	s.t.Helper()
	for range 2000 {
		if at := strings.Index(s.written()[from:], words); at >= 0 {
			return from + at + len(words)
		}
		time.Sleep(10 * time.Millisecond)
	}
	s.t.Fatalf("%q was not written:\n%q", words, s.written()[from:])
	return 0
}

func (s *terminal) types(keys string) {
	if _, err := io.WriteString(s, keys); err != nil {
		s.t.Fatal(err)
	}
}

// A session in a terminal of 80 columns by 24 lines, at an adapter on a port: pins are
// toggled by keys and a click, and whatever ends it, the supply is off and the terminal is
// as it was (the alternate screen is left: xterm's control sequences, ?1049).
func TestExploreInATerminal(t *testing.T) {
	program := filepath.Join(t.TempDir(), "chipassay")
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(self, program); err != nil {
		t.Fatal(err)
	}
	for name, end := range map[string]struct {
		by     func(s *terminal, p *os.Process)
		status int
	}{
		"q":         {func(s *terminal, _ *os.Process) { s.types("q") }, exitPass},
		"ctrl-c":    {func(s *terminal, _ *os.Process) { s.types("\x03") }, exitPass},
		"a request": {func(_ *terminal, p *os.Process) { _ = p.Signal(syscall.SIGTERM) }, exitCouldNotTest},
	} {
		t.Run(name, func(t *testing.T) {
			l := newLineAdapter(t, "7400", func() {})
			command := exec.Command(program, "explore", "7400", "--family", "74", "--adapter", l.port.Path)
			command.Env = append(os.Environ(), "HOME="+t.TempDir(), "TERM=xterm", "NO_COLOR=1")
			file, err := pty.StartWithSize(command, &pty.Winsize{Rows: 24, Cols: 80})
			if err != nil {
				t.Fatal(err)
			}
			defer file.Close()
			s := &terminal{File: file, t: t}
			go s.keep()
			at := s.waits(0, "7400 quad 2-input NAND gate")
			at = s.waits(at, "[1A]")
			s.types("h\th")
			at = s.waits(at, "●●●")  // 1Y has gone low
			s.types("\x1b[<0;31;4M") // a click on pin 1, line 4 of the screen: open
			at = s.waits(at, "open→H")
			s.waits(at, "[1A]")
			end.by(s, command.Process)
			_ = command.Wait()
			l.close(t)
			if status := command.ProcessState.ExitCode(); status != end.status || l.socket.Live() {
				t.Errorf("exit status %d, want %d; supply on %v\n%q", status, end.status, l.socket.Live(), s.written())
			}
			s.waits(0, "\x1b[?1049l")
			if end.status != exitPass {
				s.waits(0, "interrupted; the supply is off")
			}
			if strings.Contains(s.written(), "\x1b[7m") || strings.Contains(s.written(), "\x1b[31") {
				t.Error("there is colour with NO_COLOR set")
			}
		})
	}
}
