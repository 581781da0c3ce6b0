package assay

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/assay/contact"
	"chipassay/host/assay/function"
	"chipassay/host/assay/levels"
	"chipassay/host/probe"
	"chipassay/host/verdict"
	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// Run tests the chip in a socket as planned. An error of the adapter, an
// interruption or anything unsafe gives the verdict NotTested.
func Run(ctx context.Context, socket Socket, p Plan) *Result {
	s := p.Sequence
	r := begin(p)
	r.Method, r.VectorsPlanned, r.VectorsSHA256 = s.Method, len(s.Steps), s.SHA256()
	r.Coverage = &p.Coverage
	defer r.end()
	if refused := r.mayPower(ctx, socket, p); refused != nil {
		return refused
	}
	if !p.wants(FunctionStage) && !p.wants(LevelStage) {
		return r.notTested(r.onlyContact())
	}
	if err := r.apply(ctx, socket, p); err != nil {
		return r.stopped(ctx, socket, p, err)
	}
	if !p.wants(FunctionStage) {
		return r.notTested("only levels were requested; no vector was compared")
	}
	if r.read.Intermittent() && socket.Can().Measure != 0 && !r.present(ctx, socket) {
		r.Levels, r.NotTested = nil, append(r.NotTested, levelsUntested)
		return r.notTested(fmt.Sprintf("in round %d the chip was no longer in the socket: seat it and test again", r.Rounds))
	}
	r.judge(ctx, socket, p)
	r.measureThresholds(ctx, socket, p)
	r.sayRound()
	r.doubt()
	r.notAnother()
	r.timed(ctx, socket, p)
	return r.graded()
}

// notAnother takes back what a chip with touching pins showed that was powered because
// another part joins just those inside, where it turned out to be no such part.
func (r *Result) notAnother() {
	if r.Seating != nil && r.Seating.Kind == contact.Touching && len(r.OtherPart) == 0 {
		r.Trouble, r.Levels, r.Cause = ShortedPins, nil, ""
		r.Failures, r.FailureCount, r.PinsFailed = nil, 0, slices.Clone(r.Seating.Pins)
		r.notTested(r.Seating.String())
	}
}

// graded gives the result its grade, and makes a pass with something else wrong a PASS BUT.
func (r *Result) graded() *Result {
	if r.Cause == "" && r.Verdict == Fail {
		r.Cause = r.Reason
	}
	r.Grade, r.GradeReasons, r.But = levels.Grade(r.Verdict, r.Levels)
	if r.But != nil {
		r.Verdict = PassBut
	}
	r.judgeThresholds()
	r.judgeUneven()
	if use := r.Type.Variant.Use; use != "" && r.Verdict == Pass {
		r.Grade, r.GradeReasons = verdict.Doubtful, append([]string{"tested for one use only, with " + use}, r.GradeReasons...)
	}
	r.sayLowSupply()
	return r
}

// begin begins the result of a plan.
func begin(p Plan) *Result {
	return &Result{
		Type: p.Type, SupplyCurrentMA: -1, Started: time.Now(),
		Definition: p.Type.Part().File, DefinitionSHA256: p.Type.Part().SHA256,
		NotTested: untested(p), Cautions: p.Type.Variant.Cautions, Margins: levels.Margins(p.Type),
	}
}

func (r *Result) end() { r.Duration = time.Since(r.Started) }

// measured keeps the levels, if they were measured.
func (r *Result) measured(found *levels.Levels, err error) error {
	if err == nil {
		r.Levels, r.SupplyVolts = found, cmp.Or(r.SupplyVolts, found.SupplyVolts)
		found.LowSupply = r.lowSupply()
		r.NotTested = slices.DeleteFunc(r.NotTested, func(text string) bool { return text == levelsUntested })
	}
	return err
}

// doubt takes back a failure that may be the adapter's: where it cannot drive an
// input low, a sound chip answers wrongly.
func (r *Result) doubt() {
	if r.Verdict != Fail || len(r.Margins) == 0 || len(r.OtherPart) > 0 {
		return
	}
	if i := slices.IndexFunc(r.Margins, levels.Margin.Hopeless); i >= 0 {
		r.Findings = append(r.Findings, r.Reason)
		r.notTested("wrong answers, but the adapter may be at fault: " + r.Margins[i].String())
		return
	}
	r.Findings = append(r.Findings, "the adapter may be at fault: "+levels.MarginWords(r.Margins))
}

func (r *Result) notTested(reason string) *Result {
	r.Verdict, r.Reason = NotTested, reason
	return r
}

