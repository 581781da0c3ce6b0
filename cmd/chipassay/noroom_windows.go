package main

import "syscall"

// ERROR_HANDLE_DISK_FULL, ERROR_DISK_FULL, ERROR_FILE_TOO_LARGE and
// ERROR_DISK_QUOTA_EXCEEDED of the Windows system error codes.
var noRoomErrors = []syscall.Errno{39, 112, 223, 1295}
