package virtual

import (
	"math"

	"chipassay/vectors/part"
)

// A bipolarStage holds the resistors in the schematic of a family's gate, Ω.
type bipolarStage struct {
	base      float64 // from VCC to an input of one unit load
	splitter  float64 // from VCC to the base of the upper output transistor
	collector float64 // from VCC to its collector
	bleeder   float64 // at the emitter of the first of two upper transistors, to the second's emitter; 0 for one transistor and a diode
	forced    float64 // IOL over the base current of the lower output transistor
}

// bipolarStages, from memory of the data books' schematics. The bleeders of 74H and
// 74S go to ground, which to a first order is a current that the output does not see. The inputs of 74ALS and 74AS are PNP transistors: base is what is left of
// 37 and 10 kΩ to the pin.
var bipolarStages = map[string]bipolarStage{
	//      base    splitter collector bleeder forced
	"74":    {4_000, 1_600, 130, 0, 6},
	"74H":   {2_800, 760, 58, math.Inf(1), 5},
	"74L":   {40_000, 20_000, 500, 0, 12},
	"74S":   {2_800, 900, 55, math.Inf(1), 5},
	"74LS":  {20_000, 8_000, 120, 4_000, 20},
	"74ALS": {75_000, 14_000, 100, 4_000, 20},
	"74AS":  {15_000, 2_000, 40, 2_000, 10},
	"74F":   {10_000, 4_100, 45, 5_000, 15},
	"74BCT": {12_000, 4_000, 40, 4_000, 15},
	"TTL":   {20_000, 4_000, 100, 4_000, 15},  // bipolar memories
	"TIMER": {3_000, 400, 5, math.Inf(1), 20}, // the base is that of RESET, some 0.4 mA; its high is 3.3 V at 100 mA
	"DTL":   {3_750, 2_000, 150, 0, 10},       // above: of the buffer alone, see pullUpOhms
}

// pullUpOhms is the resistor from VCC to an output of a DTL class, Ω; 0 for the buffer, which
// has transistors. From memory of the 930 series' schematics.
var pullUpOhms = map[part.Drive]float64{part.StandardDrive: 6_000, part.BusDrive: 2_000}

// stageOf is the stage of a family as a variety has it.
func (v *Variety) stageOf(f *part.Family, p *part.Pin) bipolarStage {
	s, drive := bipolarStages[f.Name], p.Drive
	if p.Stage == part.ThreeState && s.bleeder != 0 {
		s.bleeder = math.Inf(1) // at the output it would hold the output while the stage is off
	}
	collector := map[part.Drive]float64{part.StandardDrive: 1, part.BufferDrive: 0.77, part.BusDrive: 0.5}[drive]
	splitter := map[part.Drive]float64{part.StandardDrive: 1, part.BufferDrive: 0.4, part.BusDrive: 0.4}[drive]
	s.base *= v.Resistors
	s.bleeder *= v.Resistors
	s.splitter *= v.Resistors * splitter
	s.collector *= v.Resistors * collector
	return s
}

// schottkyClamped reports whether the family's transistors do not saturate.
func schottkyClamped(f *part.Family) bool {
	return f.Technology == part.TTLDiode || f.Name == "74S"
}

// inputOf is the current out of a low bipolar input: the current of its base resistor,
// until at the level where the input floats the next stages take it all. A high
// multi-emitter input takes a little, as an inverse transistor does. Every input is
// assumed to have its own base resistor, as unit loads are counted; in reality two low
// inputs of one gate share it. A MOS input takes no current.
func (v *Variety) inputOf(f *part.Family, p *part.Pin) element {
	switch {
	case f.Technology == part.Darlington:
		return v.darlingtonInput(f, p).behind(v.Bond)
	case p.Receiver:
		return resistorTo(atGround, receiverOhms*v.Resistors+v.Bond)
	}
	if !f.Technology.Bipolar() || p.LoadIn(f) == 0 {
		return element{}
	}
	base := v.stageOf(f, p).base / p.LoadIn(f)
	most := (curveSupply - 1) / v.stageOf(f, p).splitter
	points := v.diodeInput(base, most, 2, schottky)
	switch f.Technology {
	case part.TTL:
		points = v.emitterInput(base, most)
	case part.DTL: // an emitter follower, a diode and the output transistor
		points = v.diodeInput(base, most, 3, emitter)
	}
	return drawn(rising(points), atGround).following(ohmic, 0.9).behind(v.Bond)
}

