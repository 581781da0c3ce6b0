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
	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// releaseTime bounds how long switching off may take once the context is done.
const releaseTime = 3 * time.Second

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
	observed, err := r.apply(ctx, socket, p)
	r.VectorsApplied = len(observed)
	switch {
	case err != nil && r.afterTrip(ctx, socket, p, err):
		return r.graded()
	case err != nil:
		return r.stopped(err)
	case !p.wants(FunctionStage):
		return r.notTested("only levels were asked for, no vector was compared")
	}
	if r.laterRound() && r.takenOut(ctx, socket) {
		r.Levels, r.NotTested = nil, append(r.NotTested, levelsUntested)
		return r.notTested(fmt.Sprintf("in round %d the chip is not in the socket any more: seat it and test again", r.Rounds))
	}
	r.judge(socket, p, observed, again{
		present: func() bool { return r.present(ctx, socket) },
		late:    func() string { return r.late(ctx, socket, p) },
	})
	r.sayRound()
	r.doubt()
	r.notAnother()
	return r.graded()
}

// notAnother takes back what a chip with touching pins showed that was powered because
// another part joins just those inside, where it turned out to be no such part.
func (r *Result) notAnother() {
	if r.Seating != nil && r.Seating.together && len(r.OtherPart) == 0 {
		r.Trouble, r.Levels, r.Cause = ShortedPins, nil, ""
		r.Failures, r.FailureCount, r.PinsFailed = nil, 0, slices.Clone(r.Seating.Pins)
		r.notTested(r.Seating.String())
	}
}

// graded gives the result its grade.
func (r *Result) graded() *Result {
	if r.Cause == "" && r.Verdict == Fail {
		r.Cause = r.Reason
	}
	r.grade()
	return r
}

// begin begins the result of a plan.
func begin(p Plan) *Result {
	return &Result{
		Type: p.Type, SupplyCurrentMA: -1, Started: time.Now(),
		Definition: p.Type.Part().File, DefinitionSHA256: p.Type.Part().SHA256,
		NotTested: untested(p), Cautions: p.Type.Variant.Cautions, Margins: Margins(p.Type),
	}
}

func (r *Result) end() { r.Duration = time.Since(r.Started) }

// measured keeps the levels, nil where none were measured.
func (r *Result) measured(levels *Levels) {
	if r.Levels = levels; levels != nil {
		r.SupplyVolts = cmp.Or(r.SupplyVolts, levels.SupplyVolts)
		levels.LowSupply = r.lowSupply()
		r.NotTested = slices.DeleteFunc(r.NotTested, func(text string) bool { return text == levelsUntested })
	}
}

// mayPower finds how the chip lies, where the plan wants that; the result where the
// chip is not to be powered, else nil.
func (r *Result) mayPower(ctx context.Context, socket Socket, p Plan) *Result {
	if refusal := p.Type.Variant.Refusal; refusal != "" {
		return r.notTested("this part must not be powered in the adapter: " + refusal)
	}
	prober, ok := socket.(Prober)
	if !ok || !p.wants(ContactStage) {
		return nil
	}
	v := p.Type.Variant
	goesOn := func(s Seating) bool {
		return s.Good() || s.powerable(v) || s.ofAnother(p.Type, r.parts(p)) || p.PowerAnyway && s.anyway(v)
	}
	powers := p.wants(FunctionStage) || p.wants(LevelStage)
	seating, err := r.seat(ctx, socket, prober, func(s Seating) bool { return powers && goesOn(s) })
	r.ContactVolts = seating.Volts
	if err != nil {
		return r.notTested(unfinished(err))
	}
	r.contacted, r.uncontacted = true, part.PinSet(seating.Untold...)
	if seating.Silent || seating.undecided {
		r.contacted = false // nothing is known of the pins
	}
	r.sayUntold(seating)
	switch {
	case seating.Silent:
		r.silent = true
		r.limitMA = lowLimitMA(p.Type)
		r.Cautions = append(slices.Clone(r.Cautions), fmt.Sprintf("nothing told before power how the chip lies, for its substrate hangs on a charge pump inside: "+
			"it was powered with at most %d mA, and the vectors alone decide", r.limitMA))
	case !seating.Good():
		r.Seating = &seating
		r.fail(seating.Pins...)
		if !goesOn(seating) {
			return r.refused(ctx, socket, prober, p, seating)
		}
		if !seating.powerable(v) && !seating.ofAnother(p.Type, r.parts(p)) {
			r.limitMA = lowLimitMA(p.Type)
			r.Cautions = append(slices.Clone(r.Cautions), fmt.Sprintf("powered anyway, with at most %d mA: before power %s", r.limitMA, seating.Found))
		}
	}
	return nil
}

// sayUntold says which pins were not judged before power.
func (r *Result) sayUntold(s Seating) {
	if len(s.Untold) > 0 {
		r.NotTested = append(r.NotTested, "contact and shorts before power of "+pinList(s.Untold)+
			": the adapter measures no voltage there, for its far converters are not fitted")
	}
}

