package main

import (
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// A session in a terminal, at an adapter on a port: pins are toggled by keys and a click,
// and whatever ends it, the supply is off and the terminal is as it was (xterm's control
// sequences: ?1049l leaves the alternate screen, and 31 and 7 after CSI are colours).
func TestExploreInATerminal(t *testing.T) {
	t.Setenv("NO_COLOR", "1")
	for name, end := range map[string]struct {
		by     func(x *terminal)
		status int
	}{
		"q":      {func(x *terminal) { x.types("q", "\x1b[?1049l") }, exitPass},
		"ctrl-c": {func(x *terminal) { x.types("\x03", "\x1b[?1049l") }, exitPass},
		"a request": {func(x *terminal) {
			require.NoError(t, x.command.Process.Signal(syscall.SIGTERM))
			x.sees("\x1b[?1049l")
			x.sees("interrupted; the supply is off")
		}, exitCouldNotTest},
	} {
		t.Run(name, func(t *testing.T) {
			l := newLineAdapter(t, "7400", func() {})
			x := atTerminal(t, t.TempDir(), "explore", "7400", "--family", "74", "--adapter", l.port.Path)
			x.sees("7400 quad 2-input NAND gate")
			x.sees("[1A]")
			x.types("h\th", "●●●")             // 1Y has gone low
			x.types("\x1b[<0;31;4M", "open→H") // a click on pin 1, in line 4 of the screen: open
			end.by(x)
			state, err := x.command.Process.Wait()
			require.NoError(t, err)
			require.Equal(t, end.status, state.ExitCode())
			l.close(t)
			x.mutex.Lock()
			defer x.mutex.Unlock()
			if l.socket.Live() {
				t.Error("the supply is still on")
			}
			if text := x.shown.String(); strings.Contains(text, "\x1b[7m") || strings.Contains(text, "\x1b[31") {
				t.Errorf("there is colour with NO_COLOR set:\n%q", text)
			}
		})
	}
}
