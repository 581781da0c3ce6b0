package virtual

import (
	"math"

	"chipassay/host/adapter"
)

// The adapter's electrical values, and where each is from.
const (
	supplyVolts = 5.0 // what a USB port is meant to give, and the board with it
	pinOhms     = 25  // an output of the MCU: its data sheet's curves, 0.5 V at 20 mA
	outputOhms  = 50  // an output of a 74HC595: its data sheet's 0.3 V typical at 6 mA
	driveOhms   = 120 + pinOhms
	biasOhms    = 10_000 + outputOhms
	loadOhms    = 1_000 + outputOhms
	boardOhms   = 0.35 // from the USB port to the 5 V of the header: its cable, fuse and switch
	fuseOhms    = 0.2  // the resettable fuse, 0.9 A
	shuntOhms   = 0.1
	saturated   = 0.047   // V, a PNP switch at next to no current
	switchOhms  = 0.364   // and what it adds with the current
	lowOhms     = 0.45    // the MOSFET of a low-side switch at 5 V on its gate
	readLow     = 0.3     // of the supply: below it an AVR input promises to read low
	readHigh    = 0.6     // above it an AVR input promises to read high
	fullScale   = 400_000 // µA, of the supply current monitor: 40 mV over the shunt
	monitorStep = 100     // µA
	sagVolts    = 1.0     // V by which a supply pin may be off its rail before the die stops working
)

// A node is one position of the socket, or several that are shorted.
type node struct {
	positions adapter.Word
	pads      []*pad // of the chip, bonded ones only
	volts     float64
	floating  bool
}

// solve finds the voltage at which the currents of the linear part, which
// amount to amps less siemens times volts, and of the elements cancel. There
// must be one or the other.
func solve(amps, siemens float64, elements []element) float64 {
	volts := 0.0
	if siemens > 0 {
		volts = amps / siemens
	}
	if len(elements) == 0 {
		return volts
	}
	// The sum falls with the voltage, in straight pieces: Newton's method lands
	// on the right piece in a few steps, halving where it would leave the bracket.
	low, high := -1.0, supplyVolts+1
	for range 60 {
		sum, slope := amps-siemens*volts, siemens
		for i := range elements {
			current, s := elements[i].at(volts)
			sum += current
			slope += s
		}
		if sum > 0 {
			low = volts
		} else {
			high = volts
		}
		next := volts + sum/slope
		if math.Abs(next-volts) < 1e-7 {
			return next
		}
		if next <= low || next >= high {
			next = (low + high) / 2
		}
		volts = next
	}
	return volts
}