// receiverOhms is what a line receiver's input has to ground, Ω: EIA-232 asks for 3 to 7 kΩ,
// and receivers of balanced lines have more.
const receiverOhms = 5_000

// nextAmps is the emitter current of the next stage for a current into its base, A: its
// gain times as much, but no more than its collector resistor allows.
func (v *Variety) nextAmps(base, most float64) float64 {
	return base + v.Beta*base*most/(v.Beta*base+most)
}

// baseAmps is the current into a base with which its emitter carries a current, A.
func (v *Variety) baseAmps(emitter, most float64) float64 {
	b := most + v.Beta*most - v.Beta*emitter
	return (math.Sqrt(b*b+4*v.Beta*emitter*most) - b) / 2 / v.Beta
}

// diodeInput is a diode of a saturation current from a base resistor, which two junctions or
// three take over: of transistors hardly larger than small ones.
func (v *Variety) diodeInput(base, most, junctions, diode float64) (points []point) {
	for inside := 0.0; ; inside += 0.005 { // V at the base
		out := (curveSupply-inside)/base - v.baseAmps(1.55*v.saturation(emitter)*math.Exp(inside/junctions/thermalVolts), most)
		if out < 0 {
			return append(points, point{inside, 0}, point{inside + 3, 0})
		}
		points = append(points, point{inside - drop(out, v.saturation(diode)), out})
	}
}

// emitterInput is an emitter of a transistor, after Ebers and Moll, whose collector
// is at two junctions and whose base is at a resistor from VCC.
//
// What its two junctions would carry by themselves is forward, to the emitter, and
// reverse, to the collector; their ratio says where the transistor is: at 1 and
// 1 / inverse gain the emitter's current ends and the collector's.
func (v *Variety) emitterInput(base, most float64) (points []point) {
	ratio := 1 + 1/v.InverseBeta // of forward to reverse, with nothing left for the collector
	for left := 1e-13; left < 1; left *= 2 {
		points = append(points, v.emitterAt(base, most, ratio*(1-left), ratio*left))
	}
	for r := 1.0; r > 1e-6; r /= 2 {
		points = append(points, v.emitterAt(base, most, r, ratio-r))
	}
	last := points[len(points)-1]
	return append(points, point{last.volts + 4, last.amps})
}

// emitterAt gives the voltage at the emitter and the current out of it when forward
// and the collector's current are some multiples of reverse.
func (v *Variety) emitterAt(base, most, forward, collector float64) point {
	saturation := v.saturation(emitter)
	volts := func(reverse float64) (inside float64) {
		onward := v.nextAmps(collector*reverse, most) / 2.8 // one small transistor and, behind it, one as large as eight
		return thermalVolts * (2*math.Log(onward/saturation) + math.Log(reverse/saturation))
	}
	share := forward/v.Beta + 1/v.InverseBeta // of reverse: the base current
	reverse := curveSupply / base / share
	for range 20 { // Newton's method on its logarithm, from above
		short := (curveSupply-volts(reverse))/base - share*reverse
		by := short / (3*thermalVolts/base + share*reverse)
		reverse *= math.Exp(by)
		if math.Abs(by) < 1e-9 {
			break
		}
	}
	return point{
		volts(reverse) - thermalVolts*math.Log(forward*reverse/saturation),
		(forward*(1+1/v.Beta) - 1) * reverse,
	}
}

// A Darlington driver's resistors, Ω: from the pin to the first base, for one unit load, and
// from both bases to their emitters (ULN2003A data sheet's schematic, from memory).
const (
	intoBase = 2_700
	ofBases  = 7_200 + 3_000
)

// conducting, V, is at a Darlington's first base where it begins to conduct, two junctions.
const conducting = 1.25

// darlingtonInput is the resistor into a base, and what bleeds the bases to ground.
func (v *Variety) darlingtonInput(f *part.Family, p *part.Pin) element {
	series := intoBase / p.LoadIn(f) * v.Resistors
	bled := (series + ofBases*v.Resistors)
	knee := conducting * bled / ofBases / v.Resistors // V at the pin
	at := -knee / bled
	return drawn(rising([]point{{-1, 1 / bled}, {0, 0}, {knee, at}, {knee + 10, at - 10/series}}), atGround)
}

