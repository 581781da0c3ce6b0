// Package virtual is the adapter that needs no hardware: the firmware image in
// this process, on a socket with a chip in it, good or with defects.
//
// The Socket is an electrical model to a first order. Each position, or group
// of shorted positions, is a node with the adapter's resistors on it and the
// chip's pin as a voltage behind a resistance; the die takes the voltages for
// levels by its family's thresholds, and answers through its outputs, at once or,
// where an output is late, by the adapter's clock. Nodes that a resistance couples
// are solved together, and without supply, when the chip is its junctions, all
// are. The adapter's values are those of revision A (firmware/README.md), the chip's
// those of its family's DC limits (vectors/part) and of data-book schematics.
package virtual

import (
	"math/bits"
	"math/rand/v2"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/logic"
)

// Sensed are the positions with a sense line on the socket side of the drive
// resistor: L1-8 and R1-8. At the others a driven position reads as it is driven.
var Sensed = adapter.At(1, 2, 3, 4, 5, 6, 7, 8, 28, 27, 26, 25, 24, 23, 22, 21)

// SupplyHigh and SupplyLow are the positions of the supply switches, in the
// order of the bits that Supply takes.
var (
	SupplyHigh = []int{1, 4, 5, 8, 22, 28}
	SupplyLow  = []int{1, 4, 7, 8, 9, 10, 11, 12, 14, 21, 24, 25, 28}
)

// rounds bounds how often levels go through a chip and a short back to its
// inputs before the chip is taken to oscillate.
const rounds = 24

// A Socket is the adapter's 28 positions and what is in them. Its methods are
// those of the adapter's board; they are for one goroutine at a time.
type Socket struct {
	board      *Board
	chip       *Chip
	random     *rand.PCG
	nodes      []node
	of         [adapter.Positions + 1]*node
	node       [33]uint8 // number of the node at each bit of a word
	dir, level adapter.Word
	bias, load adapter.Rail
	highOn     adapter.Word // closed switches
	lowOn      adapter.Word

	powered   bool
	inputs    [adapter.Positions + 1]logic.Value // what the die was last given
	outputs   [adapter.Positions + 1]logic.Value // what the die last answered
	given     bool                               // the die was given something since it last settled
	charge    uint64                             // one bit a pin: what a MOS input without a bond floats at
	dirty     uint64                             // nodes to be solved, by number
	fresh     uint64                             // nodes solved whose levels the die was not given yet
	noise     uint64                             // one bit a pin: how an unknown level turns out until the next change
	elements  []element                          // scratch
	couplings []coupling                         // resistances between nodes, by number
	groups    []group                            // the nodes that they couple
	network   *network                           // the same nodes while the chip has no supply

	high      adapter.Word // reads high
	uncertain adapter.Word // may read either way
	hunting   uint64       // nodes that did not come to rest
	warmth    int          // changes since the supply came
	held      int          // mV that the converter measured last
	clock     func() time.Duration
}

// NewSocket puts a chip into the socket of a good board; nil leaves it empty.
// Everything that the model leaves to chance repeats with the seed.
func NewSocket(chip *Chip, seed uint64) *Socket { return NewBoard().Socket(chip, seed) }

// Socket puts a chip into the board's socket; nil leaves it empty.
func (b *Board) Socket(chip *Chip, seed uint64) *Socket {
	s := b.socket(chip, seed)
	if s.chip != nil {
		s.network = s.networkOf(s.chip)
	}
	s.settle(s.every())
	return s
}

func (b *Board) socket(chip *Chip, seed uint64) *Socket {
	s := &Socket{board: b, chip: chip, random: rand.NewPCG(seed, 0), elements: make([]element, 0, 3*adapter.Positions),
		clock: func() time.Duration { return 0 }}
	if chip != nil && !chip.present {
		s.chip = nil
	}
	s.highOn, s.lowOn = b.highStuck, b.lowStuck
	s.wire()
	return s
}

// Swap takes out what is in the socket and puts in a chip, or nothing where it is
// nil. The adapter stays as it is, and what is left to chance goes on.
func (s *Socket) Swap(chip *Chip) {
	next := s.board.socket(chip, 0)
	next.random, next.held = s.random, s.held
	next.dir, next.level, next.bias, next.load = s.dir, s.level, s.bias, s.load
	next.highOn, next.lowOn = s.highOn, s.lowOn
	next.clock = s.clock
	*s = *next
	if s.chip != nil {
		s.network = s.networkOf(s.chip)
		s.chip.keepTime(s.clock)
	}
	s.settle(s.every())
}

