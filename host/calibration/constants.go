package calibration

import (
	"fmt"
	"math"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// A converter is what a channel of it makes of a share of the supply: the share
// times gain, plus offset.
type converter struct{ gain, offset float64 }

// share is the true share of the supply at a position.
func (b *bench) share(position int, volts [adapter.Positions + 1]float64) float64 {
	c := b.channels[position]
	return (b.raw(position, volts[position]) - c.offset) / c.gain
}

// A division is two resistors of a position between the supplies, both ways round:
// what the converter sees when the smaller one pulls up, and when it pulls down.
type division struct{ up, down float64 }

// The divisions of a position: load against bias, drive against bias, drive against load.
type divisions [3]division

const driveOverBias = 1 // its place there

// converterOf finds the gain at which the divisions agree, and the offset.
//
// Let x be bias over load, and y bias over drive, in ohms. Up less down is
//
//	D1 = gain (x-1)/(x+1)    D2 = gain (y-1)/(y+1)    D3 = gain (y-x)/(y+x)
//
// and as D3/gain = (D2/gain - D1/gain) / (1 - D1 D2/gain²), so
//
//	gain² = D1 D2 / (1 - (D2-D1)/D3).
//
// Up and down together are gain + 2 offset, of drive against bias: the output behind a
// load pulls down better than up. Where there is no load, D1 and D3 are 0, and so is the
// error of the gain taken to be.
func converterOf(of divisions) converter {
	d := [3]float64{}
	for i, division := range of {
		d[i] = division.up - division.down
	}
	gain := 1.0
	if d[0] != 0 {
		gain = math.Sqrt(d[0] * d[1] / (1 - (d[1]-d[0])/d[2]))
	}
	return converter{gain: gain, offset: (of[driveOverBias].up + of[driveOverBias].down - gain) / 2}
}

// What a converter may be off; the data sheet has 3 counts at this speed, 0.3 % (firmware/README.md).
const (
	mostGain   = 0.02
	mostOffset = 50.0 // mV
)

// converters finds the constants of every channel. One converter is behind them
// all: its gain is the mean of what they show, which takes the counts' rounding off,
// for resistors differ. R couples P and Q: they are driven together, so that next to
// nothing flows through it.
func (b *bench) converters(supplyVolts float64) (map[int]adapter.Channel, error) {
	measured := b.adapter.Capabilities.Measured &^ b.adapter.Capabilities.Far
	for p := range b.adapter.Capabilities.Far.Positions() {
		b.channels[p] = converter{gain: 1}
	}
	mean, n := 0.0, 0.0
	for p := range measured.Positions() {
		of, err := b.divide(p)
		if err != nil {
			return nil, err
		}
		b.channels[p] = converterOf(of)
		mean, n = mean+b.channels[p].gain, n+1
	}
	mean /= n
	found := map[int]adapter.Channel{}
	for p := range measured.Positions() {
		own := b.channels[p]
		c := converter{gain: mean, offset: own.offset + (own.gain-mean)/2}
		if !b.loaded() { // only the offset is new: what the channel makes of the middle
			c.gain = 1 / b.old.Channels[p].Gain
			c.offset = own.offset + (own.gain-c.gain)/2
		}
		k := adapter.Channel{Gain: 1 / c.gain, OffsetMV: int(math.Round(-1000 * supplyVolts * c.offset / c.gain))}
		if !(math.Abs(own.gain-1) <= mostGain) || math.Abs(float64(k.OffsetMV)) > mostOffset {
			return nil, fmt.Errorf("%w: the channel of position %d comes out with a gain of %.4f and an offset of %d mV, more than %g %% or %g mV off: run adapter check",
				ErrImplausible, p, 1/own.gain, k.OffsetMV, mostGain*100, mostOffset)
		}
		b.channels[p], found[p] = c, k
	}
	return found, nil
}

func (b *bench) divide(p int) (of divisions, err error) {
	driven := part.PinSet(p)
	if p == b.r.P || p == b.r.Q {
		driven = part.PinSet(b.r.P, b.r.Q)
	}
	one := part.PinSet(p)
	steps := []adapter.MeasureStep{b.set(driven, driven, adapter.Low, adapter.Off, one), b.set(driven, 0, adapter.High, adapter.Off, one)}
	at := []int{driveOverBias}
	if b.loaded() {
		steps = append(steps,
			b.set(0, 0, adapter.Low, adapter.High, one), b.set(0, 0, adapter.High, adapter.Low, one),
			b.set(driven, driven, adapter.Off, adapter.Low, one), b.set(driven, 0, adapter.Off, adapter.High, one))
		at = append(at, 0, 2)
	}
	m, err := b.seat.ProbeMeasure(b.ctx, steps)
	if err != nil {
		return of, err
	}
	const full, none = 1023.0 / 1024, 0.5 / 1024
	for i, k := range at {
		of[k] = division{b.raw(p, m[2*i].Volts[p]), b.raw(p, m[2*i+1].Volts[p])}
		if of[k].up >= full-none || m[2*i+1].Volts[p] <= 0 {
			// a driven position stands 1.4 % from the end
			return of, fmt.Errorf("%w: the channel of position %d is at the end of its range: its gain or its offset is more than 1 %% off; run adapter check",
				ErrImplausible, p)
		}
	}
	return of, nil
}

// A kind of resistor has what a host may go by (SPEC.md, CALIBRATION).
type kind struct {
	name        string
	least, most float64 // Ω
	found       []float64
}

// resistors finds drive, load and bias at both ends of R.
func (b *bench) resistors(into *adapter.Calibration) error {
	drive := kind{name: "drive resistors, with the microcontroller's output,", least: 100, most: 200}
	load := kind{name: "load resistors", least: 900, most: 1100}
	bias := kind{name: "bias resistors", least: 9000, most: 11000}
	for _, ends := range [][2]int{{b.r.P, b.r.Q}, {b.r.Q, b.r.P}} {
		for _, up := range []bool{true, false} {
			if err := b.through(ends[0], ends[1], up, &drive, &load, &bias); err != nil {
				return err
			}
		}
	}
	for _, k := range []struct {
		kind
		into *int
	}{{drive, &into.DriveOhms}, {load, &into.LoadOhms}, {bias, &into.BiasOhms}} {
		if len(k.found) == 0 {
			continue // not fitted
		}
		mean, err := k.mean()
		if err != nil {
			return err
		}
		*k.into = int(math.Round(mean))
	}
	return nil
}

// through drives one end of R and holds the other in three ways at the other level.
func (b *bench) through(from, to int, up bool, drive, load, bias *kind) error {
	one, both := part.PinSet(from), part.PinSet(from, to)
	high, rail := one, adapter.Low
	if !up {
		high, rail = part.PinSet(to), adapter.High
	}
	steps := []adapter.MeasureStep{b.set(both, high, adapter.Off, adapter.Off, both), b.set(one, high&one, rail, adapter.Off, both)}
	kinds := []*kind{drive, bias}
	if b.loaded() {
		steps, kinds = append(steps, b.set(one, high&one, adapter.Off, rail, both)), append(kinds, load)
	}
	m, err := b.seat.ProbeMeasure(b.ctx, steps)
	if err != nil {
		return err
	}
	for i, k := range kinds {
		near, far := b.share(from, m[i].Volts), b.share(to, m[i].Volts)
		held := far
		if !up {
			held = 1 - far
		}
		k.found = append(k.found, b.r.Ohms*held/math.Abs(near-far))
	}
	return nil
}

// apart is by how much what is found of one kind may differ: 1 % either way, the
// two levels of the microcontroller's output, and the converter.
const apart = 0.15

// mean refuses what the ends, or the levels, do not agree on, and what no such board has.
func (k *kind) mean() (float64, error) {
	least, most, sum := math.Inf(1), math.Inf(-1), 0.0
	for _, ohms := range k.found {
		least, most, sum = min(least, ohms), max(most, ohms), sum+ohms
	}
	mean := sum / float64(len(k.found))
	switch {
	case !(mean >= k.least && mean <= k.most):
		return 0, fmt.Errorf("%w: the %s come out as %.0f Ω, outside %.0f to %.0f: is the resistor of the value given?",
			ErrImplausible, k.name, mean, k.least, k.most)
	case most-least > apart*mean:
		return 0, fmt.Errorf("%w: the %s come out as %.0f to %.0f Ω at the two ends: are the resistor's ends clean? Run adapter check without it",
			ErrImplausible, k.name, least, most)
	}
	return mean, nil
}
