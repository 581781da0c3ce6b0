package explore

import (
	"math"

	"chipassay/vectors/part"
)

// A Lamp is an LED from the supply through its series resistor to an output: it glows
// while the output is low.
type Lamp struct {
	Ohms  float64 // of the series resistor, of an E12 value: part.LEDOhms
	MA    float64 // through it
	Volts float64 // at the output under that current, V
	Share float64 // of the current at the output class's VOL, 0 to 1: the brightness
}

// The LED, as the command pull has it.
const (
	LEDVolts = 1.8 // V, forward
	LEDMA    = 10  // mA, at most
)

// A load is an output's voltage, V, under a pull-up resistor, Ω, to some volts.
type load struct{ volts, ohms, rail float64 }

// amps flow into the output.
func (l load) amps() float64 { return (l.rail - l.volts) / l.ohms }

// stiff, V, is the least difference between two loads that shows an output's resistance.
const stiff = 0.001

// lampOf gives the lamp at an output of a class, by its voltages under a light pull-up and
// a heavier one; the same twice where there is no heavier one. Between and beyond them the
// output's current is taken to grow evenly with its voltage. Supply is what feeds the LED, V.
func lampOf(f *part.Family, d part.Drive, supply float64, light, heavy load) *Lamp {
	ohms, full, err := part.LEDOhms(f, d, LEDVolts, LEDMA)
	if err != nil || math.IsNaN(supply) || math.IsNaN(light.volts) || math.IsNaN(heavy.volts) {
		return nil
	}
	left := supply - LEDVolts // across resistor and output
	slope := max(0, (heavy.amps()-light.amps())/max(heavy.volts-light.volts, stiff))
	at := heavy.volts
	if heavy.ohms != light.ohms {
		at = max(0, (left/ohms-heavy.amps()+slope*heavy.volts)/(slope+1/ohms))
	}
	mA := 1000 * max(0, left-at) / ohms
	return &Lamp{Ohms: ohms, MA: mA, Volts: at, Share: min(1, mA/full)}
}

// How an LED looks to a person: off, lit, or half-lit in between.
const (
	dark = 0.05
	lit  = 0.8
)

// Half reports whether the lamp is neither off nor fully lit.
func (l *Lamp) Half() bool { return l.Share > dark && l.Share < lit }

// Words describe how the lamp looks.
func (l *Lamp) Words() string {
	switch {
	case l.Share <= dark:
		return "off"
	case l.Half():
		return "half lit"
	}
	return "lit"
}

// Steps of brightness there are: 0 is off, Steps fully lit. One that is half lit is neither.
const Steps = 3

// Step is the lamp's brightness in steps, 0 to Steps.
func (l *Lamp) Step() int {
	on := int(math.Round(l.Share * Steps))
	if l.Half() {
		on = min(max(on, 1), Steps-1)
	}
	return on
}
