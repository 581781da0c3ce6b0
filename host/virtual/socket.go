// Package virtual is the adapter that needs no hardware: the firmware image, run in
// this process, on a socket with a chip in it, good or with defects.
//
// The Socket is a first-order electrical model. Each position, or group
// of shorted positions, is a node with the adapter's resistors on it and the
// chip's pin as a voltage behind a resistance; the die reads
// levels by its family's thresholds, and answers through its outputs: at once, or by
// the adapter's clock where an output is late. Nodes coupled by a resistance are solved
// together. A capacitor clipped to the side header is charged by what flows, as time passes. Without supply the chip is its junctions, and all nodes are solved together.
// The adapter's values come from the carrier (firmware/carrier), the chip's from its
// family's DC limits (vectors/part) and from data-book schematics.
package virtual

import (
	"math"
	"math/bits"
	"math/rand/v2"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/logic"
)

// Sensed are the positions with a sense line on the socket side of the drive
// resistor: L1-8 and R1-8. At the others a driven position reads as it is driven.
var Sensed = adapter.At(1, 2, 3, 4, 5, 6, 7, 8, 28, 27, 26, 25, 24, 23, 22, 21)

// SupplyHigh and SupplyLow are the positions that have a supply switch.
var (
	SupplyHigh = []int{1, 4, 5, 8, 22, 28}
	SupplyLow  = []int{1, 4, 7, 8, 9, 10, 11, 12, 14, 21, 24, 25, 28}
)

// A Pull is a group of resistors that pull each position to a level of its own.
type Pull int

// The groups: 10 kΩ and 1 kΩ at each position.
const (
	BiasPull Pull = iota
	LoadPull
)

// pulls is the state of a group of resistors: off, or each position up or down.
type pulls struct {
	on bool
	up adapter.Word
}

// rounds bounds how often levels go through a chip and a short back to its inputs before
// the chip is considered to oscillate.
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
	pulls      [2]pulls     // by Pull
	askedHigh  adapter.Word // switches that the firmware wants closed
	askedLow   adapter.Word
	state      states
	wiring     *wiring
	switches   switches
	highOn     adapter.Word // positions at which a switch is closed
	lowOn      adapter.Word
	supply     supply

	powered    bool
	inputs     [adapter.Positions + 1]logic.Value // what the die was last given
	outputs    [adapter.Positions + 1]logic.Value // what the die last answered
	given      bool                               // the die got new levels since it last settled
	charge     uint64                             // one bit a pin: what a MOS input without a bond floats at
	dirty      uint64                             // nodes to be solved, by number
	fresh      uint64                             // nodes solved whose levels the die has not got yet
	noise      uint64                             // one bit a pin: how an unknown level reads until the next change
	elements   []element                          // scratch
	couplings  []coupling                         // resistances between nodes, by number
	gated      bool                               // a cluster holds the gate or the base of a switch
	gating     int
	railShares []railShare       // of nets that no position is joined to
	clusters   []*cluster        // of the board, where it has more than resistors at single positions
	touches    [leads][32]uint64 // nodes that a line or an output drives, by lead and bit
	groups     []group           // the nodes that they couple
	network    *network          // the same nodes while the chip has no supply

	high      adapter.Word // reads high
	uncertain adapter.Word // may read either way
	feeders   [2][]*pad    // pins that may feed the die's supply, and its ground
	era       uint32       // counts what changes but drivers and outputs: supply, switches
	hunting   uint64       // nodes that did not come to rest
	followed  bool         // nothing has changed since the supply was found by its currents
	warmth    int          // changes since the supply came
	held      [3]float64   // V that each converter measured last: the near one, no. 1 and no. 2
	clock     func() time.Duration
	passed    time.Duration // up to which time has passed in the model
	clips     clips
	timer     timer // the die, where it knows the time
}

// NewSocket puts a chip into the socket of a good board; nil leaves it empty.
// Everything random in the model repeats with the seed.
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
	s.wiring = b.wiring()
	s.supply.rail = b.usb - boardOhms*boardAmps
	s.wire()
	s.setStates()
	s.followSwitches()
	if s.chip != nil {
		s.timer, _ = s.chip.die.(timer)
	}
	return s
}

// Swap replaces what is in the socket by a chip; nil leaves it empty. The adapter stays as
// it is, and the random sequence continues.
func (s *Socket) Swap(chip *Chip) {
	s.arrive()
	s.swap(chip)
}

