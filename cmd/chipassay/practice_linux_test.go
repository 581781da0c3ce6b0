package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// A terminal is a pseudo-terminal of 80 columns and 24 rows with a program at it, as a
// person has it: lines are edited and echoed, and Ctrl-C interrupts.
type terminal struct {
	master  *os.File
	command *exec.Cmd
	t       *testing.T

	mutex sync.Mutex
	shown strings.Builder
	seen  int // of what was shown, what was waited for
}

// atTerminal starts the program with a home of its own.
func atTerminal(t *testing.T, home string, arguments ...string) *terminal {
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	require.NoError(t, err)
	fd := int(master.Fd())
	require.NoError(t, unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0))
	number, err := unix.IoctlGetUint32(fd, unix.TIOCGPTN)
	require.NoError(t, err)
	require.NoError(t, unix.IoctlSetWinsize(fd, unix.TIOCSWINSZ, &unix.Winsize{Row: 24, Col: 80}))
	slave, err := os.OpenFile(fmt.Sprintf("/dev/pts/%d", number), os.O_RDWR|unix.O_NOCTTY, 0)
	require.NoError(t, err)
	defer slave.Close()

	program := filepath.Join(t.TempDir(), "chipassay") // as in TestKilledDrawerRuns
	self, err := os.Executable()
	require.NoError(t, err)
	require.NoError(t, os.Symlink(self, program))
	command := exec.Command(program, arguments...)
	command.Env = append(os.Environ(), "HOME="+home, "XDG_DATA_HOME="+home, "TERM=xterm")
	command.Stdin, command.Stdout, command.Stderr = slave, slave, slave
	command.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	require.NoError(t, command.Start())
	x := &terminal{master: master, command: command, t: t}
	go func() {
		buffer := make([]byte, 4096)
		for {
			n, err := master.Read(buffer)
			x.mutex.Lock()
			x.shown.Write(buffer[:n])
			x.mutex.Unlock()
			if err != nil {
				return // the program has ended
			}
		}
	}()
	t.Cleanup(func() { command.Process.Kill(); master.Close() })
	return x
}

// types types something once it is waited for, and waits until words are shown after it.
func (x *terminal) types(keys, until string) {
	x.t.Helper()
	_, err := x.master.WriteString(keys)
	require.NoError(x.t, err)
	x.sees(until)
}

// sees waits until words are shown that were not waited for yet.
func (x *terminal) sees(words string) {
	x.t.Helper()
	for begun := time.Now(); time.Since(begun) < 30*time.Second; time.Sleep(20 * time.Millisecond) {
		x.mutex.Lock()
		text := x.shown.String()
		x.mutex.Unlock()
		if i := strings.Index(text[x.seen:], words); i >= 0 {
			x.seen += i + len(words)
			return
		}
	}
	x.t.Fatalf("%q was not shown:\n%q", words, x.shown.String()[x.seen:])
}