// onlyContact says what came of the contact stage alone.
func (r *Result) onlyContact() string {
	if r.Seating != nil {
		return r.Seating.String()
	}
	if r.silent {
		return "only contact was asked for: nothing told before power how the chip lies, for its substrate hangs on a charge pump inside"
	}
	return "only contact was asked for: the chip lies as it should and every pin touches"
}

// doubt takes back a failure that may be the adapter's: where it cannot drive an
// input low, a sound chip answers wrongly.
func (r *Result) doubt() {
	if r.Verdict != Fail || len(r.Margins) == 0 || len(r.OtherPart) > 0 {
		return
	}
	if i := slices.IndexFunc(r.Margins, Margin.hopeless); i >= 0 {
		r.Findings = append(r.Findings, r.Reason)
		r.notTested("the chip answered wrongly, but that may be the adapter's fault: " + r.Margins[i].String())
		return
	}
	r.Findings = append(r.Findings, "the failure may be the adapter's: "+MarginWords(r.Margins))
}

func (r *Result) notTested(reason string) *Result {
	r.Verdict, r.Reason = NotTested, reason
	return r
}

// stopped is the result of an assay that an error ended.
func (r *Result) stopped(err error) *Result {
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

// powered powers the chip for as long as work takes, and switches off whatever happens.
func (r *Result) powered(ctx context.Context, socket Socket, work func() error) (err error) {
	defer func() {
		off, cancel := context.WithTimeout(context.WithoutCancel(ctx), releaseTime)
		defer cancel()
		if offErr := socket.PowerOff(off); offErr != nil && err == nil {
			err = fmt.Errorf("the supply could not be switched off, pull the adapter's plug: %w", offErr)
		}
	}()
	if r.SupplyCurrentMA, err = socket.PowerOn(ctx, cmp.Or(r.limitMA, supplyLimitMA(r.Type.Family))); err != nil {
		return err
	}
	r.supplied = true
	return work()
}

// apply powers the chip, applies all steps and measures.
func (r *Result) apply(ctx context.Context, socket Socket, p Plan) (observed []fault.Observation, err error) {
	meter, measures := socket.(LevelMeter)
	err = r.powered(ctx, socket, func() error {
		if p.wants(FunctionStage) && measures {
			defer meter.HoldLoad(adapter.Off)
			if err := r.holdLows(ctx, meter, p); err != nil {
				return err
			}
		}
		if p.wants(FunctionStage) {
			if observed, err = r.observe(ctx, socket, p); err != nil {
				return err
			}
		}
		if r.wrong || !p.wants(LevelStage) { // else it is measured with the levels
			if err := r.measureSupply(ctx, socket); err != nil {
				return err
			}
		}
		if measures && r.wrong {
			err := r.identify(ctx, meter, p, seatOf(r.Type))
			if r.other.found() || errors.Is(err, adapter.ErrOverCurrent) { // which switched it off
				return nil
			}
			if err != nil {
				return err
			}
			if err := r.lookAgain(ctx, meter, p, socket.Sensed(), observed); err != nil {
				return err
			}
		}
		if measures && p.wants(LevelStage) {
			var levels *Levels
			levels, err = MeasureLevels(ctx, meter, p)
			r.measured(levels)
		}
		return err
	})
	return observed, err
}

// supplyLimitMA is the current at which the supply trips, in mA: above what the
// largest parts of the family draw, below what harms a wrongly placed chip at once.
func supplyLimitMA(f *part.Family) int {
	switch {
	case f.Technology.Bipolar(), f.Technology == part.NMOS:
		return 200
	case slices.Contains(part.MemoryFamilies, f):
		return 120
	}
	return 60
}

// typicalMA is what a typical chip of a family draws at rest, mA: a gate, inverter or
// buffer in a package of at most 16 pins, and the largest of the others. From memory of
// the data books' typical values: 7400 8, 74181 91, 74S181 120, 74LS245 64, 74F181 43,
// 74AS181 135; dynamic memories while they are strobed, static ones selected.
var typicalMA = map[string][2]int{
	"74": {12, 91}, "74H": {26, 100}, "74L": {2, 20}, "74S": {24, 120}, "74LS": {4, 64}, "74ALS": {3, 45}, "74AS": {12, 135}, "74F": {10, 100},
	"74HC": {0, 0}, "74HCT": {0, 0}, "74C": {0, 0}, "4000B": {0, 0}, "4000UB": {0, 0},
	"TTL": {110, 110}, "NMOS": {110, 110}, "CMOS": {40, 40},
}

// lowLimitMA is the trip's limit for a chip of which nothing is known, mA: 30 mA over
// what a typical one draws, so that none of them trips; a turned or shorted chip takes
// more, and what is left of 5 V times 30 mA, 0.15 W, heats no package (some 100 K/W,
// from memory) by more than 15 K.
func lowLimitMA(t part.Type) int {
	typical := typicalMA[t.Family.Name]
	if small(t) {
		return typical[0] + 30
	}
	if t.Variant.Memory != nil && t.Variant.Memory.Kind == part.DynamicRAM {
		return 35 + 30
	}
	return min(typical[1]+30, supplyLimitMA(t.Family))
}

// small tells whether a type is of the gates, buffers and inverters in packages of at most 16 pins.
func small(t part.Type) bool {
	return slices.Contains([]string{"gate", "buffer", "inverter", "schmitt"}, t.Part().Kind) && len(t.Variant.Pins) <= 16
}

// again is what the chip is asked once more, after a failure.
type again struct {
	present func() bool   // whether it is there at all
	late    func() string // whether it answers rightly when it is given time: in words, or nothing
}

// judge compares what was observed with what a good chip does.
func (r *Result) judge(socket Socket, p Plan, observed []fault.Observation, ask again) {
	s := p.Sequence
	errs := r.compare(s, observed, socket.Sensed())
	switch {
	case r.FailureCount == 0 && r.undecided != 0:
		r.notTested("at " + namedPins(r.Type.Variant, r.undecided) + " the level is neither a low nor a high, and its vectors are not judged")
		return
	case r.FailureCount == 0 && r.Unsteady > 0:
		r.Verdict = Fail
		if r.Reason = ask.late(); r.Reason == "" {
			r.Reason = fmt.Sprintf("fails only sometimes: of %d vectors the signatures were wrong, and repeated they were answered rightly", r.Unsteady)
		}
		return
	case r.FailureCount == 0 && r.Seating != nil:
		r.Verdict, r.Reason = Fail, r.Seating.String()
		r.Findings = []string{fmt.Sprintf("all %d vectors were answered rightly, which an open input may do by chance", r.VectorsApplied)}
		return
	case r.FailureCount == 0:
		if pin := r.weakHigh(); pin != 0 {
			r.fail(pin)
			r.Verdict, r.Reason = Fail, "the output at "+namedPins(r.Type.Variant, part.PinSet(pin))+" does not drive high by itself"
			return
		}
		if !r.judgePullUps(p) {
			r.sound(p)
		}
		return
	case silent(s, observed) && r.SupplyCurrentMA < presenceMA && !ask.present():
		r.PinsFailed = []int{}
		r.Failures, r.FailureCount = nil, 0
		r.notTested(silence(r))
		return
	}
	r.Verdict = Fail
	if p.Brief {
		r.Reason = fmt.Sprintf("%d of %d vectors were answered wrongly or in part", r.FailureCount, r.VectorsApplied)
		return
	}
	r.explain(p, observed, errs, ask.late)
}

// presenceMA is a supply current, in mA, that only a chip in the socket takes.
const presenceMA = 0.3

// present tells whether a chip lies in the socket, though it answers nothing.
func (r *Result) present(ctx context.Context, socket Socket) bool {
	prober, ok := socket.(Prober)
	if !ok {
		return false
	}
	defer func() {
		off, cancel := context.WithTimeout(context.WithoutCancel(ctx), releaseTime)
		defer cancel()
		_ = socket.PowerOff(off) // nothing is supplied; the adapter lets go by itself too
	}()
	there, err := Present(ctx, prober, r.Type)
	return err == nil && there
}

// silent tells whether nothing in the socket drove any pin, though a good chip would.
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
	return fmt.Sprintf("no pin answers: the socket is empty, or no supply reaches the chip (pin %d %s, pin %d %s); see that the chip is seated with pin 1 at the lever end, clean its pins and test again",
		v.VCC(), v.Pins[v.VCC()-1].Name, v.GND(), v.Pins[v.GND()-1].Name)
}

