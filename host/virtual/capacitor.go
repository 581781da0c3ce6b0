package virtual

// A Capacitor is clipped to the side header between two positions, or between a position and
// ground, which is 0.
type Capacitor struct {
	Farads float64
	P, Q   int
}

// capacitor is one that is clipped on, by nodes. It is solved as a voltage behind a resistance: while
// no time passes that is its own voltage and hardly any resistance; for a stage of a step see trajectory.
type capacitor struct {
	Capacitor
	from, to int // nodes; to is -1 for ground
	coupling int // by number in the socket's, where it has two nodes
	volts    float64

	behind  float64 // V, which it is solved as,
	siemens float64 // and behind what
}

// capacitorEnd is a node's end of a capacitor.
type capacitorEnd struct {
	capacitor int
	sign      float64
}

const (
	// heldSiemens is what a capacitor is solved as while no time passes: a drive moves it by microvolts.
	heldSiemens = 1e4
	// mcuClampVolts and mcuClampOhms are a protection diode of the MCU's pin that drives a position, and what it is behind.
	mcuClampVolts = 0.6
	mcuClampOhms  = 130
)

// Clip clips a capacitor, without charge, to the side header. It stays when the chip is swapped.
func (s *Socket) Clip(c Capacitor) {
	s.arrive()
	s.clips.capacitors = append(s.clips.capacitors, capacitor{Capacitor: c})
	s.rewire()
}

// ClipResistor clips a resistor to the side header, to ground where Q is 0.
func (s *Socket) ClipResistor(r Resistor) {
	s.arrive()
	s.clips.resistors = append(s.clips.resistors, r)
	s.rewire()
}

// Unclip takes off all that is clipped to the side header.
func (s *Socket) Unclip() {
	s.arrive()
	s.clips = clips{}
	s.rewire()
}

// CapacitorVolts is the voltage across a clipped capacitor, by its number in order, V.
func (s *Socket) CapacitorVolts(number int) float64 {
	s.arrive()
	return s.clips.capacitors[number].volts
}

// clips is what is clipped to the side header.
type clips struct {
	capacitors []capacitor
	resistors  []Resistor
	slow       uint64     // nodes that do not move at once, by number
	moving     group      // the same
	way        trajectory // how they move
	behind     bool       // the nodes stand where they were some time ago
}

// attach connects what is clipped on to the nodes.
func (s *Socket) attach() {
	s.clips.slow = 0
	for _, r := range s.clips.resistors {
		from := s.number(r.P)
		if r.Q == 0 {
			s.nodes[from].grounded += 1 / r.Ohms
		} else if to := s.number(r.Q); to != from {
			s.couplings = append(s.couplings, coupling{from, to, 1 / r.Ohms})
		}
	}
	for i := range s.clips.capacitors {
		c := &s.clips.capacitors[i]
		c.from, c.to, c.coupling = s.number(c.P), -1, -1
		if c.Q != 0 {
			c.to = s.number(c.Q)
		}
		if c.to == c.from { // both ends touch
			c.volts = 0
			continue
		}
		s.nodes[c.from].capacitors = append(s.nodes[c.from].capacitors, capacitorEnd{i, 1})
		s.clips.slow |= 1 << c.from
		if c.to >= 0 {
			s.nodes[c.to].capacitors = append(s.nodes[c.to].capacitors, capacitorEnd{i, -1})
			s.clips.slow |= 1 << c.to
			c.coupling = len(s.couplings)
			s.couplings = append(s.couplings, coupling{c.from, c.to, heldSiemens})
		}
	}
	s.groups = nil
	s.group()
	s.clips.slow = s.coupledWith(s.clips.slow)
	s.clips.moving = s.groupOf(s.clips.slow)
	s.clips.way, s.clips.behind = trajectory{within: stepVolts, apart: len(s.clips.capacitors) > 1}, false
	s.hold()
}

// rewire makes the socket's nodes anew, with what is clipped on. A chip that is powered starts
// anew too.
func (s *Socket) rewire() { s.swap(s.chip) }

// hold solves the capacitors as their voltages from now on.
func (s *Socket) hold() {
	for i := range s.clips.capacitors {
		c := &s.clips.capacitors[i]
		s.solvedAs(c, c.volts, heldSiemens)
	}
}

func (s *Socket) solvedAs(c *capacitor, volts, siemens float64) {
	c.behind, c.siemens = volts, siemens
	if c.coupling >= 0 {
		s.couplings[c.coupling].siemens = siemens
	}
}

// fromCapacitors is what capacitors do at a node, as fromAdapter gives it; one to another node
// is a coupling besides.
func (s *Socket) fromCapacitors(n *node) (amps, siemens float64) {
	for _, end := range n.capacitors {
		c := &s.clips.capacitors[end.capacitor]
		amps += end.sign * c.behind * c.siemens
		if c.coupling < 0 {
			siemens += c.siemens
		}
	}
	return amps, siemens
}

// clamps are the protection diodes of the MCU's pin at a node that a capacitor may carry beyond
// the supplies.
func (s *Socket) clamps() (below, above element) {
	below, above = resistor(-mcuClampVolts, mcuClampOhms), resistor(s.supply.rail+mcuClampVolts, mcuClampOhms)
	below.sink, above.source = false, false
	return below, above
}

// farads is what a capacitor acts as: other than it is at a powered chip that times wrongly.
func (s *Socket) farads(c *capacitor) float64 {
	if s.powered {
		for pin, by := range s.chip.stretched {
			if p := s.chip.position(pin); p == c.P || p == c.Q {
				return by * c.Farads
			}
		}
	}
	return c.Farads
}
