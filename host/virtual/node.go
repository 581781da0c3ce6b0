package virtual

import (
	"math"

	"chipassay/host/adapter"
)

// Values of the adapter that are not in the netlist; for the rest see strength.
const (
	supplyVolts = 5.0     // the nominal voltage of a USB port
	boardOhms   = 0.6     // from the USB port to the board's 5 V: cable, and the board's own fuse
	boardAmps   = 0.080   // that the microcontroller's board takes
	readLow     = 0.3     // of the supply: below it an AVR input is guaranteed to read low
	readHigh    = 0.6     // above it an AVR input is guaranteed to read high
	fullScale   = 400_000 // µA, of the supply current monitor: 40 mV over the shunt
	monitorStep = 100     // µA
	sagVolts    = 1.0     // V that a supply pin may be away from its rail before the die stops working
)

// A node is one position of the socket, or several that are shorted.
type node struct {
	positions  adapter.Word
	pads       []*pad // of the chip, bonded ones only
	legs       []leg
	mosfets    []int // low-side switches to ground, by number in the wiring
	pnps       []int // high-side switches to the supply, likewise
	clusters   []clusterAt
	flow       flow
	known      [6]solution // the last ones
	oldest     int         // of these
	grounded   float64     // S of resistors to ground, clipped on
	capacitors []capacitorEnd
	odd        bool // the board has more than resistors and switches here
	volts      float64
	floating   bool
}

// solve finds the voltage at which the currents of the linear part, which
// amount to amps less siemens times volts, and of the elements cancel. There
// must be at least one of them.
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
	low, high := min(-1, volts-1), max(supplyVolts+1, volts+1)
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