func (s *Socket) swap(chip *Chip) {
	next := s.board.socket(chip, 0)
	next.random, next.held = s.random, s.held
	next.dir, next.level, next.pulls = s.dir, s.level, s.pulls
	next.askedHigh, next.askedLow = s.askedHigh, s.askedLow
	next.clock, next.passed, next.clips = s.clock, s.clock(), s.clips
	*s = *next
	s.attach()
	if s.chip != nil {
		s.network = s.networkOf(s.chip)
		s.chip.keepTime(s.clock)
	}
	s.setStates()
	s.followSwitches()
	s.settle(s.every())
	s.follow()
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
	for p, n := range s.wiring.position {
		for q, other := range s.wiring.position[:p] {
			if n != noNet && n == other {
				join(q, p)
			}
		}
	}
	if s.chip != nil {
		for _, d := range s.chip.Defects {
			if pin, other := s.chip.touching(d); pin != 0 {
				join(s.chip.position(pin), s.chip.position(other))
			}
		}
	}
	s.nodes = make([]node, 0, adapter.Positions) // must not grow: of points into it
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
	for i := range s.nodes {
		s.connect(i)
	}
	s.makeClusters()
	if s.chip == nil {
		s.group()
		return
	}
	s.findFeeders()
	for i := range s.chip.pads {
		if pad := &s.chip.pads[i]; pad.bonded && (pad.in || pad.out || pad.timing) {
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
	s.state[driveLines].on, s.state[driveLines].up = dir, level
	if changed &= adapter.All; changed != 0 {
		s.settle(s.touched(driveLines, changed))
	}
}

// Pull turns a group of resistors on or off; the positions of up are pulled high, the
// others low.
func (s *Socket) Pull(which Pull, on bool, up adapter.Word) {
	s.arrive()
	to := pulls{on, up & adapter.All}
	if !on {
		to.up = 0
	}
	if from := s.pulls[which]; from != to {
		s.pulls[which] = to
		s.setStates()
		changed := ^adapter.Word(0)
		if from.on == to.on {
			changed = from.up ^ to.up
		}
		s.settle(s.touched(biasOutputs+lead(which), changed))
		s.follow()
	}
}

// Supply closes the supply switches at positions, those to 5 V and those to ground,
// and opens all others. A position without a switch is ignored.
func (s *Socket) Supply(high, low adapter.Word) {
	s.arrive()
	s.askedHigh, s.askedLow = high, low
	s.setStates()
	s.followSwitches()
	s.settle(s.every())
	s.follow()
}

// KeepTime gives the socket a clock for late outputs; without one no time passes. It reports
// whether the chip needs the clock also while it is idle, as a dynamic memory does, which
// forgets.
func (s *Socket) KeepTime(clock func() time.Duration) bool {
	s.present()
	s.clips.way.holds = false
	s.clock, s.passed = clock, clock()
	return s.chip != nil && s.chip.keepTime(clock)
}

// Live reports whether a supply switch is closed.
func (s *Socket) Live() bool { return s.highOn|s.lowOn != 0 }

// Sample reads every position as the adapter's inputs do. Between 0.3 and 0.6 of the
// board's 5 V, and at a position that nothing drives, each reading is random.
func (s *Socket) Sample() adapter.Word {
	s.elapse()
	w := s.high
	if s.uncertain != 0 {
		w |= s.uncertain & adapter.Word(s.random.Uint64())
	}
	driven := s.dir &^ Sensed
	w = w&^driven | s.level&driven
	if s.wiring.odd != 0 {
		s.present()
	}
	for p := range s.wiring.odd.Positions() {
		w = w&^adapter.At(p) | s.readOdd(p)
	}
	return w
}

// Millivolts is what a meter at the side header reads at a position, 1 to 28, mV to the
// board's ground.
func (s *Socket) Millivolts(position int) int {
	s.arrive()
	s.follow()
	return int(math.Round(s.of[position].volts * 1000))
}

// readOdd is what the MCU reads of a position whose line is faulty.
func (s *Socket) readOdd(p int) adapter.Word {
	at, bit := adapter.At(p), bitOf(p)
	chance := adapter.Word(s.random.Uint64())
	if s.wiring.reads[bit] == readsNone {
		if !Sensed.Has(p) && s.dir.Has(p) {
			return at & s.level
		}
		return at & chance
	}
	volts, held := s.netVolts(s.wiring.sense[bit])
	switch {
	case !held:
		return at & chance
	case volts > readHigh*s.supply.rail:
		return at
	case volts < readLow*s.supply.rail:
		return 0
	}
	return at & chance
}
