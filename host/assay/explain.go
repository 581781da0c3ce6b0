package assay

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"chipassay/host/assay/contact"
	"chipassay/host/assay/function"
	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// explain says a failure in the bench's words: which gate, which pins, under
// which inputs, what was expected and seen, and what would cause just that.
// Late says that the chip answers right when it is given time, or nothing.
func (r *Result) explain(p Plan, observed []fault.Observation, errs map[int]int, late func() string) {
	v := r.Type.Variant
	bad := func(g part.Gate) bool {
		return slices.ContainsFunc(g.Pins, func(pin int) bool { return errs[pin] > 0 && v.Pins[pin-1].Observable() })
	}
	r.GatesFailed = gateNames(v, bad)
	r.GatesSound = gateNames(v, func(g part.Gate) bool { return !bad(g) })
	for _, pin := range slices.Sorted(maps.Keys(errs)) {
		r.Findings = append(r.Findings, r.firstError(pin, errs[pin]))
	}
	held := heldPins(v, p.Sequence, observed, errs)
	others := r.otherParts(p, observed)
	if (len(others) > 0 || r.other.found()) && r.other.likelier(r.Type, others, r.exact(p, observed, held)) {
		r.isAnother(others)
		return
	}
	if words := r.unlike(); words != "" && !r.other.found() && len(others) == 0 && len(r.exact(p, observed, held)) == 0 {
		r.Reason = words
		r.Findings = append([]string{"check its marking, or try chipassay identify"}, r.Findings...)
		return
	}
	if r.Seating != nil {
		r.Findings = append(r.Findings, "before power: "+r.Seating.String())
	}
	words, best := r.cause(p, observed, held, late)
	r.causes = best
	for _, cause := range best {
		r.fail(cause.Pins())
	}
	byPrior(best)
	if r.Reason = words; words == "" {
		r.Reason = cmp.Or(causeWords(v, best), unexplained)
		r.Cause = cmp.Or(oneCause(v, best), unexplained)
	}
	r.Findings = append(r.Findings, r.Reason)
	if pins := adapters(v, best); pins != 0 {
		first := min(1, len(r.Findings))
		r.Findings = slices.Insert(r.Findings, first, "if other chips fail at "+pins.Words()+" too, run chipassay adapter check")
	}
	if len(others) > 0 {
		r.Findings = append(r.Findings, "or it is another part: "+anotherWords(others, r.Type))
	}
	if len(r.GatesSound) > 0 {
		r.Findings = append(r.Findings, part.Listed("gate", r.GatesSound)+" gave every right answer")
	}
}

// adapters are the pins of the likeliest cause where it may as well be the adapter's: a
// contact of its socket, or the resistor by which it drives an input.
func adapters(v *part.Variant, causes []fault.Cause) (pins part.Pins) {
	if len(causes) == 0 {
		return 0
	}
	for _, f := range causes[0].Faults {
		pins = pins.With(f.Pin, f.Kind == fault.Open || v.Pins[f.Pin-1].Drivable())
		if f.Kind == fault.Short {
			pins = pins.With(f.Other, v.Pins[f.Other-1].Drivable())
		}
	}
	return pins
}

// cause finds what explains a failure, the likeliest first: a fault of one pin; an
// output that is late; a fault inside; a fault of one pin that comes and goes, or is
// weak; two faults. Words are of what is no fault of pins.
func (r *Result) cause(p Plan, observed []fault.Observation, held fault.Held, late func() string) (words string, best []fault.Cause) {
	levels := levelCount(p.Sequence)
	diagnose := fault.Diagnose
	if r.read.Intermittent() {
		diagnose = fault.Passing
	}
	causes, possible := r.afterContact(diagnose(p.Circuit, r.Type.Family, p.Sequence, observed, held))
	best = bestCauses(causes, levels)
	single := possible && len(best) > 0 && len(best[0].Faults) == 1
	telling := single && best[0].Unknown <= levels/4 // else it predicts little
	stuck := func(c fault.Cause) bool {              // one that is very late looks so too
		kind := c.Faults[0].Kind
		return (kind == fault.StuckLow || kind == fault.StuckHigh) && p.Type.Variant.Pins[c.Faults[0].Pin-1].Observable()
	}
	if telling && !best[0].Sometimes && !slices.ContainsFunc(best, stuck) {
		return "", best
	}
	if words = late(); words != "" {
		return words, nil
	}
	remembers := len(p.Circuit.Registers) > 0 // and may fail now and then by its state
	if telling && !(best[0].Sometimes && remembers) {
		return "", best
	}
	if words = r.insideWords(p, observed, !single || best[0].Sometimes); words != "" {
		return words, nil
	}
	if telling {
		return "", best
	}
	if single || !possible || len(best) == 0 {
		if passing := fault.Passing(p.Circuit, r.Type.Family, p.Sequence, observed, held); len(passing) > 0 {
			return "", bestCauses(passing, levels)
		}
	}
	if !possible && len(best) > 0 && len(best[0].Faults) > 1 {
		return "", nil // the contact test would have seen them
	}
	return "", best
}

