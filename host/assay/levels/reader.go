package levels

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// A Reader makes the readings of one chip of the voltages that its pins showed.
type Reader struct {
	*Levels
	Type  part.Type
	K     adapter.Constants
	Loads bool // the load resistors are fitted

	chipVolts float64 // V between the chip's supply pins; 0 where that was not measured
}

// NewReader begins the readings of a chip of a type.
func NewReader(ctx context.Context, meter Meter, t part.Type) (Reader, error) {
	k, err := meter.Constants(ctx)
	return Reader{Levels: &Levels{}, Type: t, K: k, Loads: meter.Can().Load}, err
}

// Keep keeps a reading, or says that there is none.
func (r Reader) Keep(pin *part.Pin, reading Reading) {
	if math.IsNaN(reading.Value) {
		r.Unmeasured = append(r.Unmeasured, fmt.Sprintf("%s of %v: its voltage cannot be measured", reading.Quantity, pin))
		return
	}
	reading.Pin = pin.Number
	r.Readings = append(r.Readings, reading)
}

// outputs are the DC limits of a pin's output class.
func (r Reader) outputs(pin *part.Pin) part.OutputLimits { return r.Type.Family.Output[pin.Drive] }

// Low is the reading of an output that stands low at v volts, the chip's ground being
// lifted by some, under a resistance, Ω, to the supply.
func (r Reader) Low(pin *part.Pin, v, lift, ohms float64) Reading {
	o := r.outputs(pin)
	load := (r.K.SupplyVolts - v) / ohms * 1000
	return Reading{Quantity: VOL, Value: v - lift, Limit: o.VOL * r.over(load, o.IOL), RatedMA: o.IOL,
		LoadMA: load, Uncertainty: ConverterVolts + rails1Percent*v, Knee: r.knee()}
}

// High is the reading of an output that stands high at v volts, the chip's ground being
// lifted by some, over a resistance, Ω, to ground.
func (r Reader) High(pin *part.Pin, v, lift, ohms float64) Reading {
	o := r.outputs(pin)
	load, limit, supply := v/ohms*1000, r.highLimit(o), cmp.Or(r.chipVolts, tableVolts)
	return Reading{Quantity: VOH, Value: v - lift, Limit: supply - (supply-limit)*r.over(load, o.IOH), RatedMA: o.IOH,
		LoadMA: load, Uncertainty: ConverterVolts + railDrift + rails1Percent*max(0, r.K.SupplyVolts-v)}
}

// highLimit is the VOH limit at the supply that the chip has, V: of a MOS output it
// follows the supply, which the table takes for 5 V.
func (r Reader) highLimit(o part.OutputLimits) float64 {
	if t := r.Type.Family.Technology; t.Bipolar() || t == part.NMOS || r.chipVolts == 0 {
		return o.VOH
	}
	return o.VOH + r.chipVolts - tableVolts
}

// over is how many times its rated current an output was loaded with, at least 1. A
// MOS output is a resistance to its supply, so its limit grows with it; what a
// bipolar one does over its rating no data sheet says, nor what one of the A series does,
// whose high is rated at half the supply.
func (r Reader) over(load, rated float64) float64 {
	if f := r.Type.Family; f.Technology.Bipolar() || f.Technology == part.NMOS || f.Name == "4000A" {
		return 1
	}
	return max(1, load/rated)
}

// tableVolts, V, is the supply at which the tables of DC limits stand.
const tableVolts = 5.0

// InputLow is the reading of an input that stands low at v volts, over a resistance, Ω, of
// the load or bias resistors.
func (r Reader) InputLow(pin *part.Pin, v, ohms float64) Reading {
	return r.inputLow(pin, v, ohms, rails1Percent)
}

func (r Reader) inputLow(pin *part.Pin, v, ohms, tolerance float64) Reading {
	i, limit := v/ohms*1000, r.Type.Family.IIL*pin.LoadIn(r.Type.Family)
	if pin.PullUp || pin.Receiver || pin.Trip != 0 {
		limit = math.NaN() // what its resistor passes, no data sheet says
	}
	return Reading{Quantity: IIL, Value: i, Limit: limit, Uncertainty: current(i, ohms, tolerance)}
}

