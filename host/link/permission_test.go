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
		got := advice("/dev/ttyACM0", c.group, c.gid, c.mode)
		if !strings.Contains(got, c.want) || !strings.Contains(got, UdevRule) {
			t.Errorf("%s %04o: %q, want %q in it, and the rule", c.group, c.mode, got, c.want)
		}
		if c.want == "udev rule" && strings.Contains(got, "usermod") {
			t.Errorf("%s %04o: %q: the group would not help", c.group, c.mode, got)
		}
	}
}
