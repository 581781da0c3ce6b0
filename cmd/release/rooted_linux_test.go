package main

import (
	"os"
	"syscall"
)

// rootedAt makes a folder the whole file system of a process: as root, or as one who is
// root in a name space of its own.
func rootedAt(folder string) *syscall.SysProcAttr {
	attributes := &syscall.SysProcAttr{Chroot: folder}
	if os.Getuid() != 0 {
		attributes.Cloneflags = syscall.CLONE_NEWUSER
		attributes.UidMappings = []syscall.SysProcIDMap{{HostID: os.Getuid(), Size: 1}}
		attributes.GidMappings = []syscall.SysProcIDMap{{HostID: os.Getgid(), Size: 1}}
	}
	return attributes
}
