package virtual

import (
	"math"

	"chipassay/vectors/part"
)

// An element is a voltage behind a resistance at a node, to a first order what
// hangs on it: a source, a sink, or both, up to a limit of current.
type element struct {
	volts   float64 // open circuit, V
	siemens float64 // 0 where there is no element
	source  bool    // lets current into the node when the node is lower
	sink    bool    // takes current from the node when the node is higher
	limit   float64 // A either way
}

// leak, S, stands for what flows where an element blocks or is at its limit. It
// gives every node one solution and moves none by more than microvolts.
const leak = 1e-9

// at gives the current into a node at v volts, A, and its slope, S.
func (e *element) at(v float64) (amps, slope float64) {
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

// resistor is an element that conducts both ways.
func resistor(volts, ohms float64) element {
	return element{volts, 1 / ohms, true, true, math.Inf(1)}
}

// A receiver is what the die takes a voltage at an input for: low below VIL,
// high above the threshold's upper end, and unknown between them.
type receiver struct {
	vil, vih float64 // V
	open     bool    // what an open input acts as is known: high
	schmitt  bool    // between the levels the last level is kept
}

// receiverOf: data sheets promise a low only below VIL. A TTL input's typical
// threshold is two junctions, 1.3 V, and from the level at which it floats on it
// acts as a high (common practice); a MOS input promises nothing below VIH.
func receiverOf(f *part.Family, p *part.Pin) receiver {
	r := receiver{vil: f.VIL, vih: f.VIH, schmitt: p.Schmitt}
	if f.Technology.Bipolar() {
		r.vih, r.open = 1.3, true
	}
	return r
}

// inputOf gives the current that an input sends out when it is held low: the
// data sheet's largest IIL, which is what the adapter has to cope with, up to
// the level at which the input floats: about 1.6 V for a multi-emitter input and
// 1.4 V for a diode input. A MOS input takes no current.
func inputOf(f *part.Family, p *part.Pin) element {
	if !f.Technology.Bipolar() {
		return element{}
	}
	open := 1.4
	if f.Technology == part.TTL {
		open = 1.6
	}
	iil := f.IIL * p.Load / 1000
	return element{volts: open, siemens: iil / 0.1, source: true, limit: iil}
}

// pullUpOf is the resistor to VCC inside a pin that has one, of the order that
// data sheets draw.
func pullUpOf(p *part.Pin) element {
	if !p.PullUp {
		return element{}
	}
	e := resistor(supplyVolts, 10_000)
	e.sink = false
	return e
}

// pullUpResistance, Ω, from an output's typical high of 3.5 V unloaded: what
// stands in the collector of the upper transistor. Schematics of the data
// books, from memory.
var pullUpResistance = map[string]float64{
	"74": 130, "74H": 58, "74L": 500, "74S": 55, "74LS": 120, "74ALS": 100, "74AS": 40, "74F": 45,
}

// outputsOf gives a pin's output when it is low and when it is high.
//
// A bipolar low is a saturated transistor, 0.2 V and half of the rest up to VOL
// at IOL, that lets go at about five times IOL; its high is 3.4 V typical, and
// sources only. A MOS output is a resistance to either supply, half of what the
// data sheet's limit allows.
func outputsOf(f *part.Family, p *part.Pin) (low, high element) {
	standard, class := f.Output[part.StandardDrive], f.Output[p.Drive]
	iol := class.IOL / 1000
	if f.Technology.Bipolar() {
		low = element{volts: 0.2, siemens: 2 * iol / (class.VOL - 0.2), sink: true, limit: 5 * iol}
		scale := max(1, class.IOH/standard.IOH)
		high = element{volts: 3.5, siemens: scale / pullUpResistance[f.Name], source: true, limit: math.Inf(1)}
	} else {
		low = resistor(0, class.VOL/iol/2)
		high = resistor(supplyVolts, class.VOL/iol/2)
	}
	switch p.Stage {
	case part.OpenCollector:
		high = element{}
	case part.OpenEmitter:
		low = element{}
	}
	return low, high
}

// typicalICC, mA, is what a small part of each family takes at rest. From
// memory of the data books' quad gates.
var typicalICC = map[string]float64{
	"74": 12, "74H": 25, "74L": 1.2, "74S": 20, "74LS": 2.4, "74ALS": 1.5, "74AS": 10, "74F": 6.5,
	"74HC": 0.01, "74HCT": 0.01, "74C": 0.01, "4000B": 0.01, "4000UB": 0.01,
}
