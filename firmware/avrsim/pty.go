//go:build linux

package avrsim

import (
	"errors"
	"fmt"
	"os"
	"time"

	"golang.org/x/sys/unix"
)

// A PTY is a pseudo-terminal: what the bench writes and reads here, a program
// that opens Path as a serial port reads and writes there. It bears any line rate.
type PTY struct {
	Path string // "/dev/pts/3"

	master *os.File
}

// OpenPTY makes a pseudo-terminal that changes no byte.
func OpenPTY() (*PTY, error) {
	fd, err := unix.Open("/dev/ptmx", unix.O_RDWR|unix.O_NOCTTY|unix.O_CLOEXEC|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, fmt.Errorf("open a pseudo-terminal: %w", err)
	}
	p := &PTY{master: os.NewFile(uintptr(fd), "/dev/ptmx")}
	if err := p.prepare(fd); err != nil {
		p.master.Close()
		return nil, fmt.Errorf("open a pseudo-terminal: %w", err)
	}
	return p, nil
}

func (p *PTY) prepare(fd int) error {
	if err := unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0); err != nil {
		return err
	}
	number, err := unix.IoctlGetUint32(fd, unix.TIOCGPTN)
	if err != nil {
		return err
	}
	p.Path = fmt.Sprintf("/dev/pts/%d", number)
	// Raw, as cfmakeraw(3) does, before anybody opens it: no echo of what is sent first.
	settings, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		return err
	}
	settings.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
	settings.Oflag &^= unix.OPOST
	settings.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
	settings.Cflag = settings.Cflag&^(unix.CSIZE|unix.PARENB) | unix.CS8
	return unix.IoctlSetTermios(fd, unix.TCSETS, settings)
}

// Read waits for bytes, and while no program has the other end open, for one
// that has.
func (p *PTY) Read(buffer []byte) (int, error) {
	const look = 5 * time.Millisecond
	for {
		n, err := p.master.Read(buffer)
		if !errors.Is(err, unix.EIO) {
			return n, err
		}
		time.Sleep(look)
	}
}

// Write hands bytes to the other end.
func (p *PTY) Write(bytes []byte) (int, error) {
	if len(bytes) == 0 {
		return 0, nil
	}
	return p.master.Write(bytes)
}

// Close ends the pseudo-terminal; a Read or Write that waits ends with it.
func (p *PTY) Close() error { return p.master.Close() }