// InputHigh is the reading of an input that the bias resistor holds high.
func (r Reader) InputHigh(pin *part.Pin, v float64) Reading {
	return r.inputHigh(pin, v, r.K.BiasOhms, rails1Percent)
}

func (r Reader) inputHigh(pin *part.Pin, v, ohms, tolerance float64) Reading {
	i, limit := (r.K.SupplyVolts-v)/ohms*1000, r.Type.Family.IIH*pin.LoadIn(r.Type.Family)
	if pin.Receiver || pin.Trip != 0 {
		limit = math.NaN()
	}
	return Reading{Quantity: IIH, Value: i, Limit: limit,
		Uncertainty: current(i, ohms, tolerance) + railDrift/ohms*1000}
}

// monitorMA, mA, is what the supply current may be off: half of the monitor's step of
// 0.1 mA, and what is not known of the switch's base current.
const monitorMA = 0.15

// mostICC, mA, is the largest supply current of small parts: gates, buffers and
// inverters in packages of at most 16 pins. Data books' quad and hex gates, from memory.
var mostICC = map[string]float64{
	"74": 54, "74H": 58, "74L": 4, "74S": 60, "74LS": 13, "74ALS": 10, "74AS": 30, "74F": 30,
	"74HC": 0.08, "74HCT": 0.08, "74C": 0.08, "4000A": 0.08, "4000B": 0.08, "4000UB": 0.08, "DTL": 36,
	"74AC": 0.08, "74ACT": 0.08, "74BCT": 60,
}

// Supply keeps the supply current, mA, with its limit.
func (r Reader) Supply(mA float64) {
	reading := Reading{Quantity: ICC, Value: mA, Limit: math.NaN(), Uncertainty: monitorMA + rails1Percent*mA}
	switch {
	case r.Type.Variant.Unsupplied: // there is none
		return
	case mA < 0:
		r.Unmeasured = append(r.Unmeasured, "supply current: the adapter has no monitor")
		return
	case Small(r.Type):
		reading.Limit = mostICC[r.Type.Family.Name]
	case r.Type.Variant.Memory != nil:
		r.Unmeasured = append(r.Unmeasured, "supply current against a limit: none is known for a "+r.Type.Name())
	default:
		r.Unmeasured = append(r.Unmeasured, "supply current against a limit: none is known for the part")
	}
	r.Readings = append(r.Readings, reading)
}

// Small reports whether a type is of the gates, buffers and inverters in packages of at most 16 pins.
func Small(t part.Type) bool {
	return slices.Contains([]string{"gate", "buffer", "inverter", "schmitt"}, t.Part().Kind) && len(t.Variant.Pins) <= 16
}

// OffLimit is what a released output may pass, mA, from memory of the data books: IOZ
// of the bipolar families with diode inputs and of the others, IOH of open collectors.
func OffLimit(f *part.Family, pin *part.Pin) float64 {
	limit := 0.02
	switch {
	case pin.Stage == part.OpenCollector && f.Technology.Bipolar():
		limit = 0.25
	case f.Technology == part.Darlington:
		limit = 0.05
	case f.Technology == part.TTL:
		limit = 0.04
	}
	if pin.Role == part.Bidirectional { // it has an input too, which draws when pulled low
		limit = max(limit, f.IIL*pin.LoadIn(f))
	}
	return limit
}

// railDrift, V, is how far the adapter's rail may be from where the reference last put it:
// it is asked once a request, and outputs under load take some 30 mA more in one step
// than in another.
const railDrift = 0.02

// current is the uncertainty of a current, mA, that was measured across a resistor.
func current(mA, ohms, tolerance float64) float64 { return mA*tolerance + ConverterVolts/ohms*1000 }

// thermalVolts, V, is kT/q at room temperature.
const thermalVolts = 0.0257

// knee is by how much, V, an output's low grows when its load grows e-fold. A transistor that
// a Schottky diode clamps stands at its base-emitter voltage less the diode's, and the
// first grows with the logarithm of its current; so does a Darlington pair's second
// base-emitter voltage. A saturated one and a MOS one do not.
func (r Reader) knee() float64 {
	if f := r.Type.Family; f.Technology == part.TTLDiode || f.Technology == part.Darlington || f.Name == "74S" {
		return thermalVolts
	}
	return 0
}
