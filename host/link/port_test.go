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

// Names of serial ports as the systems give them (from memory).
func TestNoPortAdvice(t *testing.T) {
	for _, c := range []struct {
		goos  string
		there []string
		want  string
	}{
		{"linux", nil, "/dev/ttyACM0"},
		{"darwin", nil, "/dev/cu.usbmodem"},
		{"windows", nil, "COM number in the Device Manager"},
		{"linux", []string{"/dev/ttyACM1", "/dev/ttyUSB0"}, "there is /dev/ttyACM1, /dev/ttyUSB0"},
		{"windows", []string{"COM7"}, "there is COM7"},
	} {
		if got := noPortAdvice(c.goos, c.there); !strings.Contains(got, c.want) {
			t.Errorf("%s, %v: %q, want %q in it", c.goos, c.there, got, c.want)
		}
	}
}

func TestOnlyPort(t *testing.T) {
	for _, c := range []struct {
		ports []string
		port  string
		err   error
	}{
		{nil, "", ErrNoPort},
		{[]string{"COM3"}, "COM3", nil},
		{[]string{"COM3", "COM4"}, "", ErrSeveralPorts},
	} {
		port, err := onlyPort(c.ports)
		if port != c.port || !errors.Is(err, c.err) {
			t.Errorf("%v: %q, %v", c.ports, port, err)
		}
		if err != nil && !strings.Contains(err.Error(), strings.Join(c.ports, ", ")) {
			t.Errorf("%q does not name the ports", err)
		}
	}
}
