package selfcheck

import (
	"fmt"
	"math"
	"slices"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// The conditions of a socket of which nothing is driven. The level changes from
// each to the next, as far as it can, so that a position which floats and keeps
// its charge is wrong in one of them.
const (
	biasLow = iota
	biasHigh
	loadLow
	loadHigh
	biasOverLoad // bias high, load low: a low level, 1/11 of the supply
	loadOverBias // bias low, load high: 10/11
	conditions
)

// conditionRails are the rails of each condition, and the level that they give.
var conditionRails = [conditions]struct {
	bias, load adapter.Pull
	high       bool
}{
	biasLow:      {adapter.Low, adapter.Off, false},
	biasHigh:     {adapter.High, adapter.Off, true},
	loadLow:      {adapter.Off, adapter.Low, false},
	loadHigh:     {adapter.Off, adapter.High, true},
	biasOverLoad: {adapter.High, adapter.Low, false},
	loadOverBias: {adapter.Low, adapter.High, true},
}

// A released is what a condition showed.
type released struct {
	volts   [adapter.Positions + 1]float64
	wrong   part.Pins // read otherwise than the rails should make it, at least once
	sawHigh part.Pins
	sawLow  part.Pins
}

// look measures every condition once, and looks at its levels several times.
func (c *check) look() error {
	var steps []adapter.MeasureStep
	for round := range rounds {
		for _, r := range conditionRails {
			s := c.step(0, 0, r.bias, r.load)
			if round > 0 {
				s.Pins = 0
			}
			steps = append(steps, s)
		}
	}
	measured, err := c.probe(steps)
	if err != nil {
		return err
	}
	for i, m := range measured {
		r := &c.released[i%conditions]
		if i < conditions {
			r.volts = m.Volts
		}
		r.sawHigh |= m.High & all
		r.sawLow |= all &^ m.High
	}
	for i := range c.released {
		r := &c.released[i]
		if r.wrong = r.sawHigh; conditionRails[i].high {
			r.wrong = r.sawLow
		}
	}
	return nil
}

// median is that of a condition's voltages, V: a few bad positions do not move it.
func (c *check) median(condition int) float64 {
	var volts []float64
	for p := range c.measured.All() {
		volts = append(volts, c.released[condition].volts[p])
	}
	slices.Sort(volts)
	return volts[len(volts)/2]
}

// judgeRails: a level is dead where most positions are wrong, or where the other
// rail, set against it, has it all its own way. 0.45 V and 4.55 V are what the
// two make together.
func (c *check) judgeRails() {
	const one, alone = 1.0, 0.2 // V from a supply: the weaker rail has lost for certain, or was not there
	most := func(condition int) bool { return c.released[condition].wrong.Len() > adapter.Positions/2 }
	low, high := c.median(biasOverLoad), c.median(loadOverBias)
	c.biasWorks.low = !most(biasLow) && (most(loadHigh) || high < supplyVolts-alone)
	c.biasWorks.high = !most(biasHigh) && (most(loadLow) || low > alone)
	c.loadWorks.low = !most(loadLow) && (most(biasHigh) || low < supplyVolts-one)
	c.loadWorks.high = !most(loadHigh) && (most(biasLow) || high > one)
	for _, of := range []struct {
		rail  rail
		works level
	}{{biasRail, c.biasWorks}, {loadRail, c.loadWorks}} {
		for _, l := range []struct {
			level adapter.Pull
			works bool
		}{{adapter.Low, of.works.low}, {adapter.High, of.works.high}} {
			if !l.works {
				c.fault(rails, 0, of.rail.name+" rail", fmt.Sprintf("does not pull %s", l.level),
					fmt.Sprintf("the half bridge's %s side: its transistor, and its line from %s", l.level, of.rail.pin(l.level)))
			}
		}
	}
	c.out[rails].good = "bias and load rail hold the positions low and high, alone and against each other"
}

// valid tells whether a condition's rails reach their levels.
func (c *check) valid(condition int) bool {
	reaches := func(works level, to adapter.Pull) bool {
		return to == adapter.Off || to == adapter.Low && works.low || to == adapter.High && works.high
	}
	r := conditionRails[condition]
	return reaches(c.biasWorks, r.bias) && reaches(c.loadWorks, r.load)
}

// wrong gives the positions that did not follow in any of some conditions.
func (c *check) wrong(of ...int) (pins part.Pins) {
	for _, i := range of {
		if c.valid(i) {
			pins |= c.released[i].wrong
		}
	}
	return pins
}

// judgePositions: one that follows one rail and not the other misses a rail's
// resistor; one that never moves is held; one that follows neither is not seen.
func (c *check) judgePositions() {
	notBias, notLoad := c.wrong(biasLow, biasHigh), c.wrong(loadLow, loadHigh)
	c.biasHolds, c.loadHolds = all&^notBias, all&^notLoad
	var sawHigh, sawLow part.Pins
	for i, r := range c.released {
		if c.valid(i) {
			sawHigh |= r.sawHigh
			sawLow |= r.sawLow
		}
	}
	for p := 1; p <= adapter.Positions; p++ {
		follows := !c.analogWrong(p)
		switch {
		case !sawHigh.Has(p) || !sawLow.Has(p):
			c.held(p, sawHigh.Has(p), follows)
		case notBias.Has(p) && notLoad.Has(p):
			c.unseen = c.unseen.With(p, true)
			if c.measured.Has(p) {
				c.fault(senses, p, "sense line "+line(p), "does not show the position's level", lookAtSense(p))
			} else {
				c.fault(drives, p, "drive line "+line(p), "does not follow the rails, which are seen through its resistor", lookAtDrive(p))
			}
		case notBias.Has(p):
			c.fault(resistors, p, "bias resistor of "+line(p), "does not hold the position", lookAtRailResistor(biasRail, p))
		case notLoad.Has(p):
			c.fault(resistors, p, "load resistor of "+line(p), "does not hold the position", lookAtRailResistor(loadRail, p))
		case !follows:
			c.unseen = c.unseen.With(p, true)
			_, channel := sensePin(p)
			c.fault(senses, p, "sense line "+line(p), fmt.Sprintf("has the right level and measures a wrong voltage: %.2f V for 0, %.2f V for 5 V",
				c.released[loadLow].volts[p], c.released[loadHigh].volts[p]), fmt.Sprintf("converter channel ADC %d of the microcontroller", channel))
		}
	}
	c.judgeConverter()
	c.out[senses].good = fmt.Sprintf("%d positions show both levels and their voltages; %d without a sense line show both levels",
		c.measured.Len(), adapter.Positions-c.measured.Len())
}

// judgeConverter: whatever a position's resistors are, they divide the supply into
// two parts whose sum it is, one way round and the other. A converter that is right
// to 3 counts, 15 mV, finds that to 30 mV.
func (c *check) judgeConverter() {
	const within = 0.06 // V
	if !c.valid(biasOverLoad) || !c.valid(loadOverBias) {
		return
	}
	var off part.Pins
	sum := func(p int) float64 { return c.released[biasOverLoad].volts[p] + c.released[loadOverBias].volts[p] }
	judged := c.measured & c.biasHolds & c.loadHolds &^ (c.unseen | c.heldLow | c.heldHigh)
	for p := range judged.All() {
		off = off.With(p, math.Abs(sum(p)-supplyVolts) > within)
	}
	found := func(p int) string {
		return fmt.Sprintf("measures the two parts into which resistors divide 5 V as %.2f V together", sum(p))
	}
	if off != 0 && off == judged {
		c.fault(senses, 0, "converter", found(first(off)), "the microcontroller's reference (AREF with its capacitor, AVCC), and run adapter calibrate --forget")
		return
	}
	for p := range off.All() {
		c.fault(senses, p, "sense line "+line(p), found(p), lookAtSense(p)+"; or something on it")
	}
}

// analogWrong tells whether a position that can be measured stands elsewhere than the rails put it.
func (c *check) analogWrong(p int) bool {
	const within = 0.25 // V, far more than converter and supply are off
	for _, i := range []int{biasLow, biasHigh, loadLow, loadHigh} {
		want := 0.0
		if conditionRails[i].high {
			want = supplyVolts
		}
		if v := c.released[i].volts[p]; c.valid(i) && !math.IsNaN(v) && math.Abs(v-want) > within {
			return true
		}
	}
	return false
}

// held names what holds a position, by how much the strongest rail moves it: a
// drive line holds it through 205 Ω, a supply switch by itself.
func (c *check) held(p int, high, follows bool) {
	if c.measured.Has(p) && follows {
		c.unseen = c.unseen.With(p, true)
		pin, _ := sensePin(p)
		c.fault(senses, p, "sense line "+line(p), "always has the same level, and measures the right voltages", "the microcontroller's input "+pin)
		return
	}
	level, condition, ohms := adapter.Low, loadHigh, loadOhms
	if c.heldLow = c.heldLow.With(p, !high); high {
		c.heldHigh = c.heldHigh.With(p, true)
		level, condition = adapter.High, loadLow
	}
	if !c.valid(condition) {
		condition, ohms = condition-loadLow, biasOhms
	}
	capabilities := c.adapter.Capabilities
	drive := fmt.Sprintf("%s stuck %s in the microcontroller, or solder there", drivePin(p), level)
	drop := c.released[condition].volts[p]
	if high {
		drop = supplyVolts - drop
	}
	hasSwitch := high && capabilities.SupplyHigh.Has(p) || !high && capabilities.SupplyLow.Has(p)
	found := fmt.Sprintf("is held %s whatever the rails are", level)
	if c.measured.Has(p) {
		found += fmt.Sprintf(" (moved by %.2f V)", drop)
	}
	throughDrive := drop > supplyVolts*driveOhms/(driveOhms+ohms)/2
	switch {
	case c.measured.Has(p) && throughDrive || !hasSwitch:
		c.fault(drives, p, "drive line "+line(p), found, drive)
	case !c.measured.Has(p):
		c.fault(lowSwitches, p, fmt.Sprintf("low-side switch or drive line of %s", line(p)), found,
			lookAtLowSwitch(p)+": always on; or "+drive)
	case high:
		c.fault(highSwitches, p, "high-side switch of "+line(p), found+": it is always on", lookAtHighSwitch(p))
	default:
		c.fault(lowSwitches, p, "low-side switch of "+line(p), found+": it is always on", lookAtLowSwitch(p))
	}
}
