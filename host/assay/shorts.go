package assay

import (
	"fmt"
	"math"
	"slices"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// driving drives a pin high to see what follows it. In a CMOS part the ground pin
// is driven too, so that the die, which takes a supply through any pin that is
// high, has next to none and its switches stay open; the other pins then stand
// low, a junction below what the drive resistance leaves of the ground pin.
func (c *contact) driving(pin int) look {
	pins := part.PinSet(pin)
	if c.cmos {
		pins = pins.With(c.v.GND(), true)
	}
	return look{Step: high(c.at(placement{}, pins)), load: adapter.Low}
}

// shortLooks drive each signal pin in turn.
func (c *contact) shortLooks() (looks []look) {
	for pin := range c.signals().All() {
		looks = append(looks, c.driving(pin))
	}
	return looks
}

func (c *contact) signals() part.Pins { return c.judged().With(c.v.VCC(), false) }

// pinShorts finds pins that touch each other, by what shortLooks saw: each of them
// follows the other when that is driven high against the load rail. A junction
// leads one way only. Where few pins load a CMOS part's ground pin, the others may
// not stand low for certain; where it can be sensed how high they stand, that decides.
func (c *contact) pinShorts(seen []adapter.Measured) (Seating, error) {
	signals := c.signals()
	followers := map[int]part.Pins{} // positions, by pin
	i := 0
	for pin := range signals.All() {
		followers[pin] = seen[i].High
		i++
	}
	var touching part.Pins
	for a := range signals.All() {
		for b := range signals.All() {
			pa, pb := adapter.PositionOf(a, c.n), adapter.PositionOf(b, c.n)
			if a >= b || !followers[a].Has(pb) || !followers[b].Has(pa) {
				continue
			}
			apart, err := c.apart(c.driving(a), pa, pb)
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
func (c *contact) apart(driving look, a, b int) (bool, error) {
	if c.meter == nil {
		return c.cmos && c.judged().Len() < fewLoads, nil
	}
	driving.volts = part.PinSet(a, b)
	seen, err := c.look([]look{driving})
	if err != nil {
		return false, err
	}
	return seen[0].Volts[a]-seen[0].Volts[b] > leastJunction, nil
}

func shorted(found string, pins part.Pins) Seating {
	return Seating{
		Found: found,
		Advice: "take the chip out, look for a whisker or solder between its pins and clean them, and test again; " +
			"if it stays so, the chip is broken inside",
		Pins: slices.Collect(pins.All()),
	}
}

// supplyLooks look across the die, from ground to the supply; at the pins with
// ground driven high; and at them with the supply pin driven low under a high bias
// rail, where the pins of a bipolar part stand high and those of a CMOS part a
// junction above the supply pin.
func (c *contact) supplyLooks() []look {
	if c.meter == nil {
		return nil
	}
	low := func(pin int) look {
		return look{stimulus.Step{Driven: part.PinSet(adapter.PositionOf(pin, c.n))}, adapter.High, adapter.Off, everywhere}
	}
	return []look{low(c.v.GND()), c.groundUp(placement{}), low(c.v.VCC())}
}

// supplyShorts finds pins that touch ground or the supply, and the two touching
// each other, by what supplyLooks saw: where a junction should be there is less
// than a junction's voltage.
func (c *contact) supplyShorts(seen []adapter.Measured) Seating {
	vcc := adapter.PositionOf(c.v.VCC(), c.n)
	across, up, down := seen[0].Volts, seen[1].Volts, seen[2].Volts
	if across[vcc] < leastDie {
		return shorted("supply shorted to ground", part.PinSet(c.v.VCC(), c.v.GND()))
	}
	if pins := c.closer(up, c.groundVolts(placement{}, up)); pins != 0 {
		return shorted(fmt.Sprintf("%s shorted to ground", pinList(slices.Collect(pins.All()))), pins)
	}
	var pins part.Pins
	for pin := range c.signals().All() {
		pins = pins.With(pin, down[adapter.PositionOf(pin, c.n)]-down[vcc] < leastJunction)
	}
	if pins != 0 {
		return shorted(fmt.Sprintf("%s shorted to the supply", pinList(slices.Collect(pins.All()))), pins)
	}
	return Seating{}
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
