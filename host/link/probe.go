package link

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"runtime"
	"slices"
	"strings"
	"sync"

	"go.bug.st/serial"
)

var (
	// ErrNoAdapter is a computer at whose ports no adapter answers.
	ErrNoAdapter = errors.New("no adapter found")
	// ErrSeveral is a computer with several adapters, of which one must be chosen.
	ErrSeveral = errors.New("several adapters found")
	// ErrSeveralPorts is a computer with several serial ports, of which one must be chosen.
	ErrSeveralPorts = errors.New("several serial ports found")
)

// Ports lists the serial ports that an adapter may be behind, in order: those
// of USB devices. Other serial ports are left alone, as what is behind them may
// take amiss what it does not understand; they can be named.
func Ports() ([]string, error) {
	all, err := serial.GetPortsList()
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil // in a container without /dev
	}
	if err != nil {
		return nil, fmt.Errorf("list the serial ports: %w", err)
	}
	return usb(all), nil
}

// usb picks the names that Linux, macOS and Windows give to the serial ports of
// USB devices. Windows does not say, so all are taken there. On macOS each
// device has a name for calling in and one for calling out, cu, which opens at once.
func usb(all []string) []string {
	var ports []string
	for _, name := range all {
		base := path.Base(name)
		switch {
		case strings.HasPrefix(base, "ttyACM"), strings.HasPrefix(base, "ttyUSB"), // Linux
			strings.HasPrefix(base, "cu.") && strings.Contains(base, "usb"), // macOS
			strings.HasPrefix(base, "COM"):                                  // Windows
			ports = append(ports, name)
		}
	}
	slices.Sort(ports)
	return slices.Compact(ports)
}

// A Seen is what probing saw at one port: an adapter's link, or why there is none.
type Seen struct {
	Port string
	Link *Link
	Err  error
}

func (s Seen) String() string {
	switch {
	case s.Err == nil:
		return s.Port + ": an adapter"
	case strings.HasPrefix(s.Err.Error(), s.Port):
		return s.Err.Error()
	}
	return s.Port + ": " + s.Err.Error()
}

// Probe greets whatever is behind the ports of USB devices, all at the same
// time, and reports what it saw at each. The links of those that answered are open.
//
// Each is tried at all line rates, or with baud not 0 at that alone.
func Probe(ctx context.Context, baud int) ([]Seen, error) {
	ports, err := Ports()
	if err != nil {
		return nil, err
	}
	return probe(ctx, ports, func(ctx context.Context, port string) (*Link, error) { return Connect(ctx, port, baud) }), nil
}

func probe(ctx context.Context, ports []string, connect func(context.Context, string) (*Link, error)) []Seen {
	seen := make([]Seen, len(ports))
	var wait sync.WaitGroup
	for i, port := range ports {
		wait.Go(func() {
			l, err := connect(ctx, port)
			seen[i] = Seen{port, l, err}
		})
	}
	wait.Wait()
	return seen
}

// Only picks the one adapter that was seen and gives its port's name. None is
// ErrNoAdapter, several ErrSeveral: the error lists what was seen and how to
// choose, and all links are closed.
func Only(seen []Seen) (*Link, string, error) {
	var answered []Seen
	var lines strings.Builder
	for _, s := range seen {
		if s.Err == nil {
			answered = append(answered, s)
		}
		fmt.Fprintf(&lines, "\n  %v", s)
	}
	if len(answered) == 1 {
		return answered[0].Link, answered[0].Port, nil
	}
	for _, s := range answered {
		s.Link.Close()
	}
	if len(answered) > 1 {
		return nil, "", fmt.Errorf("%w; choose one with --adapter PORT:%s", ErrSeveral, &lines)
	}
	if len(seen) == 0 {
		lines.WriteString("\n  there is no serial port of a USB device")
	}
	return nil, "", fmt.Errorf("%w:%s\nname its port with --adapter PORT, or try without hardware with --adapter virtual", ErrNoAdapter, &lines)
}

// OnlyPort is the serial port of the only USB device. None is ErrNoPort, several are
// ErrSeveralPorts.
func OnlyPort() (string, error) {
	ports, err := Ports()
	if err != nil {
		return "", err
	}
	return onlyPort(ports)
}

func onlyPort(ports []string) (string, error) {
	switch len(ports) {
	case 0:
		return "", fmt.Errorf("%w: %s", ErrNoPort, noPortAdvice(runtime.GOOS, nil))
	case 1:
		return ports[0], nil
	}
	return "", fmt.Errorf("%w: %s; choose one with --port", ErrSeveralPorts, strings.Join(ports, ", "))
}