// darlingtonLow is a Darlington pair: its second transistor's base-emitter voltage and the
// first one's saturation, and 1.5 Ω. It carries 350 mA (ULN2003A, typical, from memory).
func (v *Variety) darlingtonLow() element {
	points := []point{{-1, 1e-9}, {0, 0}}
	for amps := 1e-6; amps < 0.35; amps *= 1.5 {
		points = append(points, point{0.70 + v.Junctions + thermalVolts*math.Log(amps/1e-3) + 1.5*amps, -amps})
	}
	return drawn(rising(append(points, point{7, -0.4})), atGround)
}

// rising draws a curve through points, leaving out those that do not go up and down.
func rising(points []point) *curve {
	kept := points[:1]
	for _, p := range points[1:] {
		if last := kept[len(kept)-1]; p.volts > last.volts && p.amps <= last.amps {
			kept = append(kept, p)
		}
	}
	return through(kept)
}

// outputsOf gives a pin's output when it is low and when it is high.
func (v *Variety) outputsOf(f *part.Family, p *part.Pin) (low, high element) {
	if f.Technology == part.Darlington {
		low = v.darlingtonLow()
	} else if f.Technology.Bipolar() {
		low, high = v.bipolarLow(f, p), v.bipolarHigh(f, p)
	} else {
		low, high = v.mosLow(f, p), v.mosHigh(f, p)
	}
	switch p.Stage {
	case part.OpenCollector:
		high = element{}
	case part.OpenEmitter:
		low = element{}
	}
	return low.behind(v.Bond), high.behind(v.Bond)
}

// inverseGain is that of a saturated output transistor, which sets its offset.
const inverseGain = 0.1

// bipolarLow is a saturated transistor, after Ebers and Moll, or one that a
// Schottky diode from its base keeps from saturating, with 0.12 V of collector
// resistance at IOL, and half of that there. It comes out of saturation at its gain times
// its base current.
func (v *Variety) bipolarLow(f *part.Family, p *part.Pin) element {
	iol := f.Output[p.Drive].IOL / 1000
	stage := v.stageOf(f, p)
	base := iol / stage.forced / v.Resistors
	beta := max(v.Beta, 1.3*stage.forced*v.Resistors) // a weaker one would not meet its data sheet
	collector, area := 0.12/iol, iol*1000             // the output transistor is one small transistor a milliampere
	if schottkyClamped(f) {
		collector /= 2
	}
	var points []point
	add := func(amps float64) { // out of the node
		volts := 0.0
		if schottkyClamped(f) {
			clamp := max(0, (base-amps/beta)/(1+1/beta))
			volts = drop(amps+clamp, v.saturation(emitter)*area*1.5) - drop(clamp, v.saturation(schottky)*area/6)
		} else {
			forced := amps / base
			volts = thermalVolts * math.Log((1+(1+forced)/inverseGain)/(1-forced/beta))
		}
		points = append(points, point{volts + amps*collector, -amps})
	}
	for share := -0.95; share < 0.04; share += 0.05 {
		add(share * base)
	}
	for share := 0.05; share < 1; share += 0.01 {
		add(share * beta * base)
	}
	for _, left := range decades(0.01) {
		add((1 - left) * beta * base)
	}
	limit := beta * base
	points = append(points, point{7, -limit * 1.05})
	return drawn(rising(points), atGround).following(ohmic, 0.9)
}

// upperOhms, Ω, is the series resistance of the upper transistor and its diode.
const upperOhms = 12

// bipolarHigh is an emitter follower: one transistor and a diode, or two transistors, below
// VCC, less the drop of its base current in the splitter's resistor, until only the
// collector resistor limits the current.
func (v *Variety) bipolarHigh(f *part.Family, p *part.Pin) element {
	if ohms := pullUpOhms[p.Drive]; f.Technology == part.DTL && ohms != 0 {
		return resistorTo(atSupply, ohms*v.Resistors)
	}
	s, saturation := v.stageOf(f, p), v.saturation(emitter)
	s.collector += upperOhms
	var points []point
	for _, i := range decades(0.5) {
		// Base current, and the voltage across the bleeder, which is what is below the first transistor.
		first, second := i, drop(i, saturation)
		if s.bleeder != 0 {
			second = bleeding(i, s.bleeder, v.Beta, saturation)
			first = min(i, second/s.bleeder) + max(0, i-second/s.bleeder)/(v.Beta+1)
			if math.IsInf(s.bleeder, 1) {
				first += 0.001
			}
		}
		below := first/(v.Beta+1)*s.splitter + drop(first, saturation) + second
		// The collector's resistor beside that of the splitter, once the transistor saturates.
		left := (i + 0.1/s.collector + 0.75/s.splitter) / (1/s.collector + 1/s.splitter)
		points = append(points, point{-max(below, left+second), i})
	}
	points = append(points, point{0, 0}, point{2, 0})
	return drawn(rising(points), atSupply)
}

