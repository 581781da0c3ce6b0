//go:build simavr

package avrsim

import (
	"context"
	"testing"
	"time"

	"chipassay/host/adapter/conformance"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/protocol"
	"chipassay/vectors/library"
)

// socket makes a socket with a chip of the library, none for "".
func socket(t testing.TB, chip string, defects ...string) *virtual.Socket {
	t.Helper()
	if chip == "" {
		return virtual.NewSocket(nil, 1)
	}
	typ, err := library.Open(chip)
	if err != nil {
		t.Fatal(err)
	}
	var parsed []virtual.Defect
	for _, text := range defects {
		d, err := virtual.ParseDefect(text)
		if err != nil {
			t.Fatal(err)
		}
		parsed = append(parsed, d)
	}
	in, err := virtual.NewChip(typ, parsed...)
	if err != nil {
		t.Fatal(err)
	}
	return virtual.NewSocket(in, 1)
}

// A port is the host's end of the line to a bench, with the bench's time and reset.
type port struct {
	link.Conn
	bench *Bench
}

func (p port) Pass(d time.Duration) error { return p.bench.Pass(d) }
func (p port) Reset() error               { return p.bench.Reset() }

// A patient connection finds nothing to read only where the adapter has nothing more to
// say, and it reads whole frames, so that a host does not repeat a request, or give it
// up, because the simulation is slow.
type patient struct {
	link.Conn
	bench       *Bench
	wrote, read int
}

func (p *patient) Write(bytes []byte) (int, error) {
	n, err := p.Conn.Write(bytes)
	p.wrote += n
	return n, err
}

func (p *patient) Read(buffer []byte) (n int, err error) {
	const delimiter = 0 // protocol/SPEC.md: the last byte of a frame
	for n < len(buffer) {
		got, err := p.Conn.Read(buffer[n:])
		n += got
		p.read += got
		if err != nil || n > 0 && buffer[n-1] == delimiter || p.bench.done(p.wrote, p.read) {
			return n, err
		}
	}
	return n, nil
}

// open starts a bench on a pseudo-terminal and opens that as the host does.
func open(t testing.TB, chip string, defects ...string) port {
	t.Helper()
	bench, err := NewBench(socket(t, chip, defects...))
	if err != nil {
		t.Fatal(err)
	}
	return serve(t, bench)
}

func serve(t testing.TB, bench *Bench) port {
	t.Helper()
	pty, err := OpenPTY()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error)
	go func() { served <- bench.Serve(ctx, pty, Halted) }()
	conn, err := link.OpenPort(pty.Path, protocol.UsualRate)
	t.Cleanup(func() {
		if conn != nil {
			conn.Close()
		}
		cancel()
		if err := <-served; err != nil {
			t.Error(err)
		}
		if bench.MCU.Resets != 0 || bench.MCU.Lost() != 0 {
			t.Errorf("%d resets by the watchdog, %d bytes lost", bench.MCU.Resets, bench.MCU.Lost())
		}
		bench.Close()
	})
	if err != nil {
		t.Fatal(err)
	}
	return port{&patient{Conn: conn, bench: bench}, bench}
}

func TestConformance(t *testing.T) {
	conformance.Run(t, func(t testing.TB, chip string, defects ...string) link.Conn { return open(t, chip, defects...) })
}