// wire makes the nodes: one for each position, shorted ones joined.
func (s *Socket) wire() {
	joined := [adapter.Positions + 1]int{}
	for p := range joined {
		joined[p] = p
	}
	join := func(to, from int) {
		to, from = joined[to], joined[from]
		for p := range joined {
			if joined[p] == from {
				joined[p] = to
			}
		}
	}
	for _, bridge := range s.board.bridges {
		join(bridge[0], bridge[1])
	}
	if s.chip != nil {
		for _, d := range s.chip.Defects {
			if pin, other := s.chip.touching(d); pin != 0 {
				join(s.chip.position(pin), s.chip.position(other))
			}
		}
	}
	s.nodes = make([]node, 0, adapter.Positions) // does not grow: of points into it
	for p := 1; p <= adapter.Positions; p++ {
		if joined[p] == p {
			s.nodes = append(s.nodes, node{})
			s.of[p] = &s.nodes[len(s.nodes)-1]
		}
	}
	for p := 1; p <= adapter.Positions; p++ {
		s.of[p] = s.of[joined[p]]
		s.of[p].positions |= adapter.At(p)
	}
	for i := range s.nodes {
		for p := range s.nodes[i].positions.Positions() {
			s.node[bits.TrailingZeros32(uint32(adapter.At(p)))] = uint8(i)
		}
	}
	if s.chip == nil {
		return
	}
	for i := range s.chip.pads {
		if pad := &s.chip.pads[i]; pad.bonded && (pad.in || pad.out) {
			n := s.of[s.chip.position(pad.pin)]
			n.pads = append(n.pads, pad)
		}
	}
	s.couple()
}

// Drive drives the positions of dir to their level and releases the others.
func (s *Socket) Drive(dir, level adapter.Word) {
	s.arrive()
	changed := dir ^ s.dir | (level^s.level)&dir
	s.dir, s.level = dir, level
	if changed &= adapter.All; changed != 0 {
		s.settle(s.at(changed))
	}
}

// Rails sets the bias rail, 10 kΩ, and the load rail, 1 kΩ, to every position.
func (s *Socket) Rails(bias, load adapter.Rail) {
	s.arrive()
	bias, load = s.board.biasDead.through(bias), s.board.loadDead.through(load)
	if s.bias != bias || s.load != load {
		s.bias, s.load = bias, load
		s.settle(s.every())
	}
}

// Supply closes the supply switches whose bits are set, in the order of
// SupplyHigh and SupplyLow, and opens the others.
func (s *Socket) Supply(high, low uint32) {
	s.arrive()
	b := s.board
	s.highOn = switches(SupplyHigh, high)&^b.highOff | b.highStuck
	s.lowOn = switches(SupplyLow, low)&^b.lowOff | b.lowStuck
	s.settle(s.every())
}

// KeepTime gives the socket a clock, by which late outputs follow; without one no
// time passes. It tells whether the chip goes by it also while nothing is done to
// it: a dynamic memory does, and forgets.
func (s *Socket) KeepTime(clock func() time.Duration) bool {
	s.clock = clock
	return s.chip != nil && s.chip.keepTime(clock)
}

// Live tells whether a supply switch is closed.
func (s *Socket) Live() bool { return s.highOn|s.lowOn != 0 }

func switches(positions []int, bits uint32) adapter.Word {
	var w adapter.Word
	for i, p := range positions {
		if bits>>i&1 != 0 {
			w |= adapter.At(p)
		}
	}
	return w
}

// Sample reads every position as the adapter's inputs do: between 1.5 V and
// 3.0 V, and where nothing holds the position, the reading is left to chance
// each time.
func (s *Socket) Sample() adapter.Word {
	s.arrive()
	w := s.high
	if s.uncertain != 0 {
		w |= s.uncertain & adapter.Word(s.random.Uint64())
	}
	if blind := s.board.blind(); blind != 0 {
		w = w&^blind | blind&adapter.Word(s.random.Uint64())
	}
	driven := s.dir &^ Sensed
	return w&^driven | s.level&driven
}

// Millivolts gives the voltage at a position, 1 to 28, mV, as the converter sees
// it. At the switch that supplies the chip its current takes its share. Behind an
// open sense line the converter still holds what it measured before.
func (s *Socket) Millivolts(position int) int {
	s.arrive()
	if s.board.senseOpen.Has(position) {
		return s.held
	}
	volts := s.of[position].volts
	if s.powered && s.of[position].positions&s.highOn != 0 {
		volts -= s.chipAmps() * s.board.highOhms()
	}
	s.held = int(max(0, volts*s.board.gain*1000+s.board.offsetMV) + 0.5)
	return s.held
}

// CurrentMicroamps gives what the monitor in the high side of the supply
// reads, µA: 10 µA a step up to its full scale of 320 mA over 1 Ω.
func (s *Socket) CurrentMicroamps() int {
	s.arrive()
	if s.board.monitorDead {
		return 0
	}
	amps := 0.0
	for i := range s.nodes {
		n := &s.nodes[i]
		amps += (supplyVolts - n.volts) / s.board.highOhms() * count(n.positions&s.highOn)
	}
	if s.powered {
		amps += s.chipAmps()
	}
	return min(int(amps*s.board.shunt*1e5+0.5)*10, fullScale)
}