// bleeding is the voltage across the bleeder at which it and the second transistor's
// emitter together carry a current.
func bleeding(amps, bleeder, beta, saturation float64) float64 {
	low, high := 0.0, 1.2
	for range 50 {
		middle := (low + high) / 2
		if middle/bleeder+saturation*math.Expm1(middle/thermalVolts) < amps {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}

// mosThreshold, V, of output transistors: metal gates, then silicon gates.
func (v *Variety) mosThreshold(f *part.Family) float64 {
	switch {
	case f.Series4000(), f.Name == "74C":
		return 1.5
	case f.Technology == part.NMOS && v.Substrate == Pumped:
		return 2.1
	case f.Technology == part.NMOS:
		return 1.0
	}
	return 0.8
}

// mosLow is an N-channel transistor with its gate at VCC that at small currents has
// half the resistance that the data sheet allows.
func (v *Variety) mosLow(f *part.Family, p *part.Pin) element {
	class, threshold := f.Output[p.Drive], v.mosThreshold(f)
	siemens := v.Strength * 2 * class.IOL / 1000 / class.VOL
	return drawn(channel(siemens, curveSupply-threshold), atGround).following(square, threshold)
}

// typicalA is the current of a typical output of the A series over the least that its sheet
// allows: 0.5 mA over 0.12 mA (CD4012C, National, DC electrical characteristics, read).
const typicalA = 4

// mosHigh is a P-channel transistor, of the 4000 series by its own limit and else
// about as strong as the lower one, or the follower of an NMOS output.
func (v *Variety) mosHigh(f *part.Family, p *part.Pin) element {
	class, threshold := f.Output[p.Drive], v.mosThreshold(f)
	if f.Technology == part.NMOS {
		return v.follower(class)
	}
	siemens := v.Strength * 2 * class.IOL / 1000 / class.VOL
	switch {
	case f.Name == "4000A": // its limit is that of a transistor that is no longer a resistance
		drop, overdrive := curveSupply-class.VOH, curveSupply-threshold
		siemens = v.Strength * typicalA * class.IOH / 1000 / (drop - drop*drop/2/overdrive)
	case f.Series4000():
		siemens = v.Strength * 2 * class.IOH / 1000 / (curveSupply - class.VOH)
	}
	return drawn(turned(channel(siemens, curveSupply-threshold)), atSupply).following(square, threshold)
}

// channel is a MOS transistor from a node to ground by the square law: a resistance
// at small voltages, a current from its overdrive on, V.
func channel(siemens, overdrive float64) *curve {
	var points []point
	for x := -1.0; x < overdrive; x += 0.05 {
		points = append(points, point{x, -siemens * (x - x*x/2/overdrive)})
	}
	full := -siemens * overdrive / 2
	return rising(append(points, point{overdrive, full}, point{7, full * 1.03}))
}

// bodyEffect, V to a half, by which an NMOS follower's threshold rises with its
// output, twice the Fermi potential, V, and how far a pump draws the substrate down.
const (
	bodyEffect  = 0.8
	twoPhi      = 0.6
	pumpedVolts = 3
)

// above gives how far below VCC an NMOS follower's output stays at a voltage of it, with no current.
func (v *Variety) above(volts float64) float64 {
	phi := twoPhi
	if v.Substrate == Pumped {
		phi += pumpedVolts
	}
	return v.PullUpVolts + bodyEffect*(math.Sqrt(phi+max(0, volts))-math.Sqrt(phi+3))
}

// strengthOf is an NMOS follower's, A/V²: with VOH at 4.75 V it gives 1.6 times IOH.
func (v *Variety) strengthOf(class part.OutputLimits) float64 {
	over := max(0.4, 4.75-v.above(class.VOH)-class.VOH)
	return v.Strength * 1.6 * class.IOH / 1000 / (over * over)
}

// follower is the upper transistor of an NMOS output: an enhancement transistor with
// its gate at VCC.
func (v *Variety) follower(class part.OutputLimits) element {
	strength := v.strengthOf(class)
	var points []point
	for volts := 0.0; volts < curveSupply; volts += 0.05 {
		over := max(0, curveSupply-v.above(volts)-volts)
		points = append(points, point{volts - curveSupply, strength * over * over})
	}
	return drawn(rising(points), atSupply)
}
