package virtual

import (
	"math/bits"
	"math/rand/v2"

	"chipassay/host/adapter"
)

// A Board is the carrier between the microcontroller and the socket, as it was
// soldered: its resistors, each with its own tolerance, and what is wrong with it.
type Board struct {
	usb                float64        // V at the USB port
	drive              [32]float64    // S, by the bit of the position; 0 where open
	pull               [2][32]float64 // likewise, by Pull
	stuck, stuckHigh   adapter.Word   // drive lines that are always driven, and those of them that are high
	driveOpen          adapter.Word
	senseOpen          adapter.Word
	highOff, highStuck adapter.Word // high-side switches that never close, and that never open
	lowOff, lowStuck   adapter.Word
	bridges            [][2]int // positions that touch
	monitorDead        bool
	shunt              float64 // Ω
	reference          float64 // V
	gain, offsetMV     float64 // of the converter: what it sees of a voltage, and adds to it, mV
	buttonStuck        bool
}

// NewBoard gives a good board, its resistors at their nominal values.
func NewBoard() *Board {
	b := &Board{usb: supplyVolts, shunt: shuntOhms, reference: 2.5, gain: 1}
	for i := range b.drive {
		b.drive[i], b.pull[BiasPull][i], b.pull[LoadPull][i] = 1.0/driveOhms, 1.0/biasOhms, 1.0/loadOhms
	}
	return b
}

// USB sets the voltage at the board's USB port, V; 5 where it is not set.
func (b *Board) USB(volts float64) { b.usb = volts }

// Spread gives each resistor a tolerance of its own, at random up to percent either way.
func (b *Board) Spread(percent float64, seed uint64) {
	random := rand.New(rand.NewPCG(seed, 0))
	for _, of := range []*[32]float64{&b.drive, &b.pull[BiasPull], &b.pull[LoadPull]} {
		for i := range of {
			of[i] /= 1 + percent/100*(2*random.Float64()-1)
		}
	}
}

// highOhms is what lies in the high side of the supply: fuse, shunt and switch.
func (b *Board) highOhms() float64 { return fuseOhms + b.shunt + switchOhms }

// blind are the positions whose level the microcontroller does not see: without
// their sense line, or without the drive line where there is no sense line.
func (b *Board) blind() adapter.Word { return b.senseOpen&Sensed | b.driveOpen&^Sensed }

func bitOf(position int) int { return bits.TrailingZeros32(uint32(adapter.At(position))) }

// A Resistor lies in the socket between two positions.
type Resistor struct {
	Ohms float64
	P, Q int
}

// SocketWith puts a resistor into the board's socket.
func (b *Board) SocketWith(r Resistor, seed uint64) *Socket {
	s := b.socket(nil, seed)
	s.network = s.between(r)
	s.settle(s.every())
	return s
}

// between is the network of a socket with a resistor in it. Elimination takes the
// resistor's one end for a die's supply node: every branch ends there.
func (s *Socket) between(r Resistor) *network {
	from, to := s.number(r.P), s.number(r.Q)
	w := &network{size: len(s.nodes), branches: []branch{{from: from, to: to, ohms: r.Ohms}}}
	for i := range w.size {
		if i != to {
			w.order = append(w.order, i)
		}
	}
	w.pads = len(w.order)
	w.order = append(w.order, to)
	w.volts, w.rows = make([]float64, w.size), make([]float64, w.size*(w.size+1))
	return w
}
