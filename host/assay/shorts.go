package assay

import (
	"fmt"
	"math"
	"slices"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// pinShorts finds pins that touch each other: each of them follows the other
// when that is driven high against the load rail. A junction leads one way only.
//
// In a CMOS part the ground pin is driven too, so that the die, which takes a
// supply through any pin that is high, has next to none and its switches stay
// open; the other pins then stand low, a junction below what the drive resistance
// leaves of the ground pin. Where few pins load it that may not be low for
// certain, and where it can be sensed how high they stand, that decides.
func (c *contact) pinShorts() (Seating, error) {
	signals := c.judged().With(c.v.VCC(), false)
	var with part.Pins
	if c.cmos {
		with = part.PinSet(c.v.GND())
	}
	driving := func(pin int) stimulus.Step { return high(c.at(placement{}, with.With(pin, true))) }
	var steps []stimulus.Step
	for pin := range signals.All() {
		steps = append(steps, driving(pin))
	}
	read, err := c.prober.Probe(c.ctx, steps, adapter.Off, adapter.Low)
	if err != nil {
		return Seating{}, err
	}
	followers := map[int]part.Pins{} // positions, by pin
	i := 0
	for pin := range signals.All() {
		followers[pin] = read[i]
		i++
	}
	var touching part.Pins
	for a := range signals.All() {
		for b := range signals.All() {
			pa, pb := adapter.PositionOf(a, c.n), adapter.PositionOf(b, c.n)
			if a >= b || !followers[a].Has(pb) || !followers[b].Has(pa) {
				continue
			}
			apart, err := c.apart(driving(a), pa, pb)
			if err != nil {
				return Seating{}, err
			}
			if !apart {
				touching = touching.With(a, true).With(b, true)
			}
		}
	}
	if touching == 0 {
		return Seating{}, nil
	}
	return shorted(pinList(slices.Collect(touching.All()))+" shorted", touching), nil
}

// fewLoads are so few connected pins that they do not hold a driven ground pin down.
const fewLoads = 12

// apart tells whether a junction lies between two positions that follow each other.
func (c *contact) apart(driving stimulus.Step, a, b int) (bool, error) {
	if c.meter == nil {
		return c.cmos && c.judged().Len() < fewLoads, nil
	}
	volts, err := c.meter.ProbeVolts(c.ctx, driving, adapter.Off, adapter.Low)
	return volts[a]-volts[b] > leastJunction, err
}

func shorted(found string, pins part.Pins) Seating {
	return Seating{
		Found: found,
		Advice: "take the chip out, look for a whisker or solder between its pins and clean them, and test again; " +
			"if it stays so, the chip is broken inside",
		Pins: slices.Collect(pins.All()),
	}
}

// supplyShorts finds pins that touch ground or the supply, and the two touching
// each other: where a junction should be there is less than a junction's voltage.
func (c *contact) supplyShorts() (Seating, error) {
	vcc := adapter.PositionOf(c.v.VCC(), c.n)
	gnd := adapter.PositionOf(c.v.GND(), c.n)
	across, err := c.meter.ProbeVolts(c.ctx, stimulus.Step{Driven: part.PinSet(gnd)}, adapter.High, adapter.Off)
	if err != nil {
		return Seating{}, err
	}
	if across[vcc] < leastDie {
		return shorted("supply shorted to ground", part.PinSet(c.v.VCC(), c.v.GND())), nil
	}
	volts, ground, err := c.belowGround(placement{})
	if err != nil {
		return Seating{}, err
	}
	if pins := c.closer(volts, ground); pins != 0 {
		return shorted(fmt.Sprintf("%s shorted to ground", pinList(slices.Collect(pins.All()))), pins), nil
	}
	// With the supply pin driven low and the bias rail high, the pins of a bipolar
	// part stand high, those of a CMOS part a junction above the supply pin.
	volts, err = c.meter.ProbeVolts(c.ctx, stimulus.Step{Driven: part.PinSet(vcc)}, adapter.High, adapter.Off)
	if err != nil {
		return Seating{}, err
	}
	var pins part.Pins
	for pin := range c.judged().With(c.v.VCC(), false).All() {
		v := volts[adapter.PositionOf(pin, c.n)]
		pins = pins.With(pin, v-volts[vcc] < leastJunction)
	}
	if pins != 0 {
		return shorted(fmt.Sprintf("%s shorted to the supply", pinList(slices.Collect(pins.All()))), pins), nil
	}
	return Seating{}, nil
}

// aboveOthers, V, is how far a pin at ground stands above one a junction below
// it; between kinds of junctions there is less.
const aboveOthers = 0.35

// closer gives the pins that stand less than a junction below the ground pin. Its
// own voltage may be reckoned only, so they must also stand apart from the others.
func (c *contact) closer(volts [adapter.Positions + 1]float64, ground float64) (pins part.Pins) {
	var all []float64
	for pin := range c.judged().All() {
		if v := volts[adapter.PositionOf(pin, c.n)]; !math.IsNaN(v) {
			all = append(all, v)
		}
	}
	slices.Sort(all)
	if len(all) == 0 {
		return 0
	}
	median := all[len(all)/2]
	for pin := range c.judged().All() {
		v := volts[adapter.PositionOf(pin, c.n)]
		pins = pins.With(pin, v-median > aboveOthers && ground-v < leastJunction+reckoning)
	}
	return pins
}

// reckoning, V, allows for the resistors by which an unsensed ground pin is reckoned.
const reckoning = 0.15
