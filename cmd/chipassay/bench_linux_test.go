package main

import (
	"bufio"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// The bench page at an adapter on a serial line: its address lets in who has the token and
// nobody else, a run tests the chip in the socket, and a signal in the middle of the test
// leaves the supply off.
func TestBenchAtAnAdapter(t *testing.T) {
	program := filepath.Join(t.TempDir(), "chipassay") // as in TestKilledDrawerRuns
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(self, program); err != nil {
		t.Fatal(err)
	}
	for _, s := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP} {
		t.Run(s.String(), func(t *testing.T) {
			command := exec.Command(program)
			l := newLineAdapter(t, "7400", func() { command.Process.Signal(s) })
			command.Args = []string{program, "bench", "--no-open", "--adapter", l.port.Path, "--records", filepath.Join(t.TempDir(), "r.db")}
			command.Env = append(os.Environ(), "HOME="+t.TempDir())
			said, err := command.StdoutPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := command.Start(); err != nil {
				t.Fatal(err)
			}
			line, err := bufio.NewReader(said).ReadString('\n')
			if err != nil {
				t.Fatal(err)
			}
			beginRun(t, strings.TrimSpace(strings.TrimPrefix(line, "The bench is at ")))
			if err := command.Wait(); err != nil {
				t.Errorf("ended with %v", err)
			}
			l.close(t)
			if l.socket.Live() {
				t.Error("the supply is still on")
			}
		})
	}
}

// beginRun begins a drawer run as a page does.
func beginRun(t *testing.T, address string) {
	t.Helper()
	base, _, _ := strings.Cut(address, "/?")
	ask := func(c *http.Client, method, path string, form url.Values) *http.Response {
		t.Helper()
		r, err := http.NewRequest(method, base+path, strings.NewReader(form.Encode()))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("X-Viewer", "the only one")
		answer, err := c.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		return answer
	}
	for _, path := range []string{"/", "/live?view=bench&viewer=a", "/static/page.js", "/?token=wrong"} {
		if answer := ask(http.DefaultClient, http.MethodGet, path, nil); answer.StatusCode != http.StatusForbidden {
			t.Errorf("%s without a token: %s", path, answer.Status)
		}
	}
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	known := &http.Client{Jar: jar}
	if answer, err := known.Get(address); err != nil || answer.StatusCode != http.StatusOK {
		t.Fatal(answer, err)
	}
	live := ask(known, http.MethodGet, "/live?view=bench&viewer=the+only+one", nil)
	t.Cleanup(func() { live.Body.Close() })
	if answer := ask(known, http.MethodPost, "/do/run", url.Values{"drawer": {"D3"}, "part": {"7400"}}); answer.StatusCode != http.StatusNoContent {
		t.Fatal(answer.Status)
	}
}
