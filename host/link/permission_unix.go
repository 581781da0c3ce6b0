//go:build !windows

package link

import (
	"fmt"
	"os"
	"os/user"
	"path"
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
	return advice(name, group, owner.Gid, uint32(info.Mode().Perm()))
}

// advice works from the group of a device and the mode's permission bits.
func advice(name, group string, gid, mode uint32) string {
	const groupMayUse = 0o060
	if gid != 0 && mode&groupMayUse == groupMayUse {
		return fmt.Sprintf("; it belongs to group %s: add yourself with `sudo usermod -aG %s \"$USER\"` and log in again", group, group)
	}
	return fmt.Sprintf(`; its group %s may not use it (mode %04o): the udev rule KERNEL=="%s", MODE="0660", GROUP="dialout" gives it to a group that you can join`,
		group, mode, path.Base(name))
}