// stopped is the result of an assay that an error ended.
func (r *Result) stopped(ctx context.Context, socket Socket, p Plan, err error) *Result {
	if r.afterTrip(ctx, socket, p, err) {
		return r.graded()
	}
	if errors.Is(err, adapter.ErrOverCurrent) {
		r.Trouble = TooMuchSupply
	}
	return r.notTested(unfinished(err))
}

// unfinished says why an assay did not come to its end.
func unfinished(err error) string {
	if errors.Is(err, context.Canceled) {
		return "interrupted; the supply is off"
	}
	return strings.ReplaceAll(err.Error(), "\n", "; ")
}

// apply powers the chip, applies all steps and measures.
func (r *Result) apply(ctx context.Context, socket Socket, p Plan) (err error) {
	return r.powered(ctx, socket, func() error {
		measures := socket.Can().Measure != 0
		if p.wants(FunctionStage) && measures {
			defer socket.HoldLoad(adapter.Off)
			if err := r.holdLows(ctx, socket, p); err != nil {
				return err
			}
		}
		if p.wants(FunctionStage) {
			r.read, err = function.Read(ctx, socket, p.Vectors)
			r.keepRead()
			if err != nil {
				return err
			}
			if !r.read.Wrong {
				r.sayUnseen(r.Rounds)
				r.saySpeed()
			}
		}
		if r.read.Wrong || !p.wants(LevelStage) { // else it is measured with the levels
			if err := r.measureSupply(ctx, socket); err != nil {
				return err
			}
		}
		if measures && r.read.Wrong {
			err := r.identify(ctx, socket, p, probe.SeatOf(r.Type.Variant))
			if r.other.found() || errors.Is(err, adapter.ErrOverCurrent) { // which switched it off
				return nil
			}
			if err != nil {
				return err
			}
			findings, err := r.read.LookAgain(ctx, socket, p.Vectors, r.supplyMayBeLow())
			r.Findings = append(r.Findings, findings...)
			if r.keepRead(); err != nil {
				return err
			}
		}
		if measures && p.wants(LevelStage) {
			return r.measured(levels.Measure(ctx, socket, p.Type, p.Sequence.Steps))
		}
		return nil
	})
}

// keepRead keeps what the vectors showed.
func (r *Result) keepRead() {
	r.VectorsApplied, r.Rounds, r.Comparison, r.Unsteady = len(r.read.Observed), r.read.Rounds, r.read.Comparison, r.read.Unsteady
}

// holdLows keeps how low the adapter drives heavy inputs.
func (r *Result) holdLows(ctx context.Context, meter levels.Meter, p Plan) error {
	over, held, err := levels.HoldLows(ctx, meter, p.Type, p.Sequence.Steps)
	if err != nil {
		return err
	}
	if r.Margins, r.held = over, held; held {
		r.NotTested = append(r.NotTested, "whether the outputs drive high by themselves in every vector: load resistors that help to hold heavy inputs low also pull them up; each output is measured once")
	}
	for _, m := range r.Margins {
		r.Cautions = append(slices.Clone(r.Cautions), fmt.Sprintf("%v: driven low it is at %.2f V, above the VIL of %.1f V; the chip may not read it as low",
			&r.Type.Variant.Pins[m.Pin-1], m.Volts, m.VIL))
	}
	return nil
}

// judge compares what was observed with what a good chip does.
func (r *Result) judge(ctx context.Context, socket Socket, p Plan) {
	s, observed := p.Sequence, r.read.Observed
	errs := r.compare(s, observed, socket.Can().Sense)
	switch {
	case r.FailureCount == 0 && r.read.Undecided != 0:
		r.notTested("the level at " + r.Type.Variant.Named(r.read.Undecided) + " is neither low nor high, so its vectors are not judged")
		return
	case r.FailureCount == 0 && r.Unsteady > 0:
		r.Verdict = Fail
		if r.Reason = r.late(ctx, socket, p); r.Reason == "" {
			r.Reason = fmt.Sprintf("intermittent: the signatures of %d vectors were wrong, but right when repeated", r.Unsteady)
		}
		return
	case r.FailureCount == 0 && r.Seating != nil:
		r.Verdict, r.Reason = Fail, r.Seating.String()
		why := "which may be chance with an open input"
		if r.Seating.Kind == contact.Touching {
			why = "so the pins touch through a resistance at most, or the adapter is at fault"
		}
		r.Findings = []string{fmt.Sprintf("all %d vectors were right, %s", r.VectorsApplied, why)}
		return
	case r.FailureCount == 0:
		if r.held && r.Levels != nil {
			if pin := r.Levels.WeakHigh(r.Type.Family.VIH); pin != 0 {
				r.fail(part.PinSet(pin))
				r.Verdict, r.Reason = Fail, fmt.Sprintf("the output at %v does not drive high by itself", &r.Type.Variant.Pins[pin-1])
				return
			}
		}
		if !r.judgePullUps(p) && !r.judgeDifferential() {
			r.sound(p)
		}
		return
	case silent(s, observed) && r.SupplyCurrentMA < presenceMA && !r.present(ctx, socket):
		r.PinsFailed = []int{}
		r.Failures, r.FailureCount = nil, 0
		r.notTested(silence(r))
		return
	}
	r.Verdict = Fail
	if p.Brief {
		r.Reason = fmt.Sprintf("%d of %d vectors were wrong or incomplete", r.FailureCount, r.VectorsApplied)
		return
	}
	r.explain(p, observed, errs, func() string { return r.late(ctx, socket, p) })
}

