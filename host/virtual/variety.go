package virtual

import (
	"math"
	"math/rand/v2"
	"slices"

	"chipassay/vectors/part"
)

// A Substrate is the connection of an N-channel MOS die's substrate.
type Substrate uint8

// The substrates: at the ground pin, so that each pin has a junction from it; or at an
// internal charge pump, below ground when powered and floating otherwise, so that no pin
// has a junction to anything before power.
const (
	Grounded Substrate = iota
	Pumped
)

// A Variety is how one good chip of a type differs from another: by its maker's circuit and
// by its process. The data sheet allows every value.
type Variety struct {
	Clamps      bool      // a TTL input has a clamp diode to ground
	UpperDiodes bool      // a CMOS input has a diode to VCC
	Before      float64   // Ω, CMOS: between an input's pin and its diodes
	Behind      float64   // Ω, CMOS: between an input's diodes and its gate, which shows only with a broken gate
	Substrate   Substrate // NMOS
	Beta        float64   // current gain of bipolar transistors
	InverseBeta float64   // with emitter and collector exchanged: it sets the current into a high multi-emitter input
	Resistors   float64   // the die's resistors, as a multiple of the nominal ones
	Strength    float64   // MOS outputs, as a multiple of the typical one
	PullUpVolts float64   // V that an NMOS high is below VCC: the threshold of its upper transistor, raised by its source's voltage
	Junctions   float64   // V that a junction's drop differs from the typical one, at a given current
	Threshold   float64   // V at a 5 V supply at which an input switches; 0 where only the data sheet's band is known
	Leakage     float64   // A, from an input to ground
	Bond        float64   // Ω, of bond wire and contact, at each pin
	Supply      float64   // supply current at rest, as a multiple of the typical one
}

// Nominal is the typical chip of a type. Its inputs recognise a level only within the data
// sheet's limits, and its contacts are perfect.
func Nominal(t part.Type) Variety {
	v := Variety{
		Clamps: true, UpperDiodes: !noUpperDiode(t), Beta: 40, InverseBeta: 0.01,
		Resistors: 1, Strength: 1, PullUpVolts: 1.95, Supply: 1,
	}
	if t.Family.Technology == part.TTLDiode { // no gold in them
		v.Beta = 80
	}
	if t.Family.Series4000() || t.Family.Name == "74C" {
		v.Behind = 1_000
	}
	return v
}

// noUpperDiode: the converters from high to low levels have no diode from their
// inputs to VCC, whoever made them (data books, from memory).
func noUpperDiode(t part.Type) bool {
	return slices.Contains([]string{"4049", "4050"}, t.Part().Number)
}

// maybeClamped: 74L preceded clamps, and the first 74 and 74H
// had none. Schottky diodes of the other families cost no area.
func maybeClamped(f *part.Family) bool {
	return f.Technology == part.TTL && f.Name != "74S"
}

// Sampled draws a good chip of a type; it repeats with the seed. The limits are
// those of processes of the 1970s and 1980s: resistors -25 to +30 %, current gains
// of 15 to 100, junctions 40 mV to either side (common practice, from memory).
func Sampled(t part.Type, seed uint64) Variety {
	r := rand.New(rand.NewPCG(seed, 0x1c))
	between := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	factor := func(low, high float64) float64 { return low * math.Pow(high/low, r.Float64()) }
	either := func(a, b float64) float64 {
		if r.Uint64()&1 == 0 {
			return a
		}
		return b
	}
	v := Variety{
		Clamps: !maybeClamped(t.Family) || r.Uint64()&1 == 0, UpperDiodes: !noUpperDiode(t),
		Substrate: Substrate(r.Uint64() & 1),
		Beta:      factor(15, 100), InverseBeta: factor(0.002, 0.05),
		Resistors: between(0.75, 1.3), Strength: factor(0.6, 1.7), PullUpVolts: between(1.75, 2.3),
		Junctions: between(-0.04, 0.04), Leakage: factor(1e-9, 1e-6),
		Bond: factor(0.1, 2), Supply: between(0.7, 1.35),
	}
	v.Before, v.Behind = either(0, between(0, 2_500)), either(0, between(0, 2_500))
	if !t.Family.Series4000() && t.Family.Name != "74C" { // silicon gates
		v.Before, v.Behind = either(0, between(50, 500)), either(0, between(50, 500))
	}
	if !t.Pumped() { // fixed by its definition; drawn all the same, so that what follows repeats
		v.Substrate = Grounded
	}
	low, high := thresholds(t.Family)
	v.Threshold = between(low, high)
	return v
}

// thresholds gives the limits between which good chips of a family switch at 5 V
// and 25 °C, V. Of MOS inputs they are a third inside the band that the data sheet
// leaves; TTL is two junctions, less a Schottky diode where the inputs are diodes.
func thresholds(f *part.Family) (low, high float64) {
	switch f.Technology {
	case part.TTL:
		return 1.2, 1.5
	case part.TTLDiode:
		return 0.95, 1.4
	case part.DTL:
		return 1.2, 1.6
	case part.Darlington:
		return 1.2, 1.5
	case part.CMOSTTL, part.NMOS:
		return 1.1, 1.8
	}
	margin := (f.VIH - f.VIL) / 5
	return f.VIL + margin, f.VIH - margin
}

// saturation scales a typical saturation current to the variety.
func (v *Variety) saturation(typical float64) float64 {
	return typical * math.Exp(-v.Junctions/thermalVolts)
}