// afterContact leaves out what the contact test has shown not to be: pins that
// touch and do not touch each other are neither open nor shorted; and where one
// pin was found without contact, that is the cause if it explains what was seen.
// Possible reports whether that leaves any; if not, all of them are given.
func (r *Result) afterContact(causes []fault.Cause) (kept []fault.Cause, possible bool) {
	if !r.contacted || len(causes) == 0 {
		return causes, true
	}
	kept = slices.DeleteFunc(slices.Clone(causes), func(c fault.Cause) bool {
		if r.Seating != nil {
			return len(c.Faults) != 1 || c.Faults[0] != (fault.Fault{Kind: fault.Open, Pin: r.Seating.Pins[0]})
		}
		return !c.Sometimes && slices.ContainsFunc(c.Faults, r.contactShows)
	})
	if len(kept) == 0 {
		return causes, false
	}
	return kept, true
}

// contactShows reports whether the contact test would have seen a fault.
func (r *Result) contactShows(f fault.Fault) bool {
	v := r.Type.Variant
	switch f.Kind {
	case fault.Open:
		return !r.uncontacted.Has(f.Pin) && contact.Judges(v.Pins[f.Pin-1])
	case fault.Short:
		return !r.uncontacted.Has(f.Pin) && !r.uncontacted.Has(f.Other) && !slices.Contains(v.JoinedWith(f.Pin), f.Other)
	}
	return false
}

// insideWords says the faults behind the pins that explain what was observed as
// well as any, each bit and rule once; empty where none does. Alone: no
// pin fault does; otherwise a one-bit register adds nothing to its pins.
func (r *Result) insideWords(p Plan, observed []fault.Observation, alone bool) string {
	var words []string
	var best fault.Inside
	for _, in := range fault.DiagnoseInside(p.Circuit, r.Type.Family, p.Sequence, observed) {
		switch {
		case !alone && (in.Term > 0 || len(p.Circuit.Registers[in.Cell.Register].Bits) == 1):
			continue
		case len(words) == 0:
			best = in
		case in.Unknown > best.Unknown:
			return alternatives(words)
		case in.SameRule(best):
			continue
		}
		words = append(words, "inside, "+in.In(p.Circuit))
		r.fail(in.Pins(p.Circuit))
	}
	return alternatives(words)
}

// heldPins are the inputs that were seen at another level than they were driven to.
func heldPins(v *part.Variant, s *stimulus.Sequence, observed []fault.Observation, errs map[int]int) (held fault.Held) {
	for pin := range errs {
		if v.Pins[pin-1].Observable() {
			continue
		}
		alwaysLow, alwaysHigh := true, true
		for i, st := range s.Steps {
			if st.Driven.Has(pin) {
				seen := observed[i].Value(pin)
				alwaysLow = alwaysLow && seen == logic.Zero
				alwaysHigh = alwaysHigh && seen == logic.One
			}
		}
		held.Low = held.Low.With(pin, alwaysLow)
		held.High = held.High.With(pin, alwaysHigh)
		held.Now = held.Now.With(pin, !alwaysLow && !alwaysHigh)
	}
	return held
}

// otherParts lists the parts that the chip may be instead, the likeliest first: those
// that explain what probing showed, and of them those that behave as observed in the
// vectors, too; the latter alone where probing does not contradict the typed part. One
// that was right in a whole round is what it is marked.
func (r *Result) otherParts(p Plan, observed []fault.Observation) []string {
	if r.read.Intermittent() || r.Type.Heavy() {
		return nil
	}
	var circuits []*logic.Circuit
	for _, c := range r.parts(p) {
		if c.Circuit != nil {
			circuits = append(circuits, c.Circuit)
		}
	}
	impostors := fault.Impostors(p.Sequence, observed, circuits)
	r.other.narrow(impostors)
	switch {
	case r.other.found():
		return r.other.numbers()
	case r.other.record != nil && !r.other.right:
		return nil // what probing showed speaks against each of them
	case r.other.record != nil:
		impostors = slices.DeleteFunc(impostors, func(number string) bool { return !r.other.possible[number] })
	}
	return byDistance(r.Type, impostors, r.other.candidates)
}

