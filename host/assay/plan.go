package assay

import (
	"context"
	"slices"

	"chipassay/host/adapter"
	"chipassay/host/assay/contact"
	"chipassay/host/assay/function"
	"chipassay/host/assay/levels"
	"chipassay/host/assay/thresholds"
	"chipassay/host/assay/timing"
	"chipassay/vectors/fault"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
)

// A Socket is the chip's place in an adapter, by the chip's own pin numbers.
// *adapter.Seat is one.
type Socket interface {
	contact.Prober
	function.Socket
	levels.Meter
	thresholds.Socket
	timing.Socket
	// PowerOn switches the supply on and gives the current in mA.
	PowerOn(ctx context.Context, limitMA int) (float64, error)
	// PowerOff releases all pins and switches the supply off, even when ctx is done.
	PowerOff(ctx context.Context) error
	// Reseated is the place of another package, or of the same with other supply pins.
	Reseated(pins, vcc, gnd int) (*adapter.Seat, error)
}

// A Stage is a part of an assay.
type Stage string

// The stages, in their order.
const (
	// ContactStage finds how the chip is seated in the socket before it is powered, where
	// the adapter measures. A wrongly seated chip is not powered; where one signal pin does
	// not touch, the vectors say what of the chip is sound all the same.
	ContactStage Stage = "contact"
	// FunctionStage applies every vector.
	FunctionStage Stage = "function"
	// LevelStage measures levels and currents, where the adapter measures.
	LevelStage Stage = "levels"
)

// Stages are all of them.
var Stages = []Stage{ContactStage, FunctionStage, LevelStage}

// wants reports whether a stage is part of the plan.
func (p Plan) wants(s Stage) bool { return len(p.Only) == 0 || slices.Contains(p.Only, s) }

// A Plan is what is to be tested, and how.
type Plan struct {
	function.Vectors
	// Only names the stages that are wanted; all where it is empty. Without the
	// function, the verdict is NotTested.
	Only []Stage
	// PowerAnyway powers, at a low limit, what could not be shown to be seated right before power.
	PowerAnyway bool
	// Brief leaves out why a chip fails: for runs over very many.
	Brief bool
	// Coverage is what the sequence proves.
	Coverage fault.Coverage
	// Timing is what to time with a capacitor; nil for nothing.
	Timing *timing.Plan
	// Others gives the parts that may be in the socket instead of the right one,
	// to be named when a chip behaves as one of them. It is called only on a
	// failure, and may be nil.
	Others proof.Others
	// Thresholds asks for the thresholds of inputs, with a capacitor; it may be nil.
	Thresholds *thresholds.Request
	// Memories gives the memories that may be there instead; it may be nil.
	Memories func() ([]*part.Part, error)
}

// NewPlan plans the whole test of a type of logic. Others gives the parts that may
// be in the socket instead; it may be nil.
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
	return Plan{Vectors: function.Vectors{Type: t, Circuit: p.Circuit, Sequence: p.Sequence}, Coverage: p.Coverage, Others: others}, nil
}

// Short is the plan with the fewest vectors that show every modelled fault of cells
// and single pins that all of them show. Fewer may show fewer shorts and other parts.
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