// silent reports whether nothing in the socket drove any pin, though a good chip would.
func silent(s *stimulus.Sequence, observed []fault.Observation) bool {
	driven := false
	for i, st := range s.Steps {
		for pin := range st.Compared.All() {
			if observed[i].Value(pin) != logic.Z {
				return false
			}
			driven = driven || !st.Z.Has(pin)
		}
	}
	return driven
}

// silence says what a socket without any answer may be.
func silence(r *Result) string {
	v := r.Type.Variant
	return fmt.Sprintf("no pin answers: the socket is empty, or the chip has no supply (pin %d %s, pin %d %s). Seat the chip with pin 1 at the lever end, clean its pins and test again",
		v.VCC(), v.Pins[v.VCC()-1].Name, v.GND(), v.Pins[v.GND()-1].Name)
}

// compare counts the errors of each pin and lists the first failures.
func (r *Result) compare(s *stimulus.Sequence, observed []fault.Observation, sensed part.Pins) (errs map[int]int) {
	errs = map[int]int{}
	for i, st := range s.Steps {
		note := func(pin int) {
			errs[pin]++
			r.FailureCount++
			if len(r.Failures) < MaxFailures {
				r.Failures = append(r.Failures, Failure{Pin: pin, Step: i + 1, Inputs: inputs(r.Type.Variant, st, pin), Expected: function.Wanted(st, pin), Observed: observed[i].Value(pin)})
			}
		}
		// A driven pin that reads the other way, be it once, is held by more than 14 mA: no input does that.
		for _, pins := range [2]part.Pins{st.Compared, st.Driven & sensed} {
			for pin := range function.Wrong(st, observed[i], pins).All() {
				note(pin)
			}
		}
	}
	r.fail(part.PinSet(slices.Collect(maps.Keys(errs))...))
	return errs
}

// inputs prints the driven levels of the pins that belong to the failing pin's
// gate, or of all pins where there are no gates.
func inputs(v *part.Variant, st stimulus.Step, pin int) string {
	shown := st.Driven & v.GateMates(pin)
	text := ""
	for n := range shown.All() {
		if v.Pins[n-1].Tied != part.NotTied {
			continue
		}
		if text != "" {
			text += " "
		}
		text += v.Pins[n-1].Name + "=" + letter(logic.FromBool(st.Drive.Has(n)))
	}
	return text
}

// letter is a value as the data sheets' tables print it.
func letter(v logic.Value) string {
	return map[logic.Value]string{logic.Zero: "L", logic.One: "H", logic.Z: "Z", logic.X: "X"}[v]
}

// late asks a chip that failed again, with more and more time, and says what follows late;
// else nothing.
func (r *Result) late(ctx context.Context, socket Socket, p Plan) (words string) {
	if r.Seating != nil {
		return ""
	}
	failed := 0
	if r.FailureCount > 0 {
		failed = r.Failures[0].Step
	}
	current := r.SupplyCurrentMA
	var late function.Lateness
	err := r.powered(ctx, socket, func() (err error) {
		late, err = function.Late(ctx, socket, p.Vectors, failed)
		return err
	})
	if r.SupplyCurrentMA = current; err != nil {
		return ""
	}
	r.fail(late.Pins)
	if r.Late = late.Delays; failed == 0 && late.Pins != 0 { // all was right at the usual wait
		has := func(g part.Gate) bool { return part.PinSet(g.Pins...)&late.Pins != 0 }
		r.GatesFailed = gateNames(r.Type.Variant, has)
		r.GatesSound = gateNames(r.Type.Variant, func(g part.Gate) bool { return !has(g) })
	}
	return late.Words
}
