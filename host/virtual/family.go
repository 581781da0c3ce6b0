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
	knee    float64 // V above which a source gives way, until none of its current is left; 0 for none
}

// leak, S, stands for what flows where an element blocks or is at its limit. It
// gives every node one solution and moves none by more than microvolts.
const leak = 1e-9

// at gives the current into a node at v volts, A, and its slope, S.
func (e *element) at(v float64) (amps, slope float64) {
	i := (e.volts - v) * e.siemens
	if e.knee != 0 && v > e.knee {
		return e.way(v)
	}
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

// kneeVolts is how far above its knee a source has given way altogether.
const kneeVolts = 0.1

// way is a source's current beyond its knee, which another path takes over.
func (e *element) way(v float64) (amps, slope float64) {
	if v >= e.knee+kneeVolts {
		return (e.knee + kneeVolts - v) * leak, leak
	}
	full := (e.volts - e.knee) * e.siemens
	return full * (e.knee + kneeVolts - v) / kneeVolts, full / kneeVolts
}

// resistor is an element that conducts both ways.
func resistor(volts, ohms float64) element {
	return element{volts: volts, siemens: 1 / ohms, source: true, sink: true, limit: math.Inf(1)}
}

// behind is an element with a resistance before it, Ω.
func (e element) behind(ohms float64) element {
	if e.siemens != 0 {
		e.siemens = 1 / (1/e.siemens + ohms)
	}
	return e
}

// A receiver is what the die takes a voltage at an input for: low below VIL,
// high above the threshold's upper end, and unknown between them.
type receiver struct {
	vil, vih float64 // V
	open     bool    // what an open input acts as is known: high
	schmitt  bool    // between the levels the last level is kept
}

// receiverOf: a TTL input's typical threshold is two junctions, 1.3 V, and from
// there on to the level at which it floats it acts as a high (common practice).
// Data sheets promise a low only below 0.8 V over all temperatures; at a bench
// it is one a little further up, and so is it for a MOS input with TTL levels. Of
// other MOS inputs nothing is known between VIL and VIH.
func receiverOf(f *part.Family, p *part.Pin) receiver {
	r := receiver{vil: f.VIL, vih: f.VIH, schmitt: p.Schmitt}
	switch {
	case f.Technology.Bipolar():
		r.vil, r.vih, r.open = 1.0, 1.3, true
	case f.Technology == part.CMOSTTL:
		r.vil = 1.0
	}
	return r
}

// inputOf gives the current that a typical input sends out when it is low: what
// its base resistance lets through below a junction, at 0.4 V about six tenths of
// the data sheet's largest IIL. It flows up to the level at which the input
// floats: about 1.6 V for a multi-emitter input and 1.4 V for a diode input. A
// MOS input takes no current.
func inputOf(f *part.Family, p *part.Pin) element {
	if !f.Technology.Bipolar() {
		return element{}
	}
	open, drop := 1.4, 0.3
	if f.Technology == part.TTL {
		open, drop = 1.6, 0.7
	}
	return element{
		volts: supplyVolts - drop, siemens: p.LoadIn(f) / baseResistance[f.Name],
		source: true, limit: math.Inf(1), knee: open - kneeVolts,
	}
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
	"TTL": 100, // of bipolar memories
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
	"TTL": 90, "NMOS": 45, "CMOS": 5, // memories
}
