package adapter

import (
	"context"
	"fmt"
	"math"
	"math/bits"
	"slices"
	"time"

	"chipassay/protocol"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A MeasureStep sets the pulls, drives, waits and measures. Pins are those of the
// chip, or positions where an operation says so.
type MeasureStep struct {
	stimulus.Step
	Bias, Load Pull
	Settle     time.Duration // between driving and measuring, up to 65 ms
	Pins       part.Pins     // to be measured; those that cannot be are passed over
	Supply     bool          // the supply behind the shunt is measured too, where it can be
	Averaging  int           // 2^Averaging conversions a pin, 0 to 7
}

// A Measured is what a MeasureStep gave.
type Measured struct {
	High        part.Pins              // that read high
	Volts       [Positions + 1]float64 // by pin; NaN where not measured. Absolute where the adapter has its reference
	SupplyVolts float64                // behind the shunt; 0 where not asked for
	CurrentMA   float64                // supply current; negative where the adapter has no monitor. For it to be new, settle CurrentSettle
}

// CurrentSettle is how long a step must settle for its current to be that of
// the step: the monitor averages over half a millisecond, again and again.
const CurrentSettle = 2 * time.Millisecond

// Measure measures on the powered chip, by its pins. What the last step sets
// stays. When it fails the socket has been made safe, and what is given is of the
// steps before the request that failed.
func (s *Seat) Measure(ctx context.Context, steps []MeasureStep) ([]Measured, error) {
	steps = slices.Clone(steps)
	for i := range steps {
		steps[i].Step = s.held(steps[i].Step)
		for _, p := range []*Pull{&steps[i].Bias, &steps[i].Load} {
			if p.On {
				p.Up = p.Up.With(s.VCC, true).With(s.GND, false)
			}
		}
	}
	measured, err := s.adapter.measure(ctx, steps, s.unsupplied, s.frame())
	for i := range measured {
		if s.unsupplied {
			measured[i].CurrentMA = notMeasured
		}
		if m := &measured[i]; m.CurrentMA >= 0 {
			m.CurrentMA = max(0, m.CurrentMA-s.adapter.baseMA())
		}
	}
	return measured, err
}

// ProbeMeasure measures in a socket without supply, by its positions, 1 to 28, as
// if they were the pins of a 28-pin package: see Probe.
func (s *Seat) ProbeMeasure(ctx context.Context, steps []MeasureStep) ([]Measured, error) {
	return s.adapter.measure(ctx, steps, true, byPosition)
}

// byPosition counts the socket's positions as if they were the pins of a 28-pin package.
var byPosition = frame{wordOf, positionsOf, func(position int) int { return position }}

// chipMA is the chip's part of what the monitor shows, mA; negative where it shows nothing.
func (a *Adapter) chipMA(current uint16) float64 {
	if current == protocol.NotMeasured {
		return notMeasured
	}
	return max(0, milliamps(current)-a.baseMA())
}

func milliamps(current uint16) float64 {
	if current == protocol.NotMeasured {
		return notMeasured
	}
	return float64(current) / 100 // from 10 µA
}

func unmeasured() (volts [Positions + 1]float64) {
	for i := range volts {
		volts[i] = math.NaN()
	}
	return volts
}

// A frame of reference counts pins, or positions, in socket words.
type frame struct {
	word func(part.Pins) Word
	pins func(Word) part.Pins
	pin  func(position int) int
}

// pinAt gives the pin at a position.
func (s *Seat) pinAt(position int) int {
	if position > Positions/2 {
		return position - Positions + s.Pins
	}
	return position
}

func (a *Adapter) measure(ctx context.Context, steps []MeasureStep, unpowered bool, f frame) ([]Measured, error) {
	supply := 0.0 // V that the adapter takes its rail for
	if a.Capabilities.Reference {
		c, err := a.constantsOf(ctx)
		if err != nil {
			return nil, err
		}
		supply = c.SupplyVolts
	}
	var asked []protocol.MeasureStep
	for _, step := range steps {
		if err := a.measurable(step); err != nil {
			return nil, a.fail(err)
		}
		asked = append(asked, protocol.MeasureStep{
			Direction: uint32(f.word(step.Driven)),
			Level:     uint32(f.word(step.Drive)),
			Positions: uint32(f.word(step.Pins) & a.Capabilities.Measured),
			SettleUS:  uint16(step.Settle.Microseconds()),
			Averaging: uint8(step.Averaging),
			Bias:      step.Bias.in(f),
			Load:      step.Load.in(f),
		})
		if step.Supply && a.Capabilities.Reference {
			asked[len(asked)-1].Positions |= protocol.SupplyBehindShunt
		}
	}
	var measured []Measured
	for rest := asked; len(rest) > 0; {
		if a.Capabilities.Reference {
			rest[0].Positions |= protocol.ReferenceFirst
		}
		n, work := a.measureBatch(rest)
		if n == 0 {
			return measured, a.fail(fmt.Errorf("%w measure so many pins so often in one step", ErrCannot))
		}
		request := protocol.Measure{Unpowered: unpowered, Steps: rest[:n]}
		var reply protocol.MeasureReply
		for _, step := range request.Steps {
			reply.Positions = append(reply.Positions, step.Positions)
		}
		if err := a.call(ctx, &request, &reply, work); err != nil {
			return measured, err
		}
		a.pulls = protocol.Pulls{Bias: rest[n-1].Bias, Load: rest[n-1].Load}
		a.worked += work
		if a.Capabilities.Reference {
			if err := a.refer(request.Steps[0].Positions, reply.Steps[0].Millivolts, supply); err != nil {
				return measured, err
			}
		}
		for i, step := range reply.Steps {
			measured = append(measured, measuredOf(step, reply.Positions[i], a.scale, f))
		}
		rest = rest[n:]
	}
	return measured, nil
}

// measurable refuses what no request can hold.
func (a *Adapter) measurable(step MeasureStep) error {
	c := a.Capabilities
	switch {
	case c.Measured == 0:
		return fmt.Errorf("%w measure voltages: it has no converter", ErrCannot)
	case step.Settle < 0 || step.Settle > longestSettle:
		return fmt.Errorf("%w wait %v in a step: it can up to %v", ErrCannot, step.Settle, longestSettle)
	case step.Averaging < 0 || step.Averaging > protocol.MostAveraging:
		return fmt.Errorf("%w average 2^%d conversions: it can up to 2^%d", ErrCannot, step.Averaging, protocol.MostAveraging)
	}
	return a.pullable(step.Bias.On, step.Load.On)
}

// measureBatch gives how many steps fit a request, and how long they take there.
func (a *Adapter) measureBatch(steps []protocol.MeasureStep) (n int, work time.Duration) {
	c := a.Capabilities
	for n < protocol.MeasureFits(steps, c.MaxPayload) {
		s := steps[n]
		far := bits.OnesCount32(s.Positions &^ uint32(c.near()))
		near := bits.OnesCount32(s.Positions) - far
		more := time.Duration(s.SettleUS)*time.Microsecond + // SPEC.md, MEASURE
			(1<<s.Averaging+2)*(time.Duration(near)*c.Conversion+time.Duration(far)*c.FarConversion)
		if work+more > c.MaxBusy {
			break
		}
		work += more
		n++
	}
	return n, work
}

// measuredOf gives a step's result; scale makes volts absolute.
func measuredOf(step protocol.Measured, positions uint32, scale float64, f frame) Measured {
	m := Measured{High: f.pins(Word(step.Sample)), Volts: unmeasured(), CurrentMA: milliamps(step.Current)}
	for i, bit := 0, uint32(1); bit != 0; bit <<= 1 {
		if positions&bit == 0 {
			continue
		}
		volts := scale * float64(step.Millivolts[i]) / 1000
		i++
		switch {
		case Word(bit)&All != 0:
			m.Volts[f.pin(position(bits.TrailingZeros32(bit)))] = volts
		case bit == protocol.SupplyBehindShunt:
			m.SupplyVolts = volts
		}
	}
	return m
}

// What the reference may read, V: the rail is between 4 and 6 V.
const (
	referenceVolts = 2.5
	leastReference = 2.0
	mostReference  = 3.2
)

// refer takes the reference's reading, the one of bit 15 among the voltages of some
// positions, for the scale of all voltages of the request. It also gives what the
// adapter's 5 V rail is.
func (a *Adapter) refer(positions uint32, millivolts []uint16, supply float64) error {
	read := float64(millivolts[bits.OnesCount32(positions&(protocol.ReferenceFirst-1))]) / 1000
	if err := soundReference(read); err != nil {
		return a.fail(err)
	}
	a.scale = referenceVolts / read
	a.rail = a.scale * supply
	return nil
}

// soundReference refuses what no reference reads, V.
func soundReference(read float64) error {
	if read < leastReference || read > mostReference {
		return fmt.Errorf("%w: its 2.500 V reference reads %.2f V; run adapter check", ErrFault, read)
	}
	return nil
}

// SupplyVolts measures what the powered chip gets, between its own supply pins, V;
// not a number where they cannot be measured. What PowerOn saw is given where it
// looked; else what is driven is released and all pins are biased low.
func (s *Seat) SupplyVolts(ctx context.Context) (float64, error) {
	if s.supplyVolts != 0 {
		return s.supplyVolts, nil
	}
	step := MeasureStep{Bias: Low, Settle: supplySettle, Pins: part.PinSet(s.VCC, s.GND), Averaging: supplyAveraging}
	if s.adapter.Capabilities.Bias == 0 {
		step.Bias = Off
	}
	measured, err := s.Measure(ctx, []MeasureStep{step})
	if err != nil {
		return math.NaN(), err
	}
	v := measured[0].Volts
	return v[s.VCC] - v[s.GND], nil
}

// What SupplyVolts waits and averages.
const (
	supplySettle    = 50 * time.Microsecond
	supplyAveraging = 3 // 2^3 conversions
)

// RailVolts is the voltage of the adapter's 5 V rail as last measured by its
// reference; 0 where it has none, or measured nothing yet.
func (a *Adapter) RailVolts() float64 { return a.rail }
