package selfcheck

import (
	"fmt"
	"math"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

const (
	moved     = 0.3  // V from its rail: something else moves the position
	together  = 0.03 // V between two positions that touch
	tolerance = 0.12 // of a ratio of resistors: 1 % each, ± 10 Ω of the microcontroller's output, 3 counts of the converter
)

// tried are the positions that may be driven.
func (c *check) tried() part.Pins { return all &^ (c.heldLow | c.heldHigh | c.bridged) }

// driveTwice gives two steps for each of some positions: alone high with the rail low, and alone low with it high.
func (c *check) driveTwice(positions part.Pins, loaded bool, averaging int, measure func(p int) part.Pins) (steps []adapter.MeasureStep) {
	for p := range positions.All() {
		for _, high := range []bool{true, false} {
			r := adapter.High
			if high {
				r = adapter.Low
			}
			s := c.step(part.PinSet(p), part.Pins(0).With(p, high), r, adapter.Off)
			if loaded {
				s.Bias, s.Load = adapter.Off, r
			}
			s.Pins, s.Averaging = measure(p), averaging
			steps = append(steps, s)
		}
	}
	return steps
}

// joined drives each position alone and looks whether another follows. Two that
// stand at the same voltage touch; whatever else is joined has something between.
func (c *check) joined() error {
	loaded, witnesses := !c.biasWorks.both(), c.biasHolds
	if loaded {
		witnesses = c.loadHolds
	}
	witnesses &^= c.unseen | c.heldLow | c.heldHigh
	measured, err := c.probe(
		c.driveTwice(c.tried(), loaded, 0, func(int) part.Pins { return c.measured }))
	if err != nil {
		return err
	}
	var followers, touching [adapter.Positions + 1]part.Pins
	i := 0
	for p := range c.tried().All() {
		up, down := measured[i], measured[i+1]
		i += 2
		for w := range (witnesses &^ part.PinSet(p)).All() {
			followed, same := up.High.Has(w) || !down.High.Has(w), false
			if c.measured.Has(w) {
				followed = up.Volts[w] > moved || down.Volts[w] < supplyVolts-moved
				same = math.Abs(up.Volts[w]-up.Volts[p]) < together && math.Abs(down.Volts[w]-down.Volts[p]) < together
			}
			followers[p] = followers[p].With(w, followed)
			touching[p] = touching[p].With(w, followed && same)
		}
	}
	for p := range followers {
		others := followers[p]
		if others == 0 {
			continue
		}
		w := first(others)
		if others != touching[p] || others.Len() > 1 || touching[w] != part.PinSet(p) {
			return fmt.Errorf("%w: take it out (%s follows %s). If the socket is empty, look for solder between their lines", ErrOccupied, line(w), line(p))
		}
		c.bridged |= part.PinSet(p, w)
		if p < w {
			c.fault(drives, p, "drive lines "+line(p)+" and "+line(w), "touch: each follows the other",
				fmt.Sprintf("solder between the lines of %s and %s, or a wire left in the socket", drivePin(p), drivePin(w)))
		}
	}
	return nil
}

func first(pins part.Pins) int {
	for p := range pins.All() {
		return p
	}
	return 0
}

// driveEach drives each position against the load rail, or the bias rail where
// the load rail does not work.
func (c *check) driveEach() error {
	loaded := c.loadWorks.both()
	measured, err := c.probe(c.driveTwice(c.tried(), loaded, averaging, func(p int) part.Pins { return c.measured & part.PinSet(p) }))
	if err != nil {
		return err
	}
	i := 0
	for p := range c.tried().All() {
		up, down := measured[i], measured[i+1]
		i += 2
		switch {
		case c.unseen.Has(p):
		case !up.High.Has(p) || down.High.Has(p):
			c.doesNotDrive(p, up, down)
		case c.measured.Has(p) && loaded && c.biasWorks.both() && c.biasHolds.Has(p) && c.loadHolds.Has(p):
			c.judgeResistors(p, up.Volts[p], down.Volts[p])
		}
	}
	c.out[drives].good = fmt.Sprintf("%d drive the socket low and high, and no other", adapter.Positions)
	c.out[resistors].good = fmt.Sprintf("bias, load and drive of the %d measured positions stand to each other as they should, within %.0f %%",
		c.measured.Len(), tolerance*100)
	if !loaded || !c.biasWorks.both() {
		c.leave("both rails are needed to compare them", resistors)
	}
	return nil
}

func (c *check) doesNotDrive(p int, up, down adapter.Measured) {
	found := "does not read back as it is driven"
	look := fmt.Sprintf("the microcontroller's %s", drivePin(p))
	if c.measured.Has(p) {
		found = fmt.Sprintf("does not reach the socket: %.2f V there when it drives high, %.2f V when low", up.Volts[p], down.Volts[p])
		look = lookAtDrive(p)
	}
	c.fault(drives, p, "drive line "+line(p), found, look)
}

// ratio gives how many times the resistor to the voltages up and down, V, has the
// ohms of the one that pulls there. Offset and gain of the converter cancel.
func ratio(up, down float64) float64 {
	share := (up - down) / (up + down)
	return (1 + share) / (1 - share)
}

// judgeResistors tells which of a position's resistors is off, by two ratios of
// the three: bias and load against each other, and the drive against the load.
func (c *check) judgeResistors(p int, up, down float64) {
	bias := ratio(c.released[loadOverBias].volts[p], c.released[biasOverLoad].volts[p]) / (biasOhms / loadOhms)
	drive := 1 / (ratio(up, down) / (loadOhms / driveOhms))
	off := func(r float64) bool { return math.Abs(r-1) > tolerance }
	against := func(name string, ohms, nominal float64, than, look string) {
		c.offValue = c.offValue.With(p, true)
		c.fault(resistors, p, name+" resistor of "+line(p), fmt.Sprintf("has about %.0f Ω instead of %.0f, measured against %s", ohms, nominal, than), look)
	}
	switch {
	case off(bias) && off(drive) && !off(bias/drive):
		against("load", loadOhms*2/(bias+drive), loadOhms, "bias and drive", lookAtRailResistor(loadRail, p))
		return
	case off(bias):
		against("bias", biasOhms*bias, biasOhms, "the load", lookAtRailResistor(biasRail, p))
	}
	if off(drive) {
		against("drive", driveOhms*drive, driveOhms, "the load, with the microcontroller's output", lookAtDrive(p))
	}
}
