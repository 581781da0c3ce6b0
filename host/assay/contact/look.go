package contact

import (
	"context"
	"math"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A Prober probes a socket whose supply is off. Steps, readings and voltages
// are by the socket's positions, 1 to 28, as if they were the pins of a 28-pin
// package: a chip may be seated elsewhere than it should. *adapter.Seat is one.
type Prober interface {
	// ProbeMeasure applies steps and gives the positions that read high and the
	// voltages asked for, V; NaN where none is measured.
	ProbeMeasure(ctx context.Context, steps []adapter.MeasureStep) ([]adapter.Measured, error)
	// Ground holds positions at 0 V by their switches, releases what is driven, and
	// lets all other positions go.
	Ground(ctx context.Context, positions part.Pins) error
	// Can gives the positions that the adapter reaches, grounds and measures.
	Can() adapter.Abilities
	// Constants are the adapter's rail and resistors.
	Constants(ctx context.Context) (adapter.Constants, error)
}

// A Step is one of the steps that find how a chip is seated.
type Step string

// The steps, in their order.
const (
	SupplyPairStep Step = "supply pair"
	TouchStep      Step = "contact"
	PlacementStep  Step = "placement" // only where the supply pair is not where it should be
	ShortStep      Step = "shorts"
	SoftStartStep  Step = "soft start"
)

// A Volts is a voltage at a position before power. They are kept so that the
// thresholds can be corrected from real chips.
type Volts struct {
	Step     Step    `json:"step"`
	Look     int     `json:"look"` // within the step, from 1
	Position int     `json:"position"`
	Volts    float64 `json:"volts"`
}

// A look is one step on a socket without supply: positions driven high and driven
// low, those that the bias pulls high while it pulls all others low, and those
// whose voltage is wanted.
type look struct {
	step          Step
	up, down      part.Pins
	biased, volts part.Pins
}

// What a look waits and averages: a position settles from its bias, 10 kΩ with up
// to 500 pF where there is a low-side switch, in 40 µs for a voltage (design.md); a
// reading of one converter's count more or less decides nothing.
const (
	lookSettle    = 50 * time.Microsecond
	lookAveraging = 1 // 2^1 conversions
)

// look takes looks in order, in one request where they fit, and keeps their voltages.
func (c *contact) look(looks ...look) ([]adapter.Measured, error) {
	var steps []adapter.MeasureStep
	for _, l := range looks {
		steps = append(steps, adapter.MeasureStep{
			Step:   stimulus.Step{Driven: (l.up | l.down) & c.can.Reach, Drive: l.up & c.can.Reach},
			Bias:   adapter.PullUp((l.biased | l.up) & c.can.Reach), // what is driven high is not loaded
			Settle: lookSettle, Pins: l.volts & c.can.Measure, Averaging: lookAveraging,
		})
	}
	seen, err := c.prober.ProbeMeasure(c.ctx, steps)
	for i, m := range seen {
		c.taken[looks[i].step]++
		for position, v := range m.Volts {
			if !math.IsNaN(v) {
				c.volts = append(c.volts, Volts{looks[i].step, c.taken[looks[i].step], position, v})
			}
		}
	}
	return seen, err
}

// everywhere are all positions.
const everywhere part.Pins = 1<<adapter.Positions - 1