// compare counts the errors of each pin and lists the first failures.
func (r *Result) compare(s *stimulus.Sequence, observed []fault.Observation, sensed part.Pins) (errs map[int]int) {
	errs = map[int]int{}
	for i, st := range s.Steps {
		note := func(pin int, expected, seen logic.Value) {
			errs[pin]++
			r.FailureCount++
			if len(r.Failures) < MaxFailures {
				r.Failures = append(r.Failures, Failure{Pin: pin, Step: i + 1, Inputs: levels(r.Type.Variant, st, pin), Expected: expected, Observed: seen})
			}
		}
		for pin := range st.Compared.All() {
			if want, _ := st.Expect(pin); want != observed[i].Value(pin) {
				note(pin, want, observed[i].Value(pin))
			}
		}
		// A driven pin that reads the other way, be it once, is held by more than 14 mA: no input does that.
		for pin := range (st.Driven & sensed).All() {
			want := logic.FromBool(st.Drive.Has(pin))
			if seen := observed[i].Value(pin); seen != want {
				note(pin, want, seen)
			}
		}
	}
	r.fail(slices.Collect(maps.Keys(errs))...)
	return errs
}

// levels prints the driven levels of the pins that belong to the failing pin's
// gate, or of all pins where there are no gates.
func levels(v *part.Variant, st stimulus.Step, pin int) string {
	shown := st.Driven
	for _, g := range v.Gates {
		if slices.Contains(g.Pins, pin) {
			shown &= part.PinSet(g.Pins...)
			break
		}
	}
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