// exact gives the single faults of pins that explain all that was observed in the
// vectors, and what probing showed; with what they leave open of that.
func (r *Result) exact(p Plan, observed []fault.Observation, held fault.Held) []fault.Cause {
	causes, possible := r.afterContact(fault.Singles(p.Circuit, r.Type.Family, p.Sequence, observed, held))
	switch {
	case !possible:
		return nil
	case r.other.record == nil || len(causes) == 0:
		return causes
	}
	steps, probed := r.other.record.Walked()
	silent := unstated(r.Type.Variant)
	for i := range steps {
		steps[i].Compared &^= silent
	}
	s := &stimulus.Sequence{Variant: p.Sequence.Variant, Steps: steps}
	both := fault.Singles(p.Circuit, r.Type.Family, s, probed, fault.Held{})
	driving, _ := r.other.misdirected(r.Type) // which only a fault at those pins explains
	// a monostable's pulses are open in its definition: a fault is measured by what it leaves open besides
	open := fault.LeftOpen(p.Circuit, r.Type.Family, s)
	return slices.DeleteFunc(both, func(b fault.Cause) bool {
		return part.PinSet(driving...)&^b.Pins() != 0 || 4*(b.Unknown-open) > levelCount(s)-open ||
			!slices.ContainsFunc(causes, func(c fault.Cause) bool {
				return slices.Equal(b.Faults, c.Faults) && 4*c.Unknown <= levelCount(p.Sequence)
			})
	})
}

// unstated are the pins whose level a definition says nothing of: those for parts outside the chip.
func unstated(v *part.Variant) (pins part.Pins) {
	for _, p := range v.Pins {
		pins = pins.With(p.Number, p.Role == part.External || p.Observable() && p.Untested != "")
	}
	return pins
}

// Explained reports whether a failure has a cause in the chip, as the part that it was tested
// as, that explains all that was observed.
func (r *Result) Explained() bool {
	return r.Verdict == Fail && len(r.OtherPart) == 0 && r.Reason != unexplained && r.unlike() == ""
}

// Causes are what explains all that was wrong in the vectors, the likeliest first; nil where
// nothing does, or it is no fault of pins.
func (r *Result) Causes() []fault.Cause { return r.causes }

// unexplained is the reason where nothing would cause just what was observed.
const unexplained = "first check that it is the right part: no fault of one or two pins explains all of this, nor does any other part of the library. A resistance between two pins may, or an intermittent fault"

// firstError gives a pin's first error, and how many there are.
func (r *Result) firstError(pin, count int) string {
	v := r.Type.Variant
	at := slices.IndexFunc(r.Failures, func(f Failure) bool { return f.Pin == pin })
	where := v.Pins[pin-1].String()
	if g := v.GateOf(pin); g != "" {
		where = fmt.Sprintf("gate %s, %s", g, where)
	}
	total := fmt.Sprintf("wrong in %d of %d vectors", count, r.VectorsPlanned)
	if at < 0 {
		return where + ": " + total
	}
	f := r.Failures[at]
	return fmt.Sprintf("%s: %s, expected %s, with %s (step %d); %s", where, letter(f.Observed), letter(f.Expected), f.Inputs, f.Step, total)
}

// fewCauses is how many causes are all named.
const fewCauses = 4

// bestCauses keeps the causes that predict most, and those that come so near
// to them that only the unknown state at power-up sets them apart. A floating MOS
// input predicts little; where nothing else predicts all, it cannot be excluded.
// A short leaves much open too, and is named only where it is as good as the best.
func bestCauses(causes []fault.Cause, levels int) []fault.Cause {
	var best, others []fault.Cause
	for _, c := range causes {
		open := c.Unknown - causes[0].Unknown
		single := len(c.Faults) == 1 && c.Faults[0].Kind != fault.Short
		switch {
		case open == 0, single && open <= levels/100, single && c.Faults[0].Kind == fault.Open && causes[0].Unknown > 0:
			best = append(best, c)
		case single:
			others = append(others, c)
		}
	}
	if len(best)+len(others) <= fewCauses {
		best = append(best, others...)
	}
	return best
}

// levelCount counts the levels that a sequence compares.
func levelCount(s *stimulus.Sequence) int {
	n := 0
	for _, st := range s.Steps {
		n += st.Compared.Len()
	}
	return n
}

// maxCauses is how many causes that no vector distinguishes are named.
const maxCauses = 6

