package virtual

import (
	"context"
	"fmt"
	"io/fs"
	"math"
	"time"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"

	"chipassay/firmware/images"
	"chipassay/host/adapter"
	"chipassay/protocol"
)

// compiled caches the compiled image, so that only the first adapter of a process
// spends the milliseconds on it.
var compiled = wazero.NewCompilationCache()

// byteTime is what a byte takes on the line, 1/16 µs: ten bits at 1 Mbaud.
const byteTime = 10 * 16

// An Adapter is the firmware running on a socket, in this process. It is its own
// link.Conn: what is written arrives at the firmware's serial port, and what the
// firmware sends can be read. Its time is simulated: it advances with the firmware's
// waits, with the bytes on the line, and with each read that finds nothing.
type Adapter struct {
	Pressed bool // the operator's button

	socket  *Socket
	runtime wazero.Runtime
	module  api.Module

	reset, receive, poll api.Function
	buffer, capacity     uint32 // where the firmware receives, address and bytes
	passed               uint32 // address of the time that the firmware has not reported yet, 1/16 µs

	now     int64 // 1/16 µs, as the firmware last reported: whole ones, which are no whole ns
	timeout time.Duration
	sent    []byte // by the firmware, not read yet
	closed  bool
}

// Open starts the firmware on a socket, as after power-on. The context covers only
// the start.
func Open(ctx context.Context, socket *Socket) (*Adapter, error) {
	a := &Adapter{socket: socket, timeout: time.Second}
	socket.KeepTime(a.Elapsed)
	// The compiler, where wazero has one for the machine: 0.5 µs a step for the
	// interpreter's 7.
	a.runtime = wazero.NewRuntimeWithConfig(ctx, wazero.NewRuntimeConfig().WithCompilationCache(compiled))
	if err := a.start(ctx); err != nil {
		a.runtime.Close(ctx)
		return nil, fmt.Errorf("start the virtual adapter: %w", err)
	}
	return a, nil
}

func (a *Adapter) start(ctx context.Context) error {
	if err := a.board(ctx); err != nil {
		return err
	}
	// Not Instantiate: it takes the code out of the cache when its adapter closes.
	code, err := a.runtime.CompileModule(ctx, images.Virtual)
	if err != nil {
		return err
	}
	module, err := a.runtime.InstantiateModule(ctx, code, wazero.NewModuleConfig())
	if err != nil {
		return err
	}
	a.module = module
	for name, f := range map[string]*api.Function{"fw_reset": &a.reset, "fw_rx": &a.receive, "fw_poll": &a.poll} {
		if *f = module.ExportedFunction(name); *f == nil {
			return fmt.Errorf("the firmware image exports no %s", name)
		}
	}
	for name, value := range map[string]*uint32{"fw_rx_buffer": &a.buffer, "fw_rx_capacity": &a.capacity, "fw_passed": &a.passed} {
		f := module.ExportedFunction(name)
		if f == nil {
			return fmt.Errorf("the firmware image exports no %s", name)
		}
		results, err := f.Call(ctx)
		if err != nil {
			return err
		}
		*value = uint32(results[0])
	}
	return a.restart(protocol.ResetPowerOn)
}

// board gives the firmware the functions of its board: firmware/board/wasm.
func (a *Adapter) board(ctx context.Context) error {
	builder := a.runtime.NewHostModuleBuilder("env")
	for _, f := range []struct {
		name            string
		params, results int
		call            func(args []uint64) uint64
	}{
		{"drive", 2, 0, func(args []uint64) uint64 {
			a.socket.Drive(adapter.Word(args[0]), adapter.Word(args[1]))
			return 0
		}},
		{"sample", 0, 1, func([]uint64) uint64 { return uint64(a.socket.Sample()) }},
		{"pull", 3, 0, func(args []uint64) uint64 {
			a.socket.Pull(Pull(args[0]&1), uint32(args[1]) != 0, adapter.Word(args[2]))
			return 0
		}},
		{"supply", 2, 0, func(args []uint64) uint64 {
			a.socket.Supply(adapter.Word(args[0]), adapter.Word(args[1]))
			return 0
		}},
		{"current", 0, 1, func([]uint64) uint64 { return uint64(a.socket.CurrentMicroamps() / 10) }},
		{"convert", 1, 1, func(args []uint64) uint64 { return uint64(a.socket.Convert(int(uint32(args[0])))) }},
		{"chain", 1, 1, func(args []uint64) uint64 { return uint64(a.socket.Chain(int(uint32(args[0])))) }},
		{"converter", 1, 1, func(args []uint64) uint64 {
			if a.socket.Converter(int(uint32(args[0]))) {
				return 1
			}
			return 0
		}},
		{"monitor", 0, 1, func([]uint64) uint64 {
			if a.socket.Monitor() {
				return 1
			}
			return 0
		}},
		{"button", 0, 1, func([]uint64) uint64 {
			if a.socket.board.buttonReads(a.Pressed) {
				return 1
			}
			return 0
		}},
		{"wait_us", 1, 0, func(args []uint64) uint64 {
			a.now += 16 * int64(uint32(args[0]))
			return 0
		}},
		{"millis", 0, 1, func([]uint64) uint64 { return uint64(a.now/16_000) & 0xffff_ffff }},
		{"micros", 0, 1, func([]uint64) uint64 { return uint64(a.now/16) & 0xffff_ffff }},
		{"sixteenths", 0, 1, func([]uint64) uint64 { return uint64(a.sixteenths()) & 0xffff_ffff }},
		{"edge", 3, 1, func(args []uint64) uint64 {
			return uint64(a.edge(adapter.Word(args[0]), uint32(args[1]) != 0, uint32(args[2])))
		}},
		{"tx", 2, 0, func(args []uint64) uint64 {
			bytes, _ := a.module.Memory().Read(uint32(args[0]), uint32(args[1]))
			a.sent = append(a.sent, bytes...)
			a.now += int64(len(bytes)) * byteTime
			return 0
		}},
	} {
		call, results := f.call, f.results
		builder = builder.NewFunctionBuilder().WithGoFunction(api.GoFunc(func(_ context.Context, stack []uint64) {
			if value := call(stack); results != 0 {
				stack[0] = value
			}
		}), i32s(f.params), i32s(f.results)).Export(f.name)
	}
	_, err := builder.Instantiate(ctx)
	return err
}

