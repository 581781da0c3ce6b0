//go:build !windows

package link

import (
	"fmt"
	"os"
	"os/user"
	"runtime"
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
	if runtime.GOOS != "linux" {
		return "; `ls -l " + name + "` shows whose it is" // macOS lets everybody use them
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
	rule := fmt.Sprintf("the udev rule\n  %s\nin /etc/udev/rules.d/70-chipassay.rules; plug the adapter in again after that", UdevRule)
	if gid != 0 && mode&groupMayUse == groupMayUse {
		return fmt.Sprintf("; it belongs to group %s: run\n  sudo usermod -aG %s \"$USER\"\nand log in again; or put %s", group, group, rule)
	}
	return fmt.Sprintf("; its group %s may not use it (mode %04o): put %s", group, mode, rule)
}
