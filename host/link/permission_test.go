//go:build !windows

package link

import (
	"strings"
	"testing"
)

// Debian gives serial ports to the group dialout, Arch to uucp, both with mode
// 0660 (common practice); a device without a rule of its own is root's, 0600.
func TestPermissionAdvice(t *testing.T) {
	for _, c := range []struct {
		group string
		gid   uint32
		mode  uint32
		want  string
	}{
		{"dialout", 20, 0o660, "usermod -aG dialout"},
		{"uucp", 986, 0o660, "usermod -aG uucp"},
		{"root", 0, 0o600, "udev rule"},
		{"root", 0, 0o660, "udev rule"},
		{"dialout", 20, 0o640, "udev rule"},
	} {
		if got := advice("/dev/ttyACM0", c.group, c.gid, c.mode); !strings.Contains(got, c.want) {
			t.Errorf("%s %04o: %q, want %q in it", c.group, c.mode, got, c.want)
		}
	}
}