// i32s are the types of n arguments or results.
func i32s(n int) []api.ValueType {
	return []api.ValueType{api.ValueTypeI32, api.ValueTypeI32, api.ValueTypeI32}[:n]
}

// Reset restarts the firmware, as an external reset does; unread bytes are lost.
func (a *Adapter) Reset() error { return a.restart(protocol.ResetExternal) }

func (a *Adapter) restart(cause protocol.ResetCause) error {
	a.sent = nil
	if _, err := a.reset.Call(context.Background(), uint64(cause)); err != nil {
		return err
	}
	return a.run()
}

func (a *Adapter) run() error {
	_, err := a.poll.Call(context.Background())
	return err
}

// Pass advances the time while the host is silent.
func (a *Adapter) Pass(d time.Duration) error {
	const tick = 200 * 16 // the firmware looks at its clock every 200 µs at least
	for end := a.now + int64(math.Round(float64(d)/sixteenth)); a.now < end; {
		a.now += min(tick, end-a.now)
		if err := a.run(); err != nil {
			return err
		}
	}
	return nil
}

// Elapsed is the adapter's time since it was opened, including short waits that the
// firmware reports only in batches.
func (a *Adapter) Elapsed() time.Duration { return elapsed(a.sixteenths()) }

// elapsed is so many sixteenths of a µs, less half a ns where they are no whole ns.
func elapsed(sixteenths int64) time.Duration {
	return time.Duration(sixteenths) * time.Microsecond / 16
}

// sixteenths is the same in 1/16 µs.
func (a *Adapter) sixteenths() int64 {
	if a.module == nil || a.closed { // it is just starting, or has ended
		return a.now
	}
	passed, _ := a.module.Memory().ReadUint32Le(a.passed)
	return a.now + int64(passed)
}

// pieceBytes is how many bytes arrive before the firmware looks at its clock, so that
// not too much of the line's time passes at once.
const pieceBytes = 16

// Write sends bytes to the firmware and lets it work until it is idle.
func (a *Adapter) Write(p []byte) (int, error) {
	if a.closed {
		return 0, fs.ErrClosed
	}
	written := 0
	for written < len(p) {
		piece := p[written:min(len(p), written+min(pieceBytes, int(a.capacity)))]
		if !a.module.Memory().Write(a.buffer, piece) {
			return written, fmt.Errorf("the firmware's receive buffer is outside its memory")
		}
		a.now += int64(len(piece)) * byteTime
		if _, err := a.receive.Call(context.Background(), uint64(len(piece))); err != nil {
			return written, err
		}
		if err := a.run(); err != nil {
			return written, err
		}
		written += len(piece)
	}
	return written, nil
}

// Read gives what the firmware sent; if there is nothing, the read timeout elapses at once.
func (a *Adapter) Read(p []byte) (int, error) {
	if a.closed {
		return 0, fs.ErrClosed
	}
	if len(a.sent) == 0 {
		if err := a.Pass(a.timeout); err != nil {
			return 0, err
		}
	}
	n := copy(p, a.sent)
	a.sent = a.sent[n:]
	return n, nil
}

// SetReadTimeout sets how long a Read that finds nothing takes in the adapter's time.
func (a *Adapter) SetReadTimeout(d time.Duration) error {
	a.timeout = d
	return nil
}

// Close stops the firmware and leaves the socket as it is.
func (a *Adapter) Close() error {
	if a.closed {
		return nil
	}
	a.now = a.sixteenths()
	a.closed = true
	return a.runtime.Close(context.Background())
}
