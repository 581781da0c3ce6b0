//go:build unix

package main

import (
	"os/signal"
	"syscall"
)

// limitFiles bounds the size of every file that the program writes, in bytes, as a full
// disk does, without the rights that a small disk asks for.
func limitFiles(size uint64) error {
	signal.Ignore(syscall.SIGXFSZ) // so that the write fails
	return syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: size, Max: size})
}
