package virtual

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// The junctions of unpowered dies. Saturation currents give the usual drops at
// 1 mA: 0.65 V for a silicon junction, 0.45 V for a Schottky diode (handbooks,
// from memory); the resistances are those of small pads.
const (
	silicon  = 1e-14 // A
	schottky = 3e-11 // A
	padOhms  = 20
	tubOhms  = 2 // of the die's substrate diode, which is as large as the die
)

// baseResistance, Ω, stands between the supply and an input of one unit load.
// From memory of the data books' schematics; of 74ALS and 74AS, whose inputs are
// PNP transistors, what is left of 37 and 10 kΩ to the pin.
var baseResistance = map[string]float64{
	"74": 4_000, "74H": 2_800, "74L": 40_000, "74S": 2_800, "74LS": 20_000, "74ALS": 75_000, "74AS": 15_000, "74F": 10_000,
	"TTL": 20_000, // of bipolar memories
}

// dieBranches is what an unpowered die has between its supply and its ground.
//
// The substrate, which is at ground, makes a diode to everything that is at
// VCC. The other way a bipolar die conducts once its stages do: three junctions
// in standard TTL, two in the families with diode inputs. A CMOS die does not.
func (c *Chip) dieBranches(vcc, gnd int) []branch {
	f := c.Type.Family
	branches := []branch{{gnd, vcc, tubOhms, 1, silicon}}
	if c.extra > 0 {
		branches = append(branches, branch{from: vcc, to: gnd, ohms: supplyVolts / c.extra})
	}
	if !f.Technology.Bipolar() {
		return branches
	}
	stages := 3.0
	if f.Technology == part.TTLDiode {
		stages = 2
	}
	ohms := (supplyVolts - stages*0.7) / (typicalICC[f.Name] / 1000)
	return append(branches, branch{vcc, gnd, ohms, stages, silicon})
}

// padBranches is what an unpowered die has at a pad, which is at a node.
//
// From ground to the pad leads an input's clamp diode, or the diode between an
// output's lower transistor and the substrate. In bipolar parts VCC leads to an
// input through its base resistor, and to an output through the upper transistor
// and its diode; in CMOS parts the pad leads to VCC through a diode, in NMOS parts
// nowhere, for all of their transistors lie in the substrate. Nothing is
// known of pins for parts outside the chip but that the substrate is below them.
//
// A stuck input or output is none of the pad's junctions and does not show.
func padBranches(t part.Type, p *pad, node, vcc, gnd int) []branch {
	f, pin := t.Family, &t.Variant.Pins[p.pin-1]
	clamp := branch{gnd, node, padOhms, 1, silicon}
	if f.Technology == part.TTLDiode && p.in {
		clamp.saturation = schottky
	}
	branches := []branch{clamp}
	if p.leakage.siemens != 0 {
		branches = append(branches, branch{from: node, to: gnd, ohms: 1 / p.leakage.siemens})
	}
	switch {
	case !p.in && !p.out:
		return branches
	case f.Technology == part.NMOS:
		return branches
	case !f.Technology.Bipolar():
		return append(branches, branch{node, vcc, padOhms, 1, silicon})
	}
	if p.in {
		in := branch{vcc, node, baseResistance[f.Name] / max(pin.LoadIn(f), 0.25), 1, silicon}
		if f.Technology == part.TTLDiode {
			in.saturation = schottky
		}
		branches = append(branches, in)
	}
	if p.pullUp.siemens != 0 {
		branches = append(branches, branch{from: vcc, to: node, ohms: 1 / p.pullUp.siemens})
	}
	if p.out && p.high.siemens != 0 && p.stuck == logic.X {
		branches = append(branches, branch{vcc, node, pullUpResistance[f.Name], 2, silicon})
	}
	return branches
}
