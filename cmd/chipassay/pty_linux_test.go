package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// behindPTY puts what answers behind a pseudo-terminal until the test ends, as at a serial port of that path.
// It is used with the lock held; a Read of nothing ends its answer. Pull ends it as a pulled plug does.
func behindPTY(t *testing.T, lock sync.Locker, end io.ReadWriter) (path string, pull func()) {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	require.NoError(t, err)
	fd := int(master.Fd())
	require.NoError(t, unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0))
	number, err := unix.IoctlGetUint32(fd, unix.TIOCGPTN)
	require.NoError(t, err)
	settings, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	require.NoError(t, err)
	settings.Iflag, settings.Oflag, settings.Lflag = 0, 0, 0 // nothing is echoed or changed
	require.NoError(t, unix.IoctlSetTermios(fd, unix.TCSETS, settings))
	path = fmt.Sprintf("/dev/pts/%d", number)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for buffer := make([]byte, 4096); ; {
			n, err := master.Read(buffer)
			switch {
			case errors.Is(err, os.ErrClosed), os.IsTimeout(err):
				return
			case err != nil: // EIO: nobody has the other end open
				time.Sleep(2 * time.Millisecond)
				continue
			}
			lock.Lock()
			_, _ = end.Write(buffer[:n])
			for answer := make([]byte, 4096); ; {
				n, err := end.Read(answer)
				if n == 0 || err != nil {
					break
				}
				_, _ = master.Write(answer[:n])
			}
			lock.Unlock()
		}
	}()
	hold, err := os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY, 0) // so that it is open always, and reading it can end
	require.NoError(t, err)
	pull = func() {
		hold.Close()
		master.Close()
	}
	t.Cleanup(func() {
		_, _ = hold.Write([]byte{0})
		pull()
		select {
		case <-ended:
		case <-time.After(time.Second): // it waits in a read
		}
	})
	return path, pull
}
