package virtual

import (
	"math/bits"
	"math/rand/v2"

	"chipassay/host/adapter"
)

// A Board is the carrier between the microcontroller and the socket, as it was
// soldered: its resistors, each with its own tolerance, and what is wrong with it.
type Board struct {
	drive, bias, load  [32]float64  // S, by the bit of the position; 0 where open
	stuck, stuckHigh   adapter.Word // drive lines that are always driven, and those of them that are high
	driveOpen          adapter.Word
	senseOpen          adapter.Word
	biasDead, loadDead dead
	highOff, highStuck adapter.Word // high-side switches that never close, and that never open
	lowOff, lowStuck   adapter.Word
	bridges            [][2]int // positions that touch
	monitorDead        bool
	shunt              float64 // Ω
	gain, offsetMV     float64 // of the converter: what it sees of a voltage, and adds to it, mV
	buttonStuck        bool
}

// dead are the levels that a rail does not reach.
type dead struct{ low, high bool }

// through is what becomes of a rail's state: a half bridge that does not pull leaves the rail off.
func (d dead) through(r adapter.Rail) adapter.Rail {
	if r == adapter.Low && d.low || r == adapter.High && d.high {
		return adapter.Off
	}
	return r
}

// NewBoard gives a good board, its resistors at their nominal values.
func NewBoard() *Board {
	b := &Board{shunt: shuntOhms, gain: 1}
	for i := range b.drive {
		b.drive[i], b.bias[i], b.load[i] = 1.0/driveOhms, 1.0/biasOhms, 1.0/loadOhms
	}
	return b
}

// Spread gives each resistor a tolerance of its own, at random up to percent either way.
func (b *Board) Spread(percent float64, seed uint64) {
	random := rand.New(rand.NewPCG(seed, 0))
	for _, of := range []*[32]float64{&b.drive, &b.bias, &b.load} {
		for i := range of {
			of[i] /= 1 + percent/100*(2*random.Float64()-1)
		}
	}
}

// highOhms is what lies in the high side of the supply: shunt and switch.
func (b *Board) highOhms() float64 { return b.shunt + switchOhms }

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
