package main

import (
	"errors"
	"io"
	"slices"
	"syscall"

	"chipassay/host/record"
)

// noRoom reports whether an error is for a disk that has no room, or for a file that may
// not grow further on it.
func noRoom(err error) bool {
	return record.NoRoom(err) || slices.ContainsFunc(noRoomErrors, func(e syscall.Errno) bool { return errors.Is(err, e) })
}

// noRoomAdvice is what to do then. A file is written whole or not at all, and a record
// too, so that nothing of before is lost.
const noRoomAdvice = "make room on the disk or name a file on another one, then try again; everything recorded before is kept"

// A standardOutput is the program's output. It keeps the first error of writing to it,
// which most of the program need not look at.
type standardOutput struct {
	io.Writer
	err error
}

func (s *standardOutput) Write(p []byte) (int, error) {
	n, err := s.Writer.Write(p)
	if err != nil && s.err == nil {
		s.err = err
	}
	return n, err
}
