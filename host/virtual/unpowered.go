package virtual

import (
	"math"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// How chips answer before power: fifty varieties of each kind in this model at rails of 4.5 to 5.25 V
// (TestVarietiesBeforePower), checked in ngspice where there is a transistor-level model. Volts.
//
//	                                   TTL          TTL without  LS, ALS      4000, 74C    4049         HC, HCT      NMOS         NMOS,
//	                                                clamps       AS, F                                               grounded     pumped
//	drop from ground to supply         0.46-0.54    0.46-0.54    0.45-0.53    0.45-0.53    0.45-0.53    0.45-0.53    0.45-0.53    4.4-5.2: none
//	how much more the other way        1.3 or more  1.3 or more  1.2 or more  3.6 or more  3.5 or more  3.6 or more  0.7 or more  (0.2-0.9 in all)
//	inputs in the contact test         3.0-4.0      3.0-4.0      3.2-4.2      2.7-3.9      2.7-3.9      3.1-3.9      3.0-3.8      0.00: no answer
//	outputs in the contact test        3.1-4.1      3.1-4.1      3.2-3.9      3.2-3.9      3.2-3.9      3.2-3.9      3.1-3.8      2.4-3.4
//	a low pin in the test for shorts   0.00         0.00         0.00         0.00         0.00         0.00         0.00         0.00
//	a high input over the supply pin   all of bias  all of bias  all of bias  0.60-1.5     all of bias  0.60-0.84    all of bias  all of bias
//	a high output over the supply pin  all of bias  all of bias  0.8, or all  0.60-0.68    0.02-0.68 *  0.60-0.68    all of bias  all of bias
//	the supply pin at the soft start   3.1-4.8      3.1-4.8      3.7-4.8      4.2-5.2      4.1-4.8      4.2-4.9      1.6-1.9      1.4-1.7
//	the same, turned                   0.63-0.81    0.63-0.81    0.63-0.81    0.63-0.81    0.63-0.81    0.63-0.81    0.63-0.81    4.4-5.2
//
// * An input of a 4049 has no diode to VCC, and is the gate of the transistor that draws its output low:
// biased high it turns that on, without any supply, and the output's bias stands at 0.02 to 0.1 V. That is no
// short. An inverter whose input is biased low shows its diode, 0.60 to 0.68 V.
//
// A CMOS part works at the soft start: its outputs drive, following its inputs.

// The junctions of dies. Saturation currents give the usual drops at 1 mA: 0.65 V
// for a clamp or an isolation junction, 0.77 V for a small transistor's emitter,
// 0.45 V for a Schottky diode, and 0.52 V for the substrate diode, which is as large
// as the die (handbooks, from memory); the resistances are those of small pads.
const (
	silicon   = 1e-14 // A
	emitter   = 1e-16 // A
	schottky  = 3e-11 // A
	substrate = 2e-12 // A
	// of a small tub, 1e-15 A, with the 0.15 V of its transistor in saturation
	saturatedTub = 3e-18 // A
	padOhms      = 20
	tubOhms      = 2 // of the substrate diode
)

// A branch leads current between two nodes of an unpowered chip: a resistor,
// junctions in series with one, or a curve. A valve conducts under the control of an input.
// One with a collector is a transistor: its base is at from, its emitter at to, and through
// the substrate's junction, from collector to its tub, it takes gain times the current of
// its branch.
type branch struct {
	from, to   int
	ohms       float64
	junctions  float64 // in series, 0 for a resistor
	saturation float64 // A, of a junction
	curve      *curve  // of the voltage between the ends, falling as an element's does; nil for none
	scale      float64 // what the curve's currents are multiplied by, 0 for 1
	stretch    float64 // and its voltages
	gain       float64 // of a transistor; 0 for none
	collector  int
	control    int                                 // of a valve: the node of an input without whose voltage over ground nothing flows
	opening    float64                             // V over ground at which a valve is half open; 0 for none
	upper      int                                 // the pin whose upper output transistor it is, 0 for none
	off        bool                                // at present
	last       struct{ across, junctions float64 } // V, of a junction: where its last search ended
}

// at gives the current from one end to the other, A, with v volts between them,
// and its slope, S. A junction follows Shockley's equation.
func (b *branch) at(v float64) (amps, slope float64) {
	switch {
	case b.curve != nil:
		if b.scale == 0 {
			amps, slope = b.curve.at(-v)
		} else {
			amps, slope = b.curve.at(-v / b.stretch)
			amps, slope = amps*b.scale, slope*b.scale/b.stretch
		}
		return amps + v*leak, slope + leak
	case b.junctions == 0:
		return v / b.ohms, 1 / b.ohms
	case v <= 0:
		return v * leak, leak
	}
	// Newton's method on the voltage of the junctions alone, from the side where
	// the curve is steep, comes down to the answer without a detour. From where the last search
	// ended close by it is there at once. The last step is off by its square over volts.
	volts := b.junctions * thermalVolts
	u := b.last.junctions
	if math.Abs(v-b.last.across) > volts || u == 0 {
		u = min(v, volts*math.Log1p(v/(b.ohms*b.saturation)))
	}
	for range 30 {
		flow := b.saturation * math.Exp(u/volts)
		step := (flow - b.saturation - (v-u)/b.ohms) / (flow/volts + 1/b.ohms)
		u -= step
		if math.Abs(step) < 1e-7 {
			break
		}
	}
	b.last.across, b.last.junctions = v, u
	amps = (v - u) / b.ohms
	return amps + v*leak, 1/(b.ohms+volts/(amps+b.saturation)) + leak
}

// collected gives the current from a transistor's collector to its emitter, A, with
// base and collector at some voltages above the emitter, and its slopes by both, S.
func (b *branch) collected(base, collector float64) (amps, byBase, byCollector float64) {
	drive, s1 := b.at(base)
	tub := branch{ohms: 2 * padOhms, junctions: 1, saturation: saturatedTub}
	most, s2 := tub.at(collector)
	drive, s1 = drive*b.gain, s1*b.gain
	if drive <= 0 || most <= 0 {
		return 0, 0, 0
	}
	share := most / (drive + most)
	return drive * share, s1 * share * share, s2 * (1 - share) * (1 - share)
}

// valve gives the current of a branch from VCC to ground that an input lets through, A, and
// its slopes by the voltage between its ends and by the input's over ground, S. An input of a
// bipolar part that is low keeps its stages from conducting.
func (b *branch) valve(across, input float64) (amps, byAcross, byInput float64) {
	full, slope := b.at(across)
	if full <= 0 {
		return full, slope, 0
	}
	open := math.Exp(min(40, (input-b.opening)/(2*thermalVolts)))
	share := open / (1 + open)
	return full * share, slope * share, full * share * (1 - share) / (2 * thermalVolts)
}

// opens gives what an input's voltage over ground is at half its die's current, V: its threshold.
func opens(f *part.Family) float64 {
	if f.Technology == part.TTLDiode {
		return 1.05
	}
	return 1.3
}

// valves is a bipolar die's current at rest, each input's share of it a valve.
func (c *Chip) valves(node func(*pad) int, vcc, gnd int) (valves []branch) {
	inputs := 0.0
	for i := range c.pads {
		if c.pads[i].in {
			inputs++
		}
	}
	for i := range c.pads {
		if p := &c.pads[i]; p.in {
			b := c.rest(vcc, gnd)
			b.ohms *= inputs
			if p.bonded {
				b.control, b.opening = node(p), opens(c.Type.Family)
			}
			valves = append(valves, b)
		}
	}
	return valves
}

// rest is what a die has between supply and ground besides the substrate diode: its current
// at rest. A bipolar die conducts once its stages do: three
// junctions in standard TTL, two in the families with diode inputs. An N-channel die
// conducts from the threshold of its lower transistors on, and then as its depletion
// loads allow, which saturate from some 2.7 V on. A CMOS die hardly conducts, and not below
// a threshold or two.
func (c *Chip) rest(vcc, gnd int) branch {
	f := c.Type.Family
	amps := typicalICC[f.Name] / 1000 * c.variety.Supply
	switch {
	case f.Technology.Bipolar():
		stages := 3.0
		if f.Technology == part.TTLDiode {
			stages = 2
		}
		ohms := (curveSupply - stages*0.7) / amps
		return branch{from: vcc, to: gnd, ohms: ohms, junctions: stages, saturation: c.variety.saturation(silicon)}
	case f.Technology == part.NMOS:
		return branch{from: vcc, to: gnd, curve: depletion(amps, 1-0.2*float64(c.variety.Substrate))}
	}
	return branch{from: vcc, to: gnd, curve: complementary(amps)}
}

// complementary is the current of a CMOS die that takes some amperes at 5 V: none
// below the thresholds of both kinds of its transistors together, 1.4 V.
func complementary(amps float64) *curve {
	const both = 1.4 // V
	return rising([]point{{-7, amps * (7 - both) / (curveSupply - both)}, {-both, 0}, {2, 0}})
}

// depletion is the current of an N-channel die that takes some amperes at 5 V; lower, V, is
// the threshold of its lower transistors, and pinchOff that of its loads.
func depletion(amps, lower float64) *curve {
	const pinchOff = 2.7 // V
	points := []point{{-7, amps * 1.1}}
	for v := 5.0; v > 0; v -= 0.05 {
		load := 1 - math.Pow(max(0, 1-v/pinchOff), 2)
		driver := 0.85 * math.Pow(max(0, v-lower), 2)
		points = append(points, point{-v, amps * min(load, driver) * (0.95 + v/100)})
	}
	return rising(append(points, point{0, 0}, point{2, 0}))
}

// dieBranches is what an unpowered die has between its supply and its ground. The
// substrate, which is at ground, makes a diode to everything that is at VCC.
func (c *Chip) dieBranches(node func(*pad) int, vcc, gnd int) (branches []branch) {
	if c.Type.Family.Technology.Bipolar() {
		branches = c.valves(node, vcc, gnd)
	}
	if len(branches) == 0 {
		branches = append(branches, c.rest(vcc, gnd))
	}
	if c.extra > 0 {
		branches = append(branches, branch{from: vcc, to: gnd, ohms: curveSupply / c.extra})
	}
	if c.Type.Family.Technology == part.NMOS && c.variety.Substrate == Pumped {
		return branches
	}
	return append(branches, branch{
		from: gnd, to: vcc, ohms: tubOhms + 2*c.variety.Bond, junctions: 1, saturation: c.variety.saturation(substrate),
	})
}

// padBranches is what an unpowered die has at a pad, which is at a node.
//
// From ground to the pad leads an input's clamp diode, or the diode between an
// output's lower transistor and the substrate. In bipolar parts VCC leads to an
// input through its base resistor, and to an output through the upper transistor
// and its diode; in CMOS parts the pad leads to VCC through a diode, in NMOS parts
// nowhere, because all of their transistors are in the substrate. Of pins for external parts
// nothing is known except that the substrate is below them.
//
// A stuck input or output changes none of the pad's junctions and does not show.
func (c *Chip) padBranches(p *pad, node, vcc, gnd int) (branches []branch) {
	f, pin, v := c.Type.Family, &c.Type.Variant.Pins[p.pin-1], &c.variety
	if p.below.there() {
		branches = append(branches, branch{from: gnd, to: node, ohms: p.ohms, junctions: 1, saturation: c.belowSaturation(p)})
	}
	if p.above.there() {
		branches = append(branches, branch{from: node, to: vcc, ohms: p.ohms, junctions: 1, saturation: v.saturation(silicon)})
	}
	if p.leakage.siemens != 0 {
		branches = append(branches, branch{from: node, to: gnd, ohms: 1 / p.leakage.siemens})
	}
	if f.Technology == part.NMOS && p.out && p.high.there() && p.stuck == logic.X {
		branches = append(branches, branch{from: vcc, to: node, curve: v.unpoweredFollower(f.Output[pin.Drive]), upper: p.pin})
	}
	if f.Technology == part.Darlington {
		return append(branches, c.darlingtonBranches(p, node, vcc, gnd)...)
	}
	if !f.Technology.Bipolar() {
		return branches
	}
	stage := v.stageOf(f, pin)
	if pin.Receiver {
		branches = append(branches, branch{from: gnd, to: node, ohms: 1 / p.input.siemens})
	} else if p.in {
		in := branch{from: vcc, to: node, ohms: stage.base / max(pin.LoadIn(f), 0.25), junctions: 1, saturation: v.saturation(emitter)}
		if f.Technology == part.TTLDiode {
			in.saturation = v.saturation(schottky)
		} else if f.Technology == part.TTL {
			in.gain, in.collector = v.Beta, gnd
		}
		branches = append(branches, in)
	}
	if p.pullUp.siemens != 0 {
		branches = append(branches, branch{from: vcc, to: node, ohms: 1 / p.pullUp.siemens})
	}
	if p.out && p.high.siemens != 0 && p.stuck == logic.X { // a DTL output's resistor
		return append(branches, branch{from: vcc, to: node, ohms: 1 / p.high.siemens, upper: p.pin})
	}
	if p.out && p.high.there() && p.stuck == logic.X {
		branches = append(branches, branch{
			from: vcc, to: node, ohms: stage.collector + stage.splitter/v.Beta, junctions: 2, saturation: v.saturation(emitter),
			upper: p.pin,
		})
		if stage.bleeder > 0 && !math.IsInf(stage.bleeder, 1) {
			branches = append(branches, v.intoStage(stage, pin, node, vcc)...)
		}
	}
	return branches
}

// punchedOhms is a Darlington driver's output that is stuck, Ω: less would be a short, which
// shows before power.
const punchedOhms = 300

// darlingtonBranches is what a Darlington driver has at a pad all the time: an input's
// resistors, and a dead output transistor. One that works is there while its input is high.
func (c *Chip) darlingtonBranches(p *pad, node, vcc, gnd int) (branches []branch) {
	if p.in {
		branches = append(branches, branch{from: gnd, to: node, curve: p.input.curve})
	}
	if p.out && p.stuck != logic.X {
		rail := gnd
		if p.stuck == logic.One {
			rail = vcc
		}
		branches = append(branches, branch{from: rail, to: node, ohms: punchedOhms})
	}
	return branches
}

// intoStage is the path from an output that is held above VCC into its upper transistors:
// the bleeder and a base's junction, and of a gate the two Schottky diodes
// that discharge the splitter's collector and keep the first from saturating.
func (v *Variety) intoStage(s bipolarStage, pin *part.Pin, node, vcc int) []branch {
	in := []branch{{from: node, to: vcc, ohms: s.bleeder + s.collector, junctions: 1, saturation: v.saturation(emitter)}}
	if pin.Drive == part.StandardDrive {
		in = append(in, branch{from: node, to: vcc, ohms: s.collector, junctions: 2, saturation: v.saturation(schottky)})
	}
	return in
}

// unpoweredFollower is an NMOS output's upper transistor while its source is near the
// substrate: with ground and supply at one voltage nothing holds its gate low.
func (v *Variety) unpoweredFollower(class part.OutputLimits) *curve {
	strength, threshold := v.strengthOf(class), v.above(0)
	var points []point
	for volts := -6.0; volts < 0; volts += 0.05 {
		over := max(0, -volts-threshold)
		points = append(points, point{volts, strength * over * over})
	}
	return rising(append(points, point{0, 0}, point{2, 0}))
}

// belowSaturation is that of the junction below a pad.
func (c *Chip) belowSaturation(p *pad) float64 {
	if c.Type.Family.Technology == part.TTLDiode && p.in {
		return c.variety.saturation(schottky)
	}
	return c.variety.saturation(silicon)
}

// protect gives a pad the junctions of its kind of chip.
func (c *Chip) protect(p *pad) {
	f, v, role := c.Type.Family, &c.variety, c.role(p.pin)
	if role == part.Supply || role == part.Ground || role == part.NoConnect {
		return
	}
	onlyIn, mos := p.in && !p.out, !f.Technology.Bipolar()
	p.ohms = padOhms + v.Bond
	if mos && onlyIn {
		p.ohms += v.Before
	}
	below, above := true, f.Technology == part.CMOS || f.Technology == part.CMOSTTL
	switch stage := c.Type.Variant.Pins[p.pin-1].Stage; {
	case f.Technology == part.Darlington:
		above = p.out // the diode to the common
	case p.in && c.Type.Variant.Pins[p.pin-1].Receiver:
		below = false
	case onlyIn && !mos:
		below = v.Clamps
	case f.Technology == part.NMOS:
		below = v.Substrate == Grounded
	case onlyIn:
		above = above && v.UpperDiodes
	case above && stage == part.OpenCollector: // an N-channel drain alone
		above = false
	case above && stage == part.OpenEmitter: // a P-channel drain alone
		below = false
	case !p.in && !p.out:
		above = false
	}
	if below {
		p.below = drawn(junctionBelow(c.belowSaturation(p), p.ohms), atGround)
	}
	if above {
		p.above = drawn(junctionAbove(v.saturation(silicon), p.ohms), atSupply)
	}
}
