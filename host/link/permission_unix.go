//go:build !windows

package link

import (
	"fmt"
	"os"
	"os/user"
	"strconv"
	"syscall"
)

// permissionAdvice says what a user needs to open a device: its group, where
// the group may use it, or a rule.
func permissionAdvice(name string) string {
	info, err := os.Stat(name)
	if err != nil {
		return ""
	}
	owner, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return ""
	}
	gid := strconv.FormatUint(uint64(owner.Gid), 10)
	group := gid
	if g, err := user.LookupGroupId(gid); err == nil {
		group = g.Name
	}
	return advice(name, group, owner.Gid, info.Mode())
}

// advice works from a device's group and mode.
func advice(name, group string, gid uint32, mode os.FileMode) string {
	const groupMayUse = 0o060
	if gid != 0 && mode.Perm()&groupMayUse == groupMayUse {
		return fmt.Sprintf("; it belongs to group %s: add yourself with `sudo usermod -aG %s \"$USER\"` and log in again", group, group)
	}
	return fmt.Sprintf("; its group %s may not use it (mode %04o): "+
		`a udev rule such as KERNEL=="ttyACM[0-9]*", MODE="0660", GROUP="dialout" gives it to a group that you can join`, group, mode.Perm())
}
