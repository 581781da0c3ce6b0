package virtual

import (
	"math/bits"
	"math/rand/v2"
	"slices"
	"sync"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
)

// A Board is the carrier between the microcontroller and the socket, as it was
// soldered: the parts of its netlist, each with its own tolerance, and what is wrong
// with them.
type Board struct {
	netlist   *carrier.Netlist // shared with other boards until it is changed
	own       bool             // it is not
	circuit   *wiring          // made from it when it is needed
	usb       float64          // V at the USB port
	corner    int              // of outputs and switches: -1 weak, 0 typical, 1 strong
	reference float64          // V
	joined    map[string]string
	stuck     map[string]bool // lines of the MCU and outputs of registers ("U21 QA") that do not move, and whether they are high
	dead      map[string]bool // integrated circuits that do nothing
	converter [3]linear       // what each converter makes of a voltage: the MCU's own, no. 1 and no. 2
}

// linear is what is left of a voltage after an error.
type linear struct{ gain, offset float64 } // offset in V

// whole is the netlist of every group, and its circuit at each corner, which good boards share.
var whole = sync.OnceValue(carrier.New)

var sound = [3]func() *wiring{
	sync.OnceValue(func() *wiring { return derive(&Board{netlist: whole(), usb: supplyVolts, corner: -1}) }),
	sync.OnceValue(func() *wiring { return derive(&Board{netlist: whole(), usb: supplyVolts}) }),
	sync.OnceValue(func() *wiring { return derive(&Board{netlist: whole(), usb: supplyVolts, corner: 1}) }),
}

// NewBoard gives a good board with every group of parts, its parts at their typical values.
func NewBoard() *Board {
	return &Board{netlist: whole(), usb: supplyVolts, reference: 2.5, converter: [3]linear{{1, 0}, {1, 0}, {1, 0}}}
}

// Groups removes all parts except those of some groups and the starter's. Call it before
// anything else is done to the board.
func (b *Board) Groups(groups ...carrier.Group) {
	b.netlist, b.own, b.circuit = b.netlist.Fitted(groups...), true, nil
}

// USB sets the voltage at the board's USB port, V; 5 if it is not set.
func (b *Board) USB(volts float64) { b.usb, b.circuit = volts, nil }

// Corner chooses how strong outputs and switches are: weak (-1), typical (0) or strong (1), like
// the corners of the carrier's SPICE deck.
func (b *Board) Corner(corner int) { b.corner, b.circuit = max(-1, min(1, corner)), nil }

// change gives the netlist to be changed.
func (b *Board) change() *carrier.Netlist {
	if !b.own {
		b.netlist, b.own = b.netlist.Clone(), true
	}
	b.circuit = nil
	return b.netlist
}

// wiring is the board's circuit.
func (b *Board) wiring() *wiring {
	if b.circuit == nil {
		if b.own || len(b.stuck)+len(b.dead) > 0 {
			b.circuit = derive(b)
		} else {
			b.circuit = sound[b.corner+1]()
		}
	}
	return b.circuit
}

// Spread gives each resistor at a socket position a tolerance of its own, at random up
// to percent either way.
func (b *Board) Spread(percent float64, seed uint64) {
	random := rand.New(rand.NewPCG(seed, 0))
	n := b.change()
	for i := range n.Parts {
		if p := &n.Parts[i]; p.Kind == carrier.Resistor && p.Position != 0 {
			p.Ohms *= 1 + percent/100*(2*random.Float64()-1)
		}
	}
}

// buttonReads reports whether the MCU reads the button as pressed: its line is at ground.
func (b *Board) buttonReads(pressed bool) bool {
	w := b.wiring()
	if high, stuck := b.stuck["PE4"]; stuck {
		return !high
	}
	n := w.line("PE4")
	if n == groundNet || n >= firstNet && w.soldered(n) == groundNet {
		return true
	}
	p := w.netlist.Part(buttonRef)
	if !pressed || p == nil || n == noNet {
		return false
	}
	a, c := w.number(p.Net("1")), w.number(p.Net("2"))
	return slices.Contains([]net{a, c}, n) && slices.Contains([]net{a, c}, groundNet)
}

func bitOf(position int) int { return bits.TrailingZeros32(uint32(adapter.At(position))) }

// A Resistor is seated in the socket between two positions.
type Resistor struct {
	Ohms float64
	P, Q int
}

// SocketWith puts a resistor into the board's socket.
func (b *Board) SocketWith(r Resistor, seed uint64) *Socket {
	s := b.socket(nil, seed)
	s.bridge(r)
	s.settle(s.every())
	return s
}

// SwapResistor takes out what is in the socket and puts in a resistor, as Swap does a chip.
func (s *Socket) SwapResistor(r Resistor) {
	s.Swap(nil)
	s.bridge(r)
	s.settle(s.every())
	s.follow()
}

// bridge puts a resistor between two positions.
func (s *Socket) bridge(r Resistor) {
	s.couplings = append(s.couplings, coupling{s.number(r.P), s.number(r.Q), 1 / r.Ohms})
	s.groups = nil
	s.group()
}
