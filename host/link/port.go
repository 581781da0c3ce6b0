package link

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"runtime"
	"strings"
	"syscall"
	"time"

	"go.bug.st/serial"
)

// UdevRule gives the person at the computer the serial ports of USB devices, on Linux with
// systemd: a file /etc/udev/rules.d/70-chipassay.rules, whose number must be below 73
// (from memory).
const UdevRule = `SUBSYSTEM=="tty", KERNEL=="ttyACM[0-9]*|ttyUSB[0-9]*", TAG+="uaccess"`

// The errors of opening and using a port, for errors.Is. Each is wrapped with
// the port and with what can be done about it.
var (
	ErrNoPort     = errors.New("no such port")
	ErrNotSerial  = errors.New("not a serial port")
	ErrBusy       = errors.New("port is in use by another program")
	ErrPermission = errors.New("no permission to use the port")
	ErrUnplugged  = errors.New("adapter was unplugged")
)

// A Conn is a byte stream to an adapter. Read waits for bytes up to the read
// timeout, and gives 0 and no error when it passes; it may give fewer bytes than
// asked for.
type Conn interface {
	io.ReadWriteCloser
	SetReadTimeout(time.Duration) error
}

// A Port is an open serial port, with the two modem lines that reset a board.
type Port struct {
	serial.Port
	name string
}

// OpenPort opens a serial port by the name that the system gives it
// (/dev/ttyACM0, COM3, /dev/cu.usbmodem101) at a rate in baud, 8N1.
func OpenPort(name string, baud int) (*Port, error) {
	p, err := serial.Open(name, &serial.Mode{BaudRate: baud})
	if err != nil {
		return nil, openError(name, err)
	}
	return &Port{p, name}, nil
}

// openConn is OpenPort for those who need no modem lines.
func openConn(name string, baud int) (Conn, error) {
	p, err := OpenPort(name, baud)
	if err != nil {
		return nil, err // and not a Conn that holds a nil *Port
	}
	return p, nil
}

// openError says why a port did not open and what to do.
func openError(name string, err error) error {
	var p *serial.PortError
	code := serial.PortErrorCode(-1)
	if errors.As(err, &p) {
		code = p.Code()
	}
	switch {
	case code == serial.PortNotFound, errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%s: %w; %s", name, ErrNoPort, noPortAdvice(runtime.GOOS, portsThere()))
	case code == serial.PortBusy, errors.Is(err, syscall.EBUSY):
		return fmt.Errorf("%s: %w; close the terminal or the other chipassay that holds it", name, ErrBusy)
	case code == serial.PermissionDenied, errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%s: %w%s", name, ErrPermission, permissionAdvice(name))
	case code == serial.InvalidSerialPort:
		return fmt.Errorf("%s: %w (%v)", name, ErrNotSerial, err)
	}
	return fmt.Errorf("open %s: %w", name, err)
}

// portsThere are the ports of USB devices, for advice; none if they cannot be listed.
func portsThere() []string {
	ports, err := Ports()
	if err != nil {
		return nil
	}
	return ports
}

// noPortAdvice says which ports there are, or why there may be none, on the system goos.
func noPortAdvice(goos string, there []string) string {
	if len(there) > 0 {
		return "there is " + strings.Join(there, ", ")
	}
	switch goos {
	case "windows":
		return "no serial port is there: plug the adapter in, and look for its COM number in the Device Manager under Ports; a board that is listed elsewhere lacks the driver of its USB bridge"
	case "darwin":
		return "no serial port of a USB device is there: plug the adapter in; it is then one of /dev/cu.usbmodem… or /dev/cu.usbserial…"
	}
	return "no serial port of a USB device is there: plug the adapter in; it is then /dev/ttyACM0, /dev/ttyUSB0 or one of the next numbers"
}

// Read reports an unplugged adapter.
func (p *Port) Read(b []byte) (int, error) {
	n, err := p.Port.Read(b)
	return n, p.gone("read", err)
}

// Write reports it likewise.
func (p *Port) Write(b []byte) (int, error) {
	n, err := p.Port.Write(b)
	return n, p.gone("write", err)
}

// gone: once a port is open, an error of reading or writing it means that the
// device behind it went away; systems differ in which one they report.
func (p *Port) gone(what string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w (%s: %v)", p.name, ErrUnplugged, what, err)
}
