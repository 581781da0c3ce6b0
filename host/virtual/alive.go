package virtual

import (
	"math"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// alive is the state of a chip whose only supply is what reaches its supply pin through
// the adapter's resistors. A CMOS part works on that, and its outputs take all of it.
type alive struct {
	outputs [29]logic.Value // of each pin; released if the chip does not work
	volts   float64         // across the die
	gates   [29]float64     // V at the input that an output's lower transistor follows by itself, see direct
}

// lives gives the least supply, V, at which a die's outputs follow its inputs: a threshold
// or two above ground.
func (c *Chip) lives() float64 {
	switch f := c.Type.Family; {
	case f.Technology == part.Darlington:
		return math.Inf(1)
	case f.Technology.Bipolar():
		return 2.6
	case f.Technology == part.NMOS:
		return 3
	default:
		return 1.3 * c.variety.mosThreshold(f)
	}
}

// direct reports whether an input leads to the gate of an output's transistor and has no
// diode to VCC, as in the inverting level converter. Held high, it turns that transistor
// on without any supply.
func (c *Chip) direct() bool { return c.Type.Part().Number == "4049" }

// enliven takes the voltages that the network gave the die, updates the outputs, and
// reports whether the network must be solved again.
func (s *Socket) enliven() bool {
	w, c := s.network, s.chip
	now := alive{volts: w.volts[w.vcc] - w.volts[w.gnd]}
	switch {
	case now.volts > c.lives():
		s.liveOutputs(&now)
	case c.Type.Variant.Unsupplied:
		s.liveOutputs(&now)
	case c.direct():
		s.directOutputs(&now)
	}
	was := &w.alive
	same := now.outputs == was.outputs
	for pin, v := range now.outputs {
		if v != logic.Z && (math.Abs(now.volts-was.volts) > 0.01 || math.Abs(now.gates[pin]-was.gates[pin]) > 0.01) {
			same = false
		}
	}
	if same {
		return false
	}
	w.alive = now
	s.liveBranches()
	return true
}

// A chip that needs no supply works on its inputs' currents alone: it never counts as powered.

// liveOutputs gives the die the levels at its inputs, by its thresholds at its present
// supply, and reads its outputs.
func (s *Socket) liveOutputs(now *alive) {
	w, c := s.network, s.chip
	for i := range c.pads {
		p := &c.pads[i]
		if !p.in || !p.bonded {
			continue
		}
		r := p.receiver
		r.supplied(w.volts[w.vcc], w.volts[w.gnd])
		level := logic.FromBool(w.volts[s.number(c.position(p.pin))] > (r.vil+r.vih)/2)
		if p.stuck != logic.X {
			level = p.stuck
		}
		c.die.Set(p.pin, logic.Splat(level))
	}
	if m, ok := s.memory(); ok {
		m.supplied = false
	}
	c.die.Settle()
	for i := range c.pads {
		if p := &c.pads[i]; p.out && p.bonded && p.stuck == logic.X {
			now.outputs[p.pin] = c.die.Out(p.pin).Lane(0)
			if now.gates[p.pin] = now.volts; c.Type.Variant.Unsupplied {
				now.gates[p.pin] = curveSupply
			}
		}
	}
}

// directOutputs finds the outputs whose lower transistor an input holds on.
func (s *Socket) directOutputs(now *alive) {
	w, c := s.network, s.chip
	for _, g := range c.Type.Variant.Gates {
		out, volts := 0, 0.0
		for _, pin := range g.Pins {
			if p := &c.pads[pin-1]; p.out && p.bonded {
				out = pin
			} else if p.bonded {
				volts = w.volts[s.number(c.position(pin))] - w.volts[w.gnd]
			}
		}
		if out != 0 && volts > c.variety.mosThreshold(c.Type.Family)+0.1 {
			now.outputs[out], now.gates[out] = logic.Zero, volts
		}
	}
}

// liveBranches replaces the outputs' branches in the network by those of the levels that
// they have: of a live output that is not high the upper transistors are off.
func (s *Socket) liveBranches() {
	w, c := s.network, s.chip
	w.branches = w.branches[:w.fixed]
	living := w.alive.volts > c.lives()
	for i := range w.branches {
		b := &w.branches[i]
		b.off = b.upper != 0 && living && w.alive.outputs[b.upper] != logic.X
	}
	for pin, v := range w.alive.outputs {
		if v != logic.Zero && v != logic.One {
			continue
		}
		p := &c.pads[pin-1]
		e, rail := p.low, w.gnd
		if v == logic.One {
			e, rail = p.high, w.vcc
		}
		if e.curve == nil {
			continue
		}
		e.supplied(w.alive.gates[pin], 0)
		w.branches = append(w.branches, branch{
			from: rail, to: s.number(c.position(pin)), curve: e.curve, scale: e.gain, stretch: e.stretch,
		})
	}
}
