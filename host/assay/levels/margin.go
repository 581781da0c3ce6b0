package levels

import (
	"fmt"

	"chipassay/vectors/part"
)

// A Margin is an input that the adapter may not drive to a valid low, by the data
// sheet's worst case: IIL through its drive resistance.
type Margin struct {
	Pin     int
	Volts   float64 // V, at most
	VIL     float64 // V
	typical float64 // V, where a typical chip's input stands
}

// typicalLow gives the volts at which a typical chip's input stands, driven low, by
// those of the worst case. Its base resistor, 4 kΩ in series 74 and 2.8 kΩ in 74H and
// 74S, lets 0.6 and 0.7 of the largest IIL through at 0.4 V, and less the higher the
// input stands: none at 4.3 V (data books' schematics, from memory).
func typicalLow(f *part.Family, worst float64) float64 {
	const source, rated = 4.3, 0.4 // V
	share := 0.6
	if f.Name == "74H" || f.Name == "74S" {
		share = 0.7
	}
	ratio := share * worst / (source - rated) // of the drive resistance to the base resistor
	return source * ratio / (1 + ratio)
}

// roomVIL, V, is what an input takes for low at room temperature; VIL is promised over all temperatures.
const roomVIL = 1.0

// groundLift, V, is what the supply current may lift the chip's ground by.
const groundLift = 0.05

// Hopeless tells whether even a typical chip's input cannot be driven low.
func (m Margin) Hopeless() bool { return m.typical+groundLift > roomVIL }

func (m Margin) String() string {
	return fmt.Sprintf("pin %d: driven low it may stand as high as %.2f V, over VIL of %.1f V", m.Pin, m.Volts, m.VIL)
}

// MarginWords says margins in one line, the worst one's volts.
func MarginWords(margins []Margin) string {
	var pins part.Pins
	worst := margins[0]
	for _, m := range margins {
		pins = pins.With(m.Pin, true)
		if m.Volts > worst.Volts {
			worst = m
		}
	}
	return fmt.Sprintf("driven low, %s may stand as high as %.2f V at worst, over VIL of %.1f V", pins.Words(), worst.Volts, worst.VIL)
}

// Margins gives the inputs of a type whose worst case the adapter cannot drive low.
func Margins(t part.Type) (short []Margin) {
	for _, p := range t.Variant.Pins {
		if v := t.Family.IIL * p.LoadIn(t.Family) / 1000 * driveOhms; p.Drivable() && v > t.Family.VIL {
			short = append(short, Margin{p.Number, v, t.Family.VIL, typicalLow(t.Family, v)})
		}
	}
	return short
}
