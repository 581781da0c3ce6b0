package virtual

import (
	"math"

	"chipassay/host/adapter"
)

// The adapter's electrical values, revision A.
const (
	supplyVolts = 5.0
	driveOhms   = 180 + 25 // resistor and the AVR's output, which is what its data sheet's curves show
	biasOhms    = 10_000
	loadOhms    = 1_000
	shuntOhms   = 1
	switchOhms  = 0.2     // P-channel switch
	lowOhms     = 0.1     // N-channel switch
	readLow     = 1.5     // V, 0.3 VCC: below it an AVR input promises to read low
	readHigh    = 3.0     // V, 0.6 VCC: above it an AVR input promises to read high
	fullScale   = 320_000 // µA, of the supply current monitor
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
