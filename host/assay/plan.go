package assay

import (
	"context"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
	"chipassay/vectors/stimulus"
)

// A Socket is the chip's place in an adapter, by the chip's own pin numbers.
// *adapter.Seat is one.
type Socket interface {
	// PowerOn switches the supply on and gives the current in mA.
	PowerOn(ctx context.Context, limitMA int) (float64, error)
	// Apply applies steps with the bias rail at a level and gives the pins that read high.
	Apply(ctx context.Context, steps []stimulus.Step, bias adapter.Pull) ([]part.Pins, error)
	// PowerOff releases all pins and switches the supply off, even when ctx is done.
	PowerOff(ctx context.Context) error
	// Spent gives how much of the adapter's time was asked for so far.
	Spent() time.Duration
	// Sensed gives the pins whose level is read truly even while they are driven.
	Sensed() part.Pins
}

// An Engine applies steps by itself and compares signatures. *adapter.Seat is one.
type Engine interface {
	// Engines tells what it can.
	Engines() (sweep, walk bool)
	// Sweep applies a sweep of pins and gives the spans that did not read as expected.
	Sweep(ctx context.Context, steps []stimulus.Step, pins []int, settle time.Duration, e adapter.Expected, bias adapter.Pull) ([]adapter.Span, error)
	// Walk applies steps that drive the same pins and tells whether they read as expected.
	Walk(ctx context.Context, steps []stimulus.Step, settle time.Duration, e adapter.Expected, bias adapter.Pull) (bool, error)
}

// A Stage is a part of an assay.
type Stage string

// The stages, in their order.
const (
	// ContactStage finds how the chip lies in the socket before it is powered, where
	// the Socket is a Prober. What lies wrong is not powered; where one signal pin does
	// not touch, the vectors say what of the chip is sound all the same.
	ContactStage Stage = "contact"
	// FunctionStage applies every vector.
	FunctionStage Stage = "function"
	// LevelStage measures levels and currents, where the Socket is a LevelMeter.
	LevelStage Stage = "levels"
)

// Stages are all of them.
var Stages = []Stage{ContactStage, FunctionStage, LevelStage}

// wants tells whether a stage is part of the plan.
func (p Plan) wants(s Stage) bool { return len(p.Only) == 0 || slices.Contains(p.Only, s) }

// A Plan is what is to be tested, and how.
type Plan struct {
	Type     part.Type
	Circuit  *logic.Circuit
	Sequence *stimulus.Sequence
	// Only names the stages that are wanted; all where it is empty. Without the
	// function, the verdict is NotTested.
	Only []Stage
	// EveryReadback asks for every readback instead of signatures, where the Socket
	// is an Engine.
	EveryReadback bool
	// PowerAnyway powers, at a low limit, what could not be told to lie right before power.
	PowerAnyway bool
	// AtLeast is for how long of the adapter's time the vectors go round, to find
	// what comes and goes; 0 is one round.
	AtLeast time.Duration
	// Brief leaves out why a chip fails: for runs over very many.
	Brief bool
	// Coverage is what the sequence proves.
	Coverage fault.Coverage
	// Others gives the parts that may lie in the socket instead of the right one,
	// to be named when a chip behaves as one of them. It is called only on a
	// failure, and may be nil.
	Others proof.Others
	// Memories gives the memories that may lie there instead; it may be nil.
	Memories func() ([]*part.Part, error)
}

// NewPlan plans the whole test of a type of logic. Others gives the parts that may
// lie in the socket instead; it may be nil.
func NewPlan(t part.Type, others proof.Others) (Plan, error) {
	p, err := proof.Of(t, others)
	return planOf(t, p, others, err)
}

// NewLongPlan is NewPlan with the stages of dividers that only millions of clocks reach.
func NewLongPlan(t part.Type, others proof.Others) (Plan, error) {
	p, err := proof.Long(t, others)
	return planOf(t, p, others, err)
}

func planOf(t part.Type, p *proof.Proof, others proof.Others, err error) (Plan, error) {
	if err != nil {
		return Plan{}, err
	}
	return Plan{Type: t, Circuit: p.Circuit, Sequence: p.Sequence, Coverage: p.Coverage, Others: others}, nil
}

// Short is the plan with the fewest vectors that show every modelled fault of cells
// and single pins that all of them show. Fewer may tell fewer shorts and other parts.
func (p Plan) Short() (Plan, error) {
	p.Sequence = fault.Shorten(p.Circuit, p.Type.Family, p.Sequence)
	x := fault.Examine(p.Circuit, p.Type.Family, p.Sequence)
	short := x.Cover()
	p.Coverage.Shorts, p.Coverage.ShortsByVectors = short.Shorts, short.ShortsByVectors
	if p.Others == nil {
		return p, nil
	}
	others, err := p.Others()
	if err != nil {
		return Plan{}, err
	}
	p.Coverage.Intruders = slices.DeleteFunc(fault.Intruders(p.Circuit, p.Sequence, others), func(n string) bool { return n == p.Type.Part().Number })
	return p, nil
}
