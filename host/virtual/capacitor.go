package virtual

import (
	"math"
	"math/bits"
	"time"

	"chipassay/host/adapter"
)

// A Capacitor is clipped to the side header between two positions, or between a position and
// ground, which is 0.
type Capacitor struct {
	Farads float64
	P, Q   int
}

// capacitor is one that is clipped on, by nodes. It is solved as what it is for a short time: a
// voltage behind a resistance. While no time passes that is its own voltage and hardly any
// resistance; over a step of h seconds it is h / C (backward Euler).
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
	// leastStep is what events are found to.
	leastStep = 62 * time.Nanosecond
	// stepVolts is how far off a step may be, with a capacitor of 10 nF or more; with a smaller one,
	// which moves faster, as much in time.
	stepVolts = 0.0002
	// mostTrials bounds the search for a step.
	mostTrials = 60
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
	slow       uint64        // nodes that do not move at once, by number
	stride     time.Duration // what the next step may be
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
		if c.to == c.from {
			continue // both ends touch
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

// fromClips is what is clipped to a node, as fromAdapter gives it; a capacitor to another node
// is a coupling besides.
func (s *Socket) fromClips(n *node) (amps, siemens float64) {
	siemens = n.grounded
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
func (s *Socket) clamps(n *node) []element {
	if len(n.capacitors) == 0 {
		return nil
	}
	below, above := resistor(-mcuClampVolts, mcuClampOhms), resistor(s.supply.rail+mcuClampVolts, mcuClampOhms)
	below.sink, above.source = false, false
	return []element{below, above}
}

// stepVolts is how far off a step may be, V.
func (s *Socket) stepVolts() float64 {
	least := 10e-9
	for i := range s.clips.capacitors {
		least = min(least, s.clips.capacitors[i].Farads)
	}
	return min(10*stepVolts, stepVolts*10e-9/least)
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

// across is the voltage across a capacitor by its nodes.
func (s *Socket) across(c *capacitor) float64 {
	v := s.nodes[c.from].volts
	if c.to >= 0 {
		v -= s.nodes[c.to].volts
	}
	return v
}

// after gives the capacitors' voltages a time after they had others.
func (s *Socket) after(volts []float64, h float64) []float64 {
	for i := range s.clips.capacitors {
		c := &s.clips.capacitors[i]
		s.solvedAs(c, volts[i], s.farads(c)/h)
	}
	s.dirty |= s.clips.slow
	s.solveDirty()
	next := make([]float64, len(volts))
	for i := range s.clips.capacitors {
		next[i] = s.across(&s.clips.capacitors[i])
	}
	return next
}

// step lets the capacitors' currents flow for a time, or less: up to where a voltage
// reaches a threshold of the chip or of the MCU, or as far as a step is good. It gives the time.
//
// A step is made once whole and once in halves. What is twice the second less the first is
// good to the third order, and their difference is a bound of how far off it is.
func (s *Socket) step(most time.Duration) time.Duration {
	before := make([]float64, len(s.clips.capacitors))
	for i := range before {
		before[i] = s.clips.capacitors[i].volts
	}
	thresholds, from := s.thresholds()
	high, uncertain := s.high, s.uncertain
	h := min(most, max(1, s.clips.stride))
	stepVolts := s.stepVolts()
	for trial := 0; ; trial++ {
		s.high, s.uncertain = high, uncertain
		seconds := h.Seconds()
		whole := s.after(before, seconds)
		halves := s.after(s.after(before, seconds/2), seconds/2)
		off := 0.0
		for i := range whole {
			off = max(off, math.Abs(whole[i]-halves[i]))
		}
		last := trial == mostTrials
		if off > stepVolts && h > 1 && !last {
			h = max(1, min(h/2, time.Duration(float64(h)*math.Sqrt(stepVolts/off))))
			s.clips.stride = h
			continue
		}
		for i := range whole {
			v := halves[i]
			if off <= stepVolts {
				v += halves[i] - whole[i]
			}
			s.clips.capacitors[i].volts = v
		}
		s.high, s.uncertain = high, uncertain
		s.hold()
		s.dirty |= s.clips.slow
		s.solveDirty()
		if part := crossing(thresholds, from, s.nodes); part < 1 && h > leastStep && !last {
			for i := range before {
				s.clips.capacitors[i].volts = before[i]
			}
			h = max(leastStep, min(time.Duration(part*float64(h)), h-leastStep))
			continue
		}
		if grown := time.Duration(float64(h) * min(4, math.Sqrt(stepVolts/max(off, 1e-9)))); h < most || grown > s.clips.stride {
			s.clips.stride = min(grown, time.Second)
		}
		return h
	}
}

// A threshold is a voltage at a node at which something may change.
type threshold struct {
	node  int
	volts float64
}

// thresholds are those of the slow nodes, and what the nodes' voltages are now.
func (s *Socket) thresholds() (all []threshold, from []float64) {
	from = make([]float64, len(s.nodes))
	for rest := s.clips.slow; rest != 0; rest &= rest - 1 {
		i := bits.TrailingZeros64(rest)
		n := &s.nodes[i]
		from[i] = n.volts
		all = append(all, threshold{i, readLow * s.supply.rail}, threshold{i, readHigh * s.supply.rail})
		if !s.powered {
			continue
		}
		for _, p := range n.pads {
			if p.in && p.receiver.schmitt {
				all = append(all, threshold{i, p.receiver.vil}, threshold{i, p.receiver.vih})
			} else if p.in {
				all = append(all, threshold{i, p.receiver.middle})
			}
			if p.timing {
				for _, v := range s.timer.thresholds(p.pin) {
					all = append(all, threshold{i, v})
				}
			}
		}
	}
	return all, from
}

// crossing gives the part of a step after which the first threshold is reached; 1 if none is.
func crossing(thresholds []threshold, from []float64, nodes []node) float64 {
	first := 1.0
	for _, t := range thresholds {
		a, b := from[t.node], nodes[t.node].volts
		if a != b && (a < t.volts) != (b < t.volts) {
			first = min(first, max(0, (t.volts-a)/(b-a)))
		}
	}
	return first
}

// timed reports whether anything at the socket changes as time passes, apart from late outputs.
func (s *Socket) timed() bool { return len(s.clips.capacitors) > 0 || s.timer != nil }

// time is the time of the model, by the socket's clock.
func (s *Socket) time() time.Duration {
	if s.timed() {
		return s.passed
	}
	return s.clock()
}

// passTo lets time pass in the model.
func (s *Socket) passTo(now time.Duration) {
	for s.passed < now {
		s.advance(now)
	}
}

// advance lets some of the time up to the end pass, and reports whether anything reads otherwise
// since.
func (s *Socket) advance(end time.Duration) (changed bool) {
	h := end - s.passed
	if s.timer != nil && s.powered {
		if at, ok := s.timer.next(); ok {
			h = max(1, min(h, at-s.passed))
		}
	}
	high, outputs := s.high, s.outputs
	if len(s.clips.capacitors) > 0 {
		h = s.step(h)
	}
	s.passed += h
	if !s.powered {
		s.fresh = 0
		return s.high != high
	}
	s.tick()
	for range rounds {
		if !s.dieFollows() {
			break
		}
		s.solveDirty()
	}
	return s.high != high || s.outputs != outputs
}

// Still lets time pass in the model, ahead of the clock, until something may read otherwise, and
// gives how long that is after the clock's time, at most so long. The clock must be moved there
// before the socket is used again.
func (s *Socket) Still(most time.Duration) time.Duration {
	s.arrive()
	now := s.clock()
	end := now + most
	for {
		to := end
		if s.chip != nil && s.chip.late {
			if first := s.firstComing(); first != nil {
				to = min(to, first.coming[0].at)
			}
		}
		if !s.timed() {
			return max(0, to-now)
		}
		if s.passed >= to || s.advance(to) {
			return max(0, s.passed-now)
		}
	}
}

// A timer is a die that knows the time: a monostable, an oscillator. The socket tells it time
// and voltages, and asks what it does at its timing pins.
type timer interface {
	// timing are the pins at which it looks at voltages, or that it charges and discharges.
	timing() []int
	// elements is what it connects to a timing pin now, beside the pin's own input and output.
	elements(pin int) []element
	// thresholds are the voltages at a timing pin at which it may act, V to the board's ground.
	thresholds(pin int) []float64
	// pass gives it the time, and the voltages at its timing pins: after each Settle, when a
	// voltage has reached a threshold, when its time has come, and now and then besides. It
	// reports whether its outputs or its elements changed. Times are those of the socket's clock.
	pass(now time.Duration, volts func(pin int) float64) (changed bool)
	// next is the time at which it changes if nothing else does before; ok is false if it does not.
	next() (at time.Duration, ok bool)
}

// tick tells a die that knows the time what it is, and marks what follows from that.
func (s *Socket) tick() {
	if s.timer == nil || !s.timer.pass(s.time(), s.voltsAtPin) {
		return
	}
	s.given = true
	for _, pin := range s.timer.timing() {
		s.dirty |= s.at(adapter.At(s.chip.position(pin)))
	}
}

// voltsAtPin is the voltage at a pin of the chip, V.
func (s *Socket) voltsAtPin(pin int) float64 { return s.of[s.chip.position(pin)].volts }
