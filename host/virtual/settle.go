package virtual

import (
	"math"
	"math/bits"

	"chipassay/host/adapter"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// every is the set of all nodes, by number.
func (s *Socket) every() uint64 { return 1<<len(s.nodes) - 1 }

// at is the set of the nodes at some positions.
func (s *Socket) at(w adapter.Word) (nodes uint64) {
	for ; w != 0; w &= w - 1 {
		nodes |= 1 << s.node[bits.TrailingZeros32(uint32(w))]
	}
	return nodes
}

// settle brings the socket to rest after the adapter changed something at some nodes.
// Levels that go from an output through a short to an input are followed until nothing
// changes; if they never settle, the nodes read either way.
func (s *Socket) settle(nodes uint64) {
	s.dirty, s.hunting, s.followed = nodes|s.hunting, 0, false
	s.noise = s.random.Uint64()
	s.dirty |= s.undecided()
	s.warm()
	s.solveDirty()
	s.power()
	if !s.powered {
		s.fresh = 0
		return
	}
	s.looseInputs()
	for range rounds {
		if !s.dieFollows() {
			return
		}
		s.solveDirty()
	}
	if s.dieFollows() {
		s.hunting = s.dirty
		for i := range s.nodes {
			if s.hunting>>i&1 != 0 {
				s.uncertain |= s.nodes[i].positions
				s.high &^= s.nodes[i].positions
			}
		}
	}
}

// warmAfter is the number of changes under power after which the chip is warm.
const warmAfter = 100

// warm opens and closes loose bond wires at random: of an intermittent one at one
// change in four once the chip is warm, of a rarely intermittent one from the start, at one
// change in the number given.
func (s *Socket) warm() {
	if s.chip == nil || !s.chip.loose {
		return
	}
	s.warmth++
	if s.highOn|s.lowOn == 0 { // not only while the supply's own bond is open
		s.warmth = 0
	}
	for i := range s.chip.pads {
		p := &s.chip.pads[i]
		away := p.loose && s.warmth > warmAfter && s.noise>>(40+i&15)&3 == 0
		if p.rarely != 0 && s.powered {
			away = float64(s.random.Uint64()>>11)/(1<<53) < 1/p.rarely
		}
		if away != p.away {
			p.away = away
			s.dirty |= s.at(adapter.At(s.chip.position(p.pin)))
			if role := s.chip.role(p.pin); role == part.Supply || role == part.Ground {
				s.network = s.networkOf(s.chip) // or the die would live on the pin that it has lost
			}
		}
	}
}

// solveDirty finds the voltages of the nodes to be solved and notes how their
// positions read.
func (s *Socket) solveDirty() {
	s.followed = false
	s.reduceClusters()
	if s.dark() {
		s.dirty = s.every()
		s.solveUnpowered()
	} else {
		s.solveNodes()
	}
	if s.dirty&s.clips.slow != 0 {
		s.clips.way.holds = false
	}
	s.read(s.dirty)
	s.dirty = 0
	if len(s.clusters) > 0 && s.gated && s.followSwitches() && s.gating < mostGatings {
		s.gating++ // a position drives the gate of a switch, which may drive a position
		s.dirty = s.every()
		s.solveDirty()
		s.gating--
	}
}

// dark reports whether there is a chip without supply, which couples all nodes.
func (s *Socket) dark() bool { return s.network != nil && !s.powered && s.active() }

// read notes how the positions of nodes read, and that the die has not got that yet.
func (s *Socket) read(nodes uint64) {
	s.fresh |= nodes
	for rest := nodes; rest != 0; rest &= rest - 1 {
		i := bits.TrailingZeros64(rest)
		n := &s.nodes[i]
		read := s.high & n.positions
		s.high &^= n.positions
		s.uncertain &^= n.positions
		switch {
		case s.clips.slow>>i&1 != 0 && n.volts >= readLow*s.supply.rail && n.volts <= readHigh*s.supply.rail:
			s.high |= read // the MCU's inputs have hysteresis: what moves slowly reads as before
		case n.floating || n.volts >= readLow*s.supply.rail && n.volts <= readHigh*s.supply.rail:
			s.uncertain |= n.positions
		case n.volts > readHigh*s.supply.rail:
			s.high |= n.positions
		}
	}
}

// mostGatings is how often switches follow positions that they hold themselves.
const mostGatings = 6

// active reports whether the adapter does anything to the socket.
func (s *Socket) active() bool {
	return s.dir|s.state[biasOutputs].on|s.state[loadOutputs].on|s.highOn|s.lowOn != 0 || s.board.own || len(s.clips.capacitors) > 0
}

// fromAdapter is what the adapter has at a node, but for capacitors: a current, A, and a conductance to ground, S.
func (s *Socket) fromAdapter(n *node) (amps, siemens float64) {
	for i := range n.legs {
		l := &n.legs[i]
		switch st := &s.state[l.lead]; {
		case st.on>>l.bit&1 == 0:
		case st.up>>l.bit&1 != 0:
			siemens += l.high
			amps += s.supply.rail * l.high
		default:
			siemens += l.low
		}
	}
	for _, m := range n.mosfets {
		siemens += s.switches.low[m]
	}
	for _, q := range n.pnps {
		if s.switches.high[q] {
			a, g := s.fromSource()
			amps, siemens = amps+a, siemens+g
		}
	}
	for _, at := range n.clusters {
		amps, siemens = amps+at.amps[at.place], siemens+at.siemens[at.place]
	}
	siemens += n.grounded
	if s.powered {
		amps += s.supply.returned*s.share(n, part.Ground) - s.supply.taken*s.share(n, part.Supply)
	}
	return amps, siemens
}

func (s *Socket) solveNode(n *node) {
	key, ok := s.stateOf(n)
	if ok {
		for i := range n.known {
			if k := &n.known[i]; k.state == key && k.era == s.era {
				n.volts, n.flow, n.floating = k.volts, k.flow, false
				return
			}
		}
	}
	amps, siemens := s.fromAdapter(n)
	heldAmps, heldSiemens := s.fromCapacitors(n)
	amps, siemens = amps+heldAmps, siemens+heldSiemens
	elements := s.elementsAt(n)
	n.floating = siemens == 0 && len(elements) == 0
	if n.floating {
		n.volts, n.flow = s.charged(), flow{}
		return
	}
	n.volts = solve(amps, siemens, elements)
	n.flow = s.flowOf(n, elements)
	if ok {
		n.known[n.oldest] = solution{key, s.era, n.volts, n.flow}
		n.oldest = (n.oldest + 1) % len(n.known)
	}
}

// A solution is a node's voltage in a state.
type solution struct {
	state uint64 // of the drivers and of the chip's pads, see stateOf
	era   uint32 // in which nothing else changed
	volts float64
	flow
}

// stateOf puts what the drivers and the pads at a node do into a number; ok is false where
// there is more than that.
func (s *Socket) stateOf(n *node) (state uint64, ok bool) {
	if !s.powered || n.odd || len(n.clusters) > 0 || len(n.capacitors) > 0 || s.timer != nil || 2*len(n.legs)+3*len(n.pads) > 60 {
		return 0, false
	}
	state = 1
	for i := range n.legs {
		l := &n.legs[i]
		st := &s.state[l.lead]
		on := uint64(st.on >> l.bit & 1)
		state = state<<2 | on<<1 | on&uint64(st.up>>l.bit)
	}
	for _, p := range n.pads {
		v := logic.Value(7)
		if !p.away {
			v = s.shows(p)
		}
		state = state<<3 | uint64(v&7)
	}
	return state, true
}

// charged is the voltage of a node that nothing drives: a few picofarads keep some charge,
// anywhere between the supplies.
func (s *Socket) charged() float64 { return s.supply.rail * float64(s.random.Uint64()>>40) / (1 << 24) }

// padElements is what a powered chip connects to a node; it is valid until the next call.
func (s *Socket) padElements(n *node) []element {
	elements := s.elements[:0]
	if !s.powered {
		return elements
	}
	for _, p := range n.pads {
		if p.away {
			continue
		}
		for _, e := range [...]*element{&p.input, &p.pullUp, &p.leakage, &p.below, &p.above, s.output(p)} {
			if e.there() {
				elements = append(elements, *e)
			}
		}
		if p.timing {
			elements = append(elements, s.timer.elements(p.pin)...)
		}
	}
	return elements
}

// shows is the present level of a pad's output stage; an unknown one is random.
func (s *Socket) shows(p *pad) logic.Value {
	v := s.outputs[p.pin]
	switch {
	case !p.out:
		return logic.Z
	case p.stuck != logic.X:
		return p.stuck
	case v == logic.X:
		return s.chance(p.pin)
	}
	return v
}

// output is the present state of a pad's output stage.
func (s *Socket) output(p *pad) *element {
	switch s.shows(p) {
	case logic.Zero:
		return &p.low
	case logic.One:
		return &p.high
	}
	return &noElement
}

var noElement element

// undecided gives the nodes of outputs whose level is unknown, and so random.
func (s *Socket) undecided() (nodes uint64) {
	if !s.powered {
		return 0
	}
	for i := range s.nodes {
		for _, p := range s.nodes[i].pads {
			if p.out && s.outputs[p.pin] == logic.X {
				nodes |= 1 << i
			}
		}
	}
	return nodes
}

func (s *Socket) chance(pin int) logic.Value { return logic.FromBool(s.noise>>pin&1 != 0) }

// power reports whether the chip has its supply, and starts it when the supply comes on.
func (s *Socket) power() {
	was := s.powered
	s.powered = s.chip != nil && !s.chip.Type.Variant.Unsupplied && s.joined(part.Supply) && s.joined(part.Ground)
	if s.powered == was {
		return
	}
	s.supply.taken, s.supply.returned = 0, 0
	s.era++
	s.supplied()
	s.outputs = [len(s.outputs)]logic.Value{}
	for i := range s.chip.pads {
		s.chip.pads[i].begin()
	}
	s.dirty = s.every()
	s.solveDirty()
	if !s.powered {
		return
	}
	s.charge = s.random.Uint64()
	// State comes up at random once the inputs are set, so that setting them is no edge.
	s.inputs = [len(s.inputs)]logic.Value{}
	s.looseInputs()
	s.giveFresh()
	s.chip.die.Settle()
	s.chip.die.PowerUp(s.random.Uint64())
	s.given = true
}

// looseInputs gives the die the levels of inputs with a broken bond wire: a bipolar input
// acts as a high, a MOS input keeps the random charge that it had at power-on, because
// nothing changes it within a test.
func (s *Socket) looseInputs() {
	for i := range s.chip.pads {
		p := &s.chip.pads[i]
		if !p.in || p.bonded && !p.away {
			continue
		}
		if s.opposite(p) != nil {
			s.giveOpposite(p)
			continue
		}
		v := logic.FromBool(s.charge>>p.pin&1 != 0)
		if s.chip.Type.Variant.Pins[p.pin-1].Receiver {
			v = logic.Zero
		}
		if p.receiver.open || p.pullUp.siemens != 0 {
			v = logic.One
		}
		s.give(p, v)
	}
}

// giveFresh gives the die the levels at the nodes that were solved.
func (s *Socket) giveFresh() {
	for rest := s.fresh; rest != 0; rest &= rest - 1 {
		i := bits.TrailingZeros64(rest)
		n := &s.nodes[i]
		for _, p := range n.pads {
			if p.in && !p.away {
				s.give(p, s.receive(p, n.volts, s.clips.slow>>i&1 != 0))
			}
			if p.in && s.opposite(p) != nil {
				s.giveOpposite(p)
			}
		}
	}
	s.fresh = 0
}

// dieFollows gives the die the levels at the nodes that were solved, lets it respond, and
// reports whether nodes must be solved again.
func (s *Socket) dieFollows() bool {
	s.giveFresh()
	if s.given {
		s.given = false
		s.chip.die.Settle()
		s.tick()
		s.given = false // it has been settled with that
		s.readOutputs()
	}
	return s.dirty != 0
}

// receive is how an input reads a voltage, which may be one that moves slowly.
func (s *Socket) receive(p *pad, volts float64, slow bool) logic.Value {
	switch {
	case slow && !p.receiver.schmitt:
		return logic.FromBool(volts >= p.receiver.middle)
	case volts < p.receiver.vil:
		return logic.Zero
	case volts >= p.receiver.vih:
		return logic.One
	case p.receiver.schmitt && s.inputs[p.pin] != logic.Z:
		return s.inputs[p.pin]
	}
	return s.chance(p.pin)
}

// opposite is the other input of a receiver of a balanced line, nil for any other pad.
func (s *Socket) opposite(p *pad) *pad {
	if n := s.chip.Type.Variant.Pins[p.pin-1].Opposite; n != 0 {
		return &s.chip.pads[n-1]
	}
	return nil
}

// leastDifference, V, is what a receiver of a balanced line distinguishes for certain.
const leastDifference = 0.2

// giveOpposite gives both inputs of a balanced line their levels, the one that is higher a
// high: a difference of too few volts may be taken either way.
func (s *Socket) giveOpposite(p *pad) {
	q := s.opposite(p)
	across := s.insideVolts(p) - s.insideVolts(q)
	level := s.chance(min(p.pin, q.pin))
	if math.Abs(across) >= leastDifference {
		level = logic.FromBool(across > 0)
	} else if q.pin < p.pin {
		level = level.Not()
	}
	s.give(p, level)
	s.give(q, level.Not())
}

// insideVolts is the voltage at an input of a balanced line as the die has it: an open one
// stands at the level of its own divider.
func (s *Socket) insideVolts(p *pad) float64 {
	const divider = 1.3 // V
	switch {
	case p.stuck == logic.Zero:
		return 0
	case p.stuck == logic.One:
		return s.supply.vcc
	case !p.bonded || p.away:
		return divider
	}
	return s.of[s.chip.position(p.pin)].volts
}

func (s *Socket) give(p *pad, v logic.Value) {
	if p.stuck != logic.X {
		v = p.stuck
	}
	if s.inputs[p.pin] != v {
		s.inputs[p.pin] = v
		s.chip.die.Set(p.pin, logic.Splat(v))
		s.given = true
	}
}

func (s *Socket) readOutputs() {
	for i := range s.chip.pads {
		p := &s.chip.pads[i]
		if !p.out {
			continue
		}
		v := s.chip.die.Out(p.pin).Lane(0)
		if p.by != 0 {
			v = p.follow(s.outputs[p.pin], v, s.time())
		}
		if v != s.outputs[p.pin] {
			s.outputs[p.pin] = v
			if p.bonded {
				s.dirty |= s.at(adapter.At(s.chip.position(p.pin)))
			}
		}
	}
}
