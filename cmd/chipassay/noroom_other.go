//go:build !windows

package main

import "syscall"

// No space left on the device, a quota used up, and a file that may not be larger.
var noRoomErrors = []syscall.Errno{syscall.ENOSPC, syscall.EDQUOT, syscall.EFBIG}