// causeWords joins causes that no vector distinguishes.
func causeWords(v *part.Variant, causes []fault.Cause) string {
	var words []string
	for _, c := range causes {
		var all []string
		for _, f := range c.Faults {
			all = append(all, f.In(v))
		}
		text := strings.Join(all, " and ")
		if c.Sometimes {
			text += ", intermittently"
			if last := c.Faults[len(c.Faults)-1].Kind; last == fault.Short || last == fault.StuckLow || last == fault.StuckHigh {
				text += " or through a resistance"
			}
		}
		words = append(words, text)
	}
	return alternatives(words)
}

// oneCause is the likeliest of causes, in a sentence.
func oneCause(v *part.Variant, causes []fault.Cause) string {
	switch len(causes) {
	case 0, 1:
		return causeWords(v, causes)
	case 2:
		return causeWords(v, causes[:1]) + ", or one other that no vector distinguishes"
	}
	return fmt.Sprintf("%s, or one of %d others that no vector distinguishes", causeWords(v, causes[:1]), len(causes)-1)
}

// alternatives joins what no vector distinguishes.
func alternatives(words []string) string {
	switch {
	case len(words) == 0:
		return ""
	case len(words) == 1:
		return words[0]
	case len(words) > maxCauses:
		words = append(words[:maxCauses], fmt.Sprintf("one of %d more", len(words)-maxCauses))
	}
	return strings.Join(words, ", or ") + " (no vector distinguishes these)"
}

// gateNames lists the gates for which a condition holds.
func gateNames(v *part.Variant, holds func(part.Gate) bool) []string {
	names := []string{}
	for _, g := range v.Gates {
		if holds(g) {
			names = append(names, g.Name)
		}
	}
	return names
}

// levelsUntested is what is not tested without a voltmeter.
const levelsUntested = "output levels under load, input currents"

// speedUntested is what is not tested of speed.
const speedUntested = "speed: propagation delay, setup and hold times, maximum clock frequency"

// saySpeed says what right answers after a short wait prove: it finds a sick output, not a
// slow grade, whose delay is less than a tenth of it. What the adapter adds to the wait is in it.
func (r *Result) saySpeed() {
	h := r.read.Hurried
	i := slices.Index(r.NotTested, speedUntested)
	if h.Wait == 0 || i < 0 {
		return
	}
	r.NotTested[i] = fmt.Sprintf("%s; only that the outputs which drive both ways were right %g µs after %s, which finds a sick output, not a slow grade",
		speedUntested, float64(h.Wait+function.SampledAfter)/float64(time.Microsecond), changeWords(h, r.VectorsPlanned))
}

// changeWords says after which changes outputs were judged.
func changeWords(h function.Hurried, vectors int) string {
	if h.Releases == 0 {
		return "each change"
	}
	which := "each change between L and H, not out of Z"
	if h.Steps < vectors {
		which = fmt.Sprintf("changes between L and H, not out of Z, in the first %d vectors", h.Steps)
	}
	if h.Releases != h.Pins {
		return "each change, those that also release after " + which
	}
	return which
}

// pulsed reports whether a part has pulse-triggered flip-flops.
func pulsed(v *part.Variant) bool {
	return slices.ContainsFunc(v.Logic.Registers, func(r part.Register) bool {
		return slices.ContainsFunc(r.Rules, func(rule part.Rule) bool { return rule.Edge == part.Pulse })
	})
}

// untested lists what an assay does not cover.
func untested(p Plan) []string {
	typ := p.Type
	list := []string{
		speedUntested,
		"behaviour over temperature and supply voltage: the test runs at 5 V and room temperature",
		levelsUntested,
		thresholdsUntested,
		"resistances between pins: above about 100 Ω they may change no compared or measured level",
	}
	if pulsed(typ.Variant) {
		list = append(list, "whether it catches ones, as a pulse-triggered flip-flop does: its inputs never change during the pulse")
	}
	if !p.wants(FunctionStage) {
		list = append(list, "function: not requested")
	}
	if !p.wants(ContactStage) {
		list = append(list, "contact and orientation before power: not requested")
	}
	for _, u := range typ.Variant.Untested {
		text := u.Why
		for i, pin := range u.Pins {
			sep := ", "
			if i == 0 {
				sep = ": pin "
			}
			text += fmt.Sprintf("%s%d (%s)", sep, pin, typ.Variant.Pins[pin-1].Name)
		}
		list = append(list, text)
	}
	for i, f := range p.Coverage.Unseen {
		if i == 0 || p.Coverage.Unseen[i-1].Pin != f.Pin {
			list = append(list, "no vector shows whether "+f.In(typ.Variant))
			continue
		}
		list[len(list)-1] += ", or " + f.Kind.String()
	}
	return list
}
