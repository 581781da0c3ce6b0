package adapter

import (
	"context"
	"fmt"
	"math"
	"math/bits"
	"time"

	"chipassay/protocol"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A MeasureStep sets the rails, drives, waits and measures. Pins are those of the
// chip, or positions where an operation says so.
type MeasureStep struct {
	stimulus.Step
	Bias, Load Rail
	Settle     time.Duration // between driving and measuring, up to 65 ms
	Pins       part.Pins     // to be measured; those without a sense line are passed over
	Averaging  int           // 2^Averaging conversions a pin, 0 to 7
}

// A Measured is what a MeasureStep gave.
type Measured struct {
	High      part.Pins              // that read high
	Volts     [Positions + 1]float64 // by pin; NaN where not measured
	CurrentMA float64                // supply current; negative where the adapter has no monitor. For it to be new, settle CurrentSettle
}

// CurrentSettle is how long a step must settle for its current to be that of
// the step: the monitor averages over half a millisecond, again and again.
const CurrentSettle = 2 * time.Millisecond

// Measure measures on the powered chip, by its pins. What the last step sets
// stays. When it fails the socket has been made safe, and what is given is of the
// steps before the request that failed.
func (s *Seat) Measure(ctx context.Context, steps []MeasureStep) ([]Measured, error) {
	chip := part.Pins(1<<s.Pins - 1)
	return s.adapter.measure(ctx, steps, false, frame{func(pins part.Pins) Word { return s.word(pins & chip) }, s.pins, s.pinAt})
}

// ProbeMeasure measures in a socket without supply, by its positions, 1 to 28, as
// if they were the pins of a 28-pin package: see Probe.
func (s *Seat) ProbeMeasure(ctx context.Context, steps []MeasureStep) ([]Measured, error) {
	return s.adapter.measure(ctx, steps, true, frame{wordOf, positionsOf, func(position int) int { return position }})
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
			Bias:      protocol.Rail(step.Bias),
			Load:      protocol.Rail(step.Load),
		})
	}
	var measured []Measured
	for rest := asked; len(rest) > 0; {
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
		a.rails = protocol.Rails{Bias: rest[n-1].Bias, Load: rest[n-1].Load}
		for i, step := range reply.Steps {
			measured = append(measured, measuredOf(step, reply.Positions[i], f))
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
		return fmt.Errorf("%w measure voltages: it has no converter, or firmware before 1.1", ErrCannot)
	case step.Bias != Off && !c.Bias, step.Load != Off && !c.Load:
		return fmt.Errorf("%w hold the pins by a rail that it does not have", ErrCannot)
	case step.Settle < 0 || step.Settle > longestSettle:
		return fmt.Errorf("%w wait %v in a step: it can up to %v", ErrCannot, step.Settle, longestSettle)
	case step.Averaging < 0 || step.Averaging > protocol.MostAveraging:
		return fmt.Errorf("%w average 2^%d conversions: it can up to 2^%d", ErrCannot, step.Averaging, protocol.MostAveraging)
	}
	return nil
}

// measureBatch gives how many steps fit a request, and how long they take there.
func (a *Adapter) measureBatch(steps []protocol.MeasureStep) (n int, work time.Duration) {
	c := a.Capabilities
	for n < protocol.MeasureFits(steps, c.MaxPayload) {
		s := steps[n]
		conversions := bits.OnesCount32(s.Positions) * (1<<s.Averaging + 2) // SPEC.md, MEASURE
		more := time.Duration(s.SettleUS)*time.Microsecond + time.Duration(conversions)*c.Conversion
		if work+more > c.MaxBusy {
			break
		}
		work += more
		n++
	}
	return n, work
}

func measuredOf(step protocol.Measured, positions uint32, f frame) Measured {
	m := Measured{High: f.pins(Word(step.Sample)), Volts: unmeasured(), CurrentMA: milliamps(step.Current)}
	i := 0
	for position := range Word(positions).Positions() {
		m.Volts[f.pin(position)] = float64(step.Millivolts[i]) / 1000
		i++
	}
	return m
}
