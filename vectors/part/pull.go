package part

import (
	"fmt"
	"math"
)

// leastSupply is the lowest supply of a nominal 5 V, V: five per cent below.
const leastSupply = 4.75

// A Pull is the level that a resistor alone gives to inputs, by the worst case of
// their family's DC limits.
type Pull struct {
	Volts   float64 // V, the highest low or the lowest high
	Valid   bool    // the data sheet takes it for that level
	Largest float64 // Ω, the largest resistor that gives a valid level
}

// PullDown gives the low level that ohms from inputs to ground make. Inputs
// counts unit loads. The inputs' IIL flows through the resistor; a bipolar input
// gives way where it floats, so the true level is never far above 1.6 V.
func PullDown(f *Family, ohms, inputs float64) Pull {
	amps := f.IIL / 1000 * inputs
	return pull(ohms*amps, ohms*amps <= f.VIL, f.VIL/amps)
}

// PullUp gives the high level that ohms from inputs to the supply, 4.75 V at
// worst, make. Inputs counts unit loads. The inputs' IIH flows through the resistor.
func PullUp(f *Family, ohms, inputs float64) Pull {
	amps := f.IIH / 1000 * inputs
	volts := leastSupply - ohms*amps
	return pull(volts, volts >= f.VIH, (leastSupply-f.VIH)/amps)
}

func pull(volts float64, valid bool, largest float64) Pull {
	return Pull{Volts: max(0, volts), Valid: valid, Largest: largest}
}

// LEDOhms gives the series resistor, Ω, of an E12 value, with which an LED of a
// forward voltage, V, from the supply of 5 V to an output takes at most mA, and at
// most what the output class may sink. The second result is the current through
// it, mA. A high output of a bipolar family is no source for an LED.
func LEDOhms(f *Family, d Drive, forward, mA float64) (ohms, flows float64, err error) {
	out := f.Output[d]
	left := 5 - forward - out.VOL
	if left <= 0 || !(mA > 0) {
		return 0, 0, fmt.Errorf("no resistor lights an LED of %g V with %g mA from 5 V", forward, mA)
	}
	ohms = E12Above(left / min(mA, out.IOL) * 1000)
	return ohms, left / ohms * 1000, nil
}

// e12 are the values of a decade after IEC 60063, Ω.
var e12 = [...]float64{10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82, 100}

// E12Above gives the smallest E12 value (IEC 60063) that is no smaller than ohms, which must be above 0.
func E12Above(ohms float64) float64 {
	decade := math.Pow(10, math.Floor(math.Log10(ohms))-1)
	for _, v := range e12 {
		if v*decade >= ohms*(1-1e-9) {
			return v * decade
		}
	}
	return 100 * decade
}

// E12Below gives the largest E12 value (IEC 60063) that is no larger than ohms, which must be above 0.
func E12Below(ohms float64) float64 {
	decade := math.Pow(10, math.Floor(math.Log10(ohms))-1)
	below := 10 * decade
	for _, v := range e12 {
		if v*decade <= ohms*(1+1e-9) {
			below = v * decade
		}
	}
	return below
}
