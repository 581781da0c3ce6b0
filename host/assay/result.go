// Package assay is the procedure on one chip, from insertion to verdict: how it is seated
// (contact), supply on with a current limit, every vector (function) or a march test
// (memory), levels and grade (levels), supply off. It says pass only when every planned
// step was applied, answered and compared; for a chip that fails it names the likeliest cause.
package assay

import (
	"cmp"
	"slices"
	"time"

	"chipassay/host/assay/contact"
	"chipassay/host/assay/function"
	"chipassay/host/assay/levels"
	"chipassay/host/assay/memory"
	"chipassay/host/assay/thresholds"
	"chipassay/host/assay/timing"
	"chipassay/host/verdict"
	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A Verdict is the outcome of an assay.
type Verdict = verdict.Verdict

// The verdicts.
const (
	Pass      = verdict.Pass
	PassBut   = verdict.PassBut
	Fail      = verdict.Fail
	NotTested = verdict.NotTested
)

// A Failure is one wrong value at one pin in one step.
type Failure struct {
	Pin      int
	Step     int    // from 1
	Inputs   string // the levels that matter, with names: "1A=H 1B=H 1C=L"
	Expected logic.Value
	Observed logic.Value
}

// A Trouble is why a chip is not powered, or not for long.
type Trouble string

// The troubles. All but the last may be dirt, a bent pin or a whisker at first.
const (
	NoTrouble     Trouble = ""
	NoContactPins Trouble = "no contact"   // signal or supply pins without contact
	ShortedPins   Trouble = "shorted"      // to each other, or to a supply
	TooMuchSupply Trouble = "over current" // it takes far too much supply current
)

// Condemns reports whether the trouble is the chip's own where it is the same after the
// chip was taken out, its pins were cleaned and it was reseated (common practice).
// Pins without contact are not: a worn socket would show the same.
func (t Trouble) Condemns() bool { return t == ShortedPins || t == TooMuchSupply }

// Reseated makes a reject of a chip that could not be tested for the same trouble
// before it was reseated, and reports whether it did.
func (r *Result) Reseated(before Trouble) bool {
	if r.Verdict != NotTested || r.Trouble != before || !r.Trouble.Condemns() {
		return false
	}
	found := r.Reason
	if r.Seating != nil && (r.Seating.Kind == contact.Touching || r.Seating.Kind == contact.Shorted) {
		found = r.Seating.Found // its advice was followed
		r.PinsFailed = slices.Clone(r.Seating.Pins)
	}
	r.Verdict, r.Reason = Fail, "the same after reseating: "+found
	r.Cause = cmp.Or(r.Cause, "broken inside; if other chips show the same, run chipassay adapter check with an empty socket")
	r.graded()
	return true
}

// MaxFailures is how many failures a result lists; FailureCount counts them all.
const MaxFailures = 20

// fail notes pins that failed, each once.
func (r *Result) fail(pins part.Pins) {
	r.PinsFailed = slices.Collect((pins | part.PinSet(r.PinsFailed...)).All())
}

// errorPins are the pins at which the listed failures stand.
func (r *Result) errorPins() (pins part.Pins) {
	for _, f := range r.Failures {
		pins = pins.With(f.Pin, true)
	}
	return pins
}

// A Result is all that one assay found.
type Result struct {
	Type    part.Type
	Verdict Verdict
	// Identified says by what the type was found, where nobody named it; else empty.
	Identified string
	Reason     string   // one sentence
	But        []string // what is wrong with a chip that passed

	Coverage       *fault.Coverage // what the vectors prove; nil for a memory
	Method         string          // how the vectors were chosen
	Selected       string          // by which levels of its selects a mask ROM was read, where the mask decides
	VectorsPlanned int
	VectorsApplied int    // applied, answered and compared, under both bias levels
	Comparison     string // how readbacks were compared: one by one, or by signatures
	Unsteady       int    // steps in blocks with a wrong signature that read right when they were repeated
	Rounds         int    // that were begun; what was applied and found is of the last
	read           function.Readback
	Runs           int // how often all of them were applied; 0 and 1 are once
	RunsFailed     int

	Seating      *contact.Seating // what was found wrong before power, or nil
	ContactVolts []contact.Volts  // that were measured before power
	contacted    bool             // how the chip is seated was asked for and found
	uncontacted  part.Pins        // pins of which it was not judged
	silent       bool             // nothing answered before power
	held         bool             // load resistors held heavy inputs low, and outputs high
	limitMA      int              // at which the supply trips, mA; 0 for the family's

	// OtherPart are the numbers of the parts that the chip probably is, the likeliest first,
	// all of them alike for what was seen; empty where it is what was typed.
	OtherPart []string
	Cause     string // the likeliest cause of a failure, in one sentence; empty where nothing failed or none is known
	// Trouble is what kept the chip from being tested; see Reseated.
	Trouble  Trouble
	other    another
	causes   []fault.Cause // of a failure in the vectors, that explain it
	supplied bool          // it was powered and did not trip at once

	PinsFailed   []int            // with wrong values, or named as the cause; ascending
	Late         []function.Delay // of outputs that follow late, as they were timed
	twins        []string         // numbers of parts whose thresholds the inputs have, and that answer every vector as well
	Failures     []Failure        // the first MaxFailures
	FailureCount int
	Findings     []string // what is wrong, in the bench's words
	GatesSound   []string // gates without an error, where the part has named gates
	GatesFailed  []string
	Partial      []int              // pins of a chip that passed which were not tested; ascending
	Margins      []levels.Margin    // inputs that the adapter may not drive to a valid low
	Levels       *levels.Levels     // nil where the adapter cannot measure
	Thresholds   []thresholds.Input // nil where none were measured
	Grade        verdict.Grade      // empty where no levels were measured
	GradeReasons []string           // why it is not the best
	Timing       *timing.Result     // of what a capacitor times, or nil
	unshownOnly  bool               // not tested only because the vectors show too little
	Memory       *memory.Result     // of a march test, or nil
	NotTested    []string           // what this assay does not cover
	Cautions     []string

	SupplyCurrentMA  float64 // at the end of power-up; negative where it was not measured
	SupplyVolts      float64 // that the chip had between its supply pins; 0 where it was not measured
	Started          time.Time
	Duration         time.Duration
	Adapter          string
	Firmware         string
	Definition       string // file of the definition: built in, or a person's own
	DefinitionSHA256 string
	VectorsSHA256    string
}
