package link

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

func TestOpenPortErrors(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]error{
		filepath.Join(t.TempDir(), "ttyACM9"): ErrNoPort,
		file:                                  ErrNotSerial,
	} {
		conn, err := OpenPort(name, 1_000_000)
		if !errors.Is(err, want) || conn != nil {
			t.Errorf("%s: %v, want %v", name, err, want)
		}
		if err != nil && !strings.HasPrefix(err.Error(), name) {
			t.Errorf("error %q does not begin with the port", err)
		}
	}
}

func TestOpenErrorsOfTheSystem(t *testing.T) {
	for _, c := range []struct{ err, want error }{
		{syscall.ENOENT, ErrNoPort},
		{syscall.EBUSY, ErrBusy},
		{syscall.EACCES, ErrPermission},
	} {
		if got := openError("/dev/ttyACM0", c.err); !errors.Is(got, c.want) {
			t.Errorf("%v: %v, want %v", c.err, got, c.want)
		}
	}
}
