package main

import (
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// A person lets the workshop's network reach the bench: a password is asked for twice and
// not shown, kept as a hash that only they can read, and lets a phone in. The next time it
// is not asked for; another takes its place.
func TestBenchListens(t *testing.T) {
	home := t.TempDir()
	kept := filepath.Join(home, ".config", "chipassay", "bench-password")
	t.Setenv("XDG_CONFIG_HOME", "")
	arguments := []string{"bench", "--no-open", "--adapter", "virtual", "--listen", "127.0.0.1:0"}

	x := atTerminal(t, home, arguments...)
	x.sees("at least 8 characters: ")
	x.types("tram\n", "it needs at least 8 characters")
	require.EqualValues(t, exitUsage, x.status())

	x = atTerminal(t, home, arguments...)
	x.sees("at least 8 characters: ")
	x.types("seven drawers\n", "Once more: ")
	x.types("seven drawer\n", "the two are not the same: nothing was changed")
	require.EqualValues(t, exitUsage, x.status())
	require.NoFileExists(t, kept)

	x = atTerminal(t, home, arguments...)
	x.sees("at least 8 characters: ")
	require.NoError(t, x.command.Process.Signal(syscall.SIGINT)) // nothing was asked of the adapter yet
	require.EqualValues(t, exitCouldNotTest, x.status())

	x = atTerminal(t, home, arguments...)
	x.sees("at least 8 characters: ")
	x.types("seven drawers\n", "Once more: ")
	x.types("seven drawers\n", "The password is kept, hashed, in ")
	x.sees("what is sent is not encrypted")
	x.sees("Ctrl-C ends it")
	require.NotContains(t, x.shown.String(), "seven drawers")
	s, err := os.Stat(kept)
	require.NoError(t, err)
	require.EqualValues(t, 0o600, s.Mode().Perm())
	text, err := os.ReadFile(kept)
	require.NoError(t, err)
	require.NotContains(t, string(text), "seven")
	enters(t, x, "seven drawers", http.StatusSeeOther)
	enters(t, x, "seven drawer", http.StatusForbidden)
	x.end()

	x = atTerminal(t, home, arguments...)
	x.sees("Ctrl-C ends it")
	require.NotContains(t, x.shown.String(), "Password for")
	enters(t, x, "seven drawers", http.StatusSeeOther)
	x.end()

	x = atTerminal(t, home, append(arguments, "--new-password")...)
	x.sees("at least 8 characters: ")
	x.types("fourteen trams\n", "Once more: ")
	x.types("fourteen trams\n", "Ctrl-C ends it")
	enters(t, x, "seven drawers", http.StatusForbidden)
	enters(t, x, "fourteen trams", http.StatusSeeOther)
	x.end()
}

// enters tries a password at the address that is printed for the network.
func enters(t *testing.T, x *terminal, password string, want int) {
	t.Helper()
	x.mutex.Lock()
	shown := x.shown.String()
	x.mutex.Unlock()
	found := regexp.MustCompile(`From the network it is at (http://127\.0\.0\.1:\d+/) `).FindStringSubmatch(shown)
	require.Len(t, found, 2, shown)
	stays := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	r, err := stays.PostForm(found[1]+"enter", url.Values{"password": {password}})
	require.NoError(t, err)
	defer r.Body.Close()
	require.Equal(t, want, r.StatusCode)
	if want != http.StatusSeeOther {
		return
	}
	asked, err := http.NewRequest(http.MethodGet, found[1], nil)
	require.NoError(t, err)
	asked.AddCookie(r.Cookies()[0])
	r, err = stays.Do(asked)
	require.NoError(t, err)
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	require.True(t, strings.Contains(string(body), "Test a drawer of chips"), string(body))
}

// end interrupts the program, which ends by itself then.
func (x *terminal) end() {
	x.t.Helper()
	require.NoError(x.t, x.command.Process.Signal(syscall.SIGINT))
	require.EqualValues(x.t, exitPass, x.status())
}

// status waits for the program's end.
func (x *terminal) status() int {
	x.t.Helper()
	x.command.Wait() // its error is the status
	return x.command.ProcessState.ExitCode()
}