// A person practises: Enter seats chip after chip, every word works, and what was written
// is in a file of its own.
func TestPractice(t *testing.T) {
	home := t.TempDir()
	tray := filepath.Join(home, "d3.tray")
	require.NoError(t, os.WriteFile(tray, []byte(`7400 date 7806
7400 defect "1 shorted to 2"  before "skip"  after "end"
7402
7404 chip 7408
7430 defect "empty"
7408
`), 0o644))
	x := atTerminal(t, home, "drawer", "D3", "--tray", tray)
	x.sees("Practice with virtual chips: Enter seats and tests the next; help lists more.")
	x.sees("practice, 6 to come: Enter seats the next")
	x.types("\n", "1 chip: 1 pass, 0 fail, 0 not tested")
	x.sees("practice, 5 to come")
	x.types("date 7811\n", "corrected")
	x.types("note from the depot\n", "corrected")
	x.types("undo\n", "taken back: the correction")
	x.types("\n", "pins 1 and 2 shorted") // what the tray says for a run by itself is not said
	x.sees("retest seats it again")
	x.types("retest\n", "the same after reseating")
	x.sees("tested again, recorded, reject")
	x.types("skip\n", "the next chip will not be tested")
	x.types("\n", "skipped")
	x.types("pause\n", "paused: go, or Enter, goes on")
	x.types("retest\n", "paused: type go first")
	x.types("go\n", "practice, 3 to come")
	x.types("part 7408\n", "part 7408")
	x.types("\n", "3 chips: 2 pass") // the 7408 sold as a 7404, for this chip a 7408
	x.types("\n", "not recorded: there is no chip")
	x.sees("practice, 1 to come: Enter seats the next")
	x.types("retest\n", "there is no chip in the socket")
	x.types("\n", "4 chips: 3 pass")
	x.sees("the last chip: Enter takes it out and ends")
	x.types("\n", "chipassay log --practice")
	require.NoError(t, x.command.Wait())
	require.Equal(t, 1, strings.Count(x.shown.String(), "not recorded"), "an empty socket is not tested by itself")
	require.Contains(t, x.shown.String(), "\x1b[r", "the terminal scrolls whole again")

	log := exec.Command(x.command.Path, "log", "--practice")
	log.Env = x.command.Env
	out, err := log.CombinedOutput()
	require.NoError(t, err, string(out))
	require.Regexp(t, `(?m)^1 .* 7400 +7811 .* PASS`, string(out))
	require.Regexp(t, `(?m)^5 .* 7400 .* FAIL +reject`, string(out))
	require.Len(t, strings.Split(strings.TrimSpace(string(out)), "\n"), 5)
	_, err = os.Stat(filepath.Join(home, "chipassay", "records.sqlite"))
	require.ErrorIs(t, err, os.ErrNotExist, "the person's own file is not touched")
}

// Ctrl-C and Ctrl-D end the practice with the summary, and give the terminal back.
func TestPracticeIsEnded(t *testing.T) {
	for name, key := range map[string]string{"Ctrl-C": "\x03", "Ctrl-D": "\x04"} {
		t.Run(name, func(t *testing.T) {
			home := t.TempDir()
			tray := filepath.Join(home, "d3.tray")
			require.NoError(t, os.WriteFile(tray, []byte("7400\n7402\n"), 0o644))
			x := atTerminal(t, home, "drawer", "D3", "--tray", tray)
			x.sees("practice, 2 to come: Enter seats the next")
			x.types("\n", "1 chip: 1 pass")
			x.types(key, "\x1b8\x1b[J")
			x.sees("1 chip: 1 pass, 0 fail, 0 not tested")
			require.NoError(t, x.command.Wait())
		})
	}
}

// With --fast a tray runs through at a terminal too.
func TestFastPractice(t *testing.T) {
	home := t.TempDir()
	tray := filepath.Join(home, "d3.tray")
	require.NoError(t, os.WriteFile(tray, []byte("7400\n7402 after \"note x\"\n"), 0o644))
	x := atTerminal(t, home, "drawer", "D3", "--tray", tray, "--fast")
	x.sees("2 chips: 2 pass")
	x.sees("chipassay log --practice")
	require.NoError(t, x.command.Wait())
}

// Practice with chips that nobody names: what is marked is said for each, and holds for it alone.
func TestPracticeIdentifies(t *testing.T) {
	home := t.TempDir()
	tray := filepath.Join(home, "bag.tray")
	require.NoError(t, os.WriteFile(tray, []byte("74?? chip 7404\n? chip 7402\n? chip 7404\n"), 0o644))
	x := atTerminal(t, home, "drawer", "D3", "--tray", tray, "--identify")
	x.sees("D3: chips to be identified.")
	x.types("\n", "1 chip: 1 pass")
	x.types("\n", "2 chips: 2 pass")
	x.types("part 7404\n", "part 7404")
	x.types("\n", "3 chips: 3 pass")
	x.types("\n", "7402        pass        chip 2")
	x.sees("7404        pass        chips 1, 3")
	require.NoError(t, x.command.Wait())
	log := exec.Command(x.command.Path, "log", "--practice")
	log.Env = x.command.Env
	out, err := log.CombinedOutput()
	require.NoError(t, err, string(out))
	require.Regexp(t, `(?m)^1 .* 7404 .* identified, marked 74\?\?$`, string(out))
	require.Regexp(t, `(?m)^2 .* 7402 .* identified without a marking$`, string(out))
}
