package virtual

import (
	"math"

	"chipassay/vectors/part"
)

// A rail is a supply node of the die.
type rail uint8

// The rails: an element's current comes from its rail, and its voltage follows it. Free
// elements follow none.
const (
	free rail = iota
	atGround
	atSupply
)

// A law is how an element's current depends on the die's supply.
type law uint8

// The laws: not at all; in proportion to the supply above a threshold, as through a
// resistor from it; or as a MOS transistor whose gate is at the supply does.
const (
	constant law = iota
	ohmic
	square
)

// An element is a voltage behind a resistance at a node, a first-order model of what is
// connected to it, or a curve: a source, a sink, or both, up to a current limit.
type element struct {
	volts   float64 // open circuit, or where the curve's zero is, V
	siemens float64 // 0 where there is no resistance
	source  bool    // lets current into the node when the node is lower
	sink    bool    // takes current from the node when the node is higher
	limit   float64 // A either way

	curve         *curve // nil where there is none
	gain, stretch float64
	threshold     float64 // V, for the law
	rail          rail
	law           law
}

// leak, S, is the conductance of an element that blocks or is at its limit. It gives every
// node a unique solution and moves none by more than microvolts.
const leak = 1e-9

// at gives the current into a node at v volts, A, and its slope, S.
func (e *element) at(v float64) (amps, slope float64) {
	if e.curve != nil {
		amps, slope = e.curve.at((v - e.volts) / e.stretch)
		return amps*e.gain + (e.volts-v)*leak, slope*e.gain/e.stretch + leak
	}
	i := (e.volts - v) * e.siemens
	switch {
	case i > 0 && !e.source, i < 0 && !e.sink:
		return (e.volts - v) * leak, leak
	case i > e.limit:
		return e.limit + (e.volts-v)*leak, leak
	case i < -e.limit:
		return -e.limit + (e.volts-v)*leak, leak
	}
	return i, e.siemens
}

// there reports whether the element exists.
func (e *element) there() bool { return e.curve != nil || e.siemens != 0 }

// curveSupply is the die's supply, V, for which curves are drawn.
const curveSupply = 5.0

// supplied moves an element to where the die's supply nodes are, V.
func (e *element) supplied(vcc, gnd float64) {
	switch e.rail {
	case atGround:
		e.volts = gnd
	case atSupply:
		e.volts = vcc
	}
	ratio := max(0.01, (vcc-gnd-e.threshold)/(curveSupply-e.threshold))
	switch e.law {
	case ohmic:
		e.gain = ratio
	case square:
		e.gain, e.stretch = ratio*ratio, ratio
	}
}

// drawn is an element that follows a curve.
func drawn(c *curve, from rail) element {
	e := element{curve: c, gain: 1, stretch: 1, rail: from}
	e.supplied(curveSupply, 0)
	return e
}

// following makes an element's current depend on the supply by a law.
func (e element) following(by law, threshold float64) element {
	e.law, e.threshold = by, threshold
	return e
}

// resistor is an element that conducts both ways.
func resistor(volts, ohms float64) element {
	return element{volts: volts, siemens: 1 / ohms, source: true, sink: true, limit: math.Inf(1)}
}

// resistorTo is a resistor to one of the die's supply nodes.
func resistorTo(r rail, ohms float64) element {
	e := resistor(0, ohms)
	e.rail = r
	e.supplied(curveSupply, 0)
	return e
}

// behind is an element behind a series resistance, Ω.
func (e element) behind(ohms float64) element {
	if e.siemens != 0 {
		e.siemens = 1 / (1/e.siemens + ohms)
	}
	e.curve = e.curve.behind(ohms)
	return e
}

// A receiver decides how the die reads a voltage at an input: low below vil, high above
// the threshold's upper end, and unknown between them.
type receiver struct {
	vil, vih     float64 // V, at the die's supply
	lower, upper float64 // V, the same at 5 V and a die's ground of 0 V
	slow         float64 // V, likewise: the one threshold of a voltage that moves slowly, where it is no Schmitt trigger's
	middle       float64 // V, the same at the die's supply
	share        bool    // they are proportional to the supply
	open         bool    // an open input acts as a high
	schmitt      bool    // between the levels it keeps the last one
}

func (r *receiver) supplied(vcc, gnd float64) {
	scale := 1.0
	if r.share {
		scale = (vcc - gnd) / curveSupply
	}
	r.vil, r.vih, r.middle = gnd+r.lower*scale, gnd+r.upper*scale, gnd+r.slow*scale
}

// receiverOf: a TTL input's typical threshold is two junctions, 1.3 V, and from
// there on to the level at which it floats it acts as a high (common practice).
// Data sheets guarantee a low only below 0.8 V over all temperatures; at a bench it is a
// low somewhat above that too, also at a MOS input with TTL levels. Nothing is known of
// other MOS inputs between VIL and VIH. A Schmitt trigger has its part's typical thresholds
// (vectors/part/schmitt.go), for which a bus receiver's own are not known. A voltage that
// moves slowly passes one threshold, amid those of good chips.
func (v *Variety) receiverOf(f *part.Family, number string, p *part.Pin) receiver {
	r := receiver{lower: f.VIL, upper: f.VIH, schmitt: p.Schmitt}
	switch {
	case f.Technology.Bipolar():
		r.lower, r.upper, r.open = 1.0, 1.3, true
	case f.Technology == part.CMOSTTL:
		r.lower = 1.0
	case f.Technology == part.Darlington: // two junctions at the first base
		r.lower, r.upper = 1.2, 1.5
	case f.Technology == part.CMOS:
		r.share = true
	}
	if p.Trip != 0 {
		r.lower, r.upper, r.open, r.share = p.Trip*curveSupply, p.Trip*curveSupply, false, true
		r.slow = r.lower
		r.supplied(curveSupply, 0)
		return r
	}
	if p.Schmitt && !p.Receiver && f.Technology != part.Darlington { // typical: vectors/part/schmitt.go
		r.lower, r.upper, r.share = f.SchmittTypical(number)
	}
	r.open = r.open && !p.Receiver
	if v.Threshold != 0 && !p.Schmitt {
		r.lower, r.upper = v.Threshold, v.Threshold
	}
	if r.slow = (r.lower + r.upper) / 2; r.lower != r.upper {
		low, high := thresholds(f) // of good chips
		r.slow = (low + high) / 2
	}
	r.supplied(curveSupply, 0)
	return r
}

// pullUpOf is the resistor to VCC inside a pin that has one, of the order that
// data sheets draw.
func (v *Variety) pullUpOf(p *part.Pin) element {
	if !p.PullUp {
		return element{}
	}
	e := resistorTo(atSupply, 10_000*v.Resistors+v.Bond)
	e.sink = false
	return e
}

// typicalICC, mA, is the supply current at rest of a small part of each family: quad gates,
// from memory of the data books.
var typicalICC = map[string]float64{
	"74": 12, "74H": 25, "74L": 1.2, "74S": 20, "74LS": 2.4, "74ALS": 1.5, "74AS": 10, "74F": 6.5,
	"74HC": 0.001, "74HCT": 0.001, "74C": 0.001, "4000A": 0.001, "4000B": 0.001, "4000UB": 0.001,
	"74AC": 0.001, "74ACT": 0.001, "74BCT": 15,
	"DTL": 7, "DARLINGTON": 1e-6, "TIMER": 3,
	"TTL": 90, "NMOS": 45, "CMOS": 5, // memories
}
