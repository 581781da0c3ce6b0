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
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// A person lets the workshop's network reach the bench: a password is asked for twice and
// not shown, kept as a hash that only they can read, and lets a phone in. The next time it
// is not asked for; another takes its place.
func TestBenchListens(t *testing.T) {
	home := t.TempDir()
	kept := filepath.Join(home, ".config", "chipassay", "bench-password")
	t.Setenv("XDG_CONFIG_HOME", "")
	arguments := []string{"bench", "--no-open", "--adapter", "virtual", "--listen", "0.0.0.0:0"}

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
	_, err := x.master.WriteString("seven\x03") // Ctrl-C, which a terminal in raw mode gives as it is
	require.NoError(t, err)
	require.EqualValues(t, exitCouldNotTest, x.status())
	require.NoFileExists(t, kept)

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
	entersInBrowser(t, x, "seven drawers")
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
	address := x.onNetwork()
	stays := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	r, err := stays.PostForm(address+"enter", url.Values{"password": {password}})
	require.NoError(t, err)
	defer r.Body.Close()
	require.Equal(t, want, r.StatusCode)
	if want != http.StatusSeeOther {
		return
	}
	asked, err := http.NewRequest(http.MethodGet, address, nil)
	require.NoError(t, err)
	asked.AddCookie(r.Cookies()[0])
	r, err = stays.Do(asked)
	require.NoError(t, err)
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	require.True(t, strings.Contains(string(body), "Test a drawer of chips"), string(body))
}

// onNetwork is the first address that is printed for the network.
func (x *terminal) onNetwork() string {
	x.t.Helper()
	x.mutex.Lock()
	defer x.mutex.Unlock()
	found := regexp.MustCompile(`From the network it is at (http://\S+:\d+/) `).FindStringSubmatch(x.shown.String())
	require.Len(x.t, found, 2, x.shown.String())
	return found[1]
}

// entersInBrowser signs in as a person does, at an address that is no secure context: there
// a browser sends no fetch metadata, and has fewer functions for scripts.
func entersInBrowser(t *testing.T, x *terminal, password string) {
	t.Helper()
	allocator, stopBrowser := chromedp.NewExecAllocator(t.Context(), append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox)...)
	defer stopBrowser()
	tab, stopTab := chromedp.NewContext(allocator)
	defer stopTab()
	run := func(script string) string {
		t.Helper()
		text, err := chromedp.Run(tab, chromedp.Evaluate[string]("String("+script+")"))
		require.NoError(t, err)
		return text
	}
	waits := func(script string) {
		t.Helper()
		for begun := time.Now(); run(script) != "true"; time.Sleep(100 * time.Millisecond) {
			if time.Since(begun) > 30*time.Second {
				t.Fatalf("%s: %s", script, run("document.body?.innerText"))
			}
		}
	}
	require.NoError(t, chromedp.Do(tab, chromedp.Navigate(x.onNetwork())))
	require.Equal(t, "false", run("isSecureContext"))
	send := func(text string) {
		run(`(document.querySelector("[name=password]").value = "` + text + `", document.querySelector("button").click())`)
	}
	send("no such tram")
	waits(`document.querySelector("[role=alert]")?.textContent == "That is not the password."`)
	require.Equal(t, "0px", run(`getComputedStyle(document.body).marginLeft`)) // its own style applies
	send(password)
	waits(`document.body?.dataset.view == "bench" && document.body.dataset.live == "yes"`)
	// needs the controls, which its stream gives, and its script's own request
	waits(`document.querySelector(".run") != null || (document.querySelector("form[data-do=run] button")?.click(), false)`)
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
