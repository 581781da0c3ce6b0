package link

import (
	"errors"
	"fmt"
	"os"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// terminal opens a pseudo-terminal and gives its master and the name of its slave.
func terminal(t *testing.T) (*os.File, string) {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { master.Close() })
	if err := unix.IoctlSetPointerInt(int(master.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	number, err := unix.IoctlGetInt(int(master.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	return master, fmt.Sprintf("/dev/pts/%d", number)
}

func TestPortCarriesBytesAndTellsThatItIsGone(t *testing.T) {
	master, name := terminal(t)
	conn, err := OpenPort(name, 1_000_000)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if err := conn.SetReadTimeout(10 * time.Millisecond); err != nil {
		t.Fatal(err)
	}
	buffer := make([]byte, 16)
	if n, err := conn.Read(buffer); n != 0 || err != nil {
		t.Errorf("nothing there: %d, %v", n, err)
	}
	if _, err := conn.Write([]byte{0, 1, 3, 0x11, 0x13, 0xff}); err != nil { // nothing is flow control, nothing is eaten
		t.Fatal(err)
	}
	if n, err := master.Read(buffer); err != nil || string(buffer[:n]) != "\x00\x01\x03\x11\x13\xff" {
		t.Errorf("master read %x, %v", buffer[:n], err)
	}
	master.Close()
	if _, err := conn.Read(buffer); !errors.Is(err, ErrUnplugged) {
		t.Errorf("after the other end went: %v, want ErrUnplugged", err)
	}
}
