package selfcheck

import (
	"fmt"
	"math"

	"chipassay/firmware/carrier"
)

// A Hidden is a defect that changes nothing that the check can read in an empty socket.
type Hidden struct {
	Part  string `json:"part"` // reference, or the nets that touch
	What  string `json:"what"`
	Meter string `json:"meter"` // the reading, or the look, that shows it
}

// Unseen lists what the check cannot find on the whole adapter, with the meter reading
// or the look that shows each: parts that only stand by (capacitors, pull-ups for the
// time of a reset), lamps, and values that matter little.
func Unseen() []Hidden {
	good := carrier.New()
	m := newModel(good)
	readings := meterReadings(good)
	var hidden []Hidden
	for i, shows := range m.shownBy() {
		d := m.defects[i]
		if shows {
			continue
		}
		h := Hidden{Part: d.Ref, What: m.says(d), Meter: readings[d.Ref]}
		switch {
		case d.kind == shorted:
			h.Part = d.NetA + " and " + d.NetB
			h.Meter = fmt.Sprintf("ohms between %s and %s, unplugged: not 0 Ω", m.net(d.NetA), m.net(d.NetB))
		case h.Meter == "":
			h.Meter = "look at it: it is there, the right way round, of the right value"
		}
		hidden = append(hidden, h)
	}
	return hidden
}

// shownBy reports for each defect whether a check sees it on an otherwise good board.
func (m *model) shownBy() []bool {
	var positions, high, low uint32
	for _, l := range lanes {
		p := l.Position
		if m.fittedAt(p) {
			positions |= bit(p)
		}
		if m.switched(p, false) {
			low |= bit(p)
		}
		if m.switched(p, true) {
			high |= bit(p)
		}
	}
	loaded := m.good.Part("U31") != nil
	plan := append(unpowered(positions, loaded), grounded(positions, low, loaded)...)
	m.planned(append(plan, supplied(positions, high, low, loaded)...))
	shown := make([]bool, len(m.defects))
	for i := range shown {
		shown[i] = m.shows(i)
	}
	return shown
}

// meterReadings are what the wire list has one measure at each part.
func meterReadings(n *carrier.Netlist) map[string]string {
	of := map[string]string{}
	for _, s := range n.Wiring() {
		if s.Check == "" || s.About == "" || of[s.About] != "" || s.Check == "then" {
			continue
		}
		if of[s.About] = s.Check + ", " + s.Red + " to " + s.Black + ": " + s.Reads; s.Black == "" {
			of[s.About] = s.Check + " at " + s.Red + ": " + s.Reads
		}
	}
	return of
}

// shows reports whether a defect changes anything that the check reads: it compares with
// what the check may blame on tolerances.
func (m *model) shows(i int) bool {
	d := m.defects[i]
	if d.controls(m.good) && m.fittedWith(i).fields() != fittedOf(m.good, m.good).fields() || d.reference() {
		return true
	}
	if d.kind == shorted && rank(d.NetA)+rank(d.NetB) == 1 && (flickers(d.NetA) || flickers(d.NetB)) {
		return true
	}
	c := m.with(i)
	for _, p := range m.changes[i] {
		l := laneAt[p]
		for k, e := range c.expect(l, m.plan) {
			s := seen{sample: uint32(e.sample.low/(0.5*rail)) << p, current: e.current.low, looked: true}
			if e.sample.level() == 1 {
				s.sample = bit(p)
			}
			for q := range s.volts {
				s.volts[q] = math.NaN()
			}
			s.volts[p] = (e.volts.low + e.volts.high) / 2
			if !e.volts.known() && m.nominal[p][k].volts.known() || len(off(&m.plan[k], &s, p, m.nominal[p][k], true)) > 0 {
				return true
			}
		}
		if m.switched(p, false) && m.switchFound(c, l, false) == 0 || m.switched(p, true) && m.switchFound(c, l, true) == 0 {
			return true
		}
	}
	return false
}

// flickers reports whether a line is that of a lamp, which fights whatever it touches.
func flickers(net string) bool { return net == "PE3" || net == "PE5" || net == "PB7" }

// reference reports whether a defect shows in what the converters make of the reference.
func (d Defect) reference() bool {
	switch d.String() {
	case "U43 missing", "U43 pin 2 open", "U43 pin 3 open", "R831 missing", "GND shorted to REF2V5", "+5V shorted to REF2V5",
		"U41 pin 7 open", "U42 pin 7 open", "U41 pin 8 open", "GND shorted to PE4", "FUSED shorted to SUPPLY":
		return true
	}
	return false
}
