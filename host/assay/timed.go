package assay

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"chipassay/host/adapter"
	"chipassay/host/assay/timing"
	"chipassay/host/quantity"
	"chipassay/vectors/part"
)

// time times the pulses and oscillations of a chip whose vectors were right, section by section: the
// supply is off while a person clips, and the capacitor is measured before it comes on again.
func (r *Result) time(ctx context.Context, socket Socket, p Plan) error {
	v := r.Type.Variant
	found := &timing.Result{Farads: p.Timing.Farads}
	r.Timing = found
	wanted := p.Timing.Wanted(v)
	for i, x := range v.Timings {
		if !slices.Contains(wanted, i) {
			found.Untimed = append(found.Untimed, x.Name)
		}
	}
	var last timing.Clips
	for n, i := range wanted {
		x := &v.Timings[i]
		clips := p.Timing.ClipsOf(x)
		clips.SameAsLast = n > 0 && clips.Same(last)
		clips.Moved = n > 0 && !clips.SameAsLast
		last = clips
		if p.Timing.Clip != nil {
			if err := p.Timing.Clip(ctx, clips); err != nil {
				return err
			}
		}
		farads, within := 0.0, 0.0
		if x.Supplied != 0 && p.Timing.Farads >= timing.LeastMeasured && measures(socket, v, x.Positive) {
			var err error
			if farads, within, err = timing.MeasureCapacitor(ctx, socket, v, x, p.Timing.Farads); err != nil {
				return err
			}
		}
		if x.Resistor[0] != 0 {
			seconds, known, err := timing.MeasureProduct(ctx, socket, v, x, *p.Timing)
			if err != nil {
				return err
			}
			farads, within = seconds/p.Timing.Ohms, known // the resistor as marked: only the product counts
		}
		section := timing.Begin(r.Type, x, *p.Timing, farads, within)
		current := r.SupplyCurrentMA
		err := r.powered(ctx, socket, func() error { return section.Test(ctx, socket, r.Type, x) })
		r.SupplyCurrentMA = current
		if err != nil {
			return err
		}
		found.Sections = append(found.Sections, *section)
	}
	return nil
}

// measures reports whether the adapter measures the voltage at a pin.
func measures(socket Socket, v *part.Variant, pin int) bool {
	return socket.Can().Measure.Has(adapter.PositionOf(pin, len(v.Pins)))
}

// timed takes what was timed into the verdict of a chip whose vectors were right.
func (r *Result) timed(ctx context.Context, socket Socket, p Plan) {
	if p.Timing == nil || !p.wants(FunctionStage) || r.Verdict == Fail || r.FailureCount > 0 || r.Verdict == NotTested && !r.unshownOnly || r.Seating != nil {
		return
	}
	if !socket.Can().Watch {
		r.NotTested = append(r.NotTested, "pulses: the firmware of the adapter cannot time edges; build and load the present one")
		return
	}
	vectors := fmt.Sprintf("all %d vectors were right", r.VectorsApplied)
	if r.VectorsApplied == 1 {
		vectors = "the one vector was right"
	}
	err := r.time(ctx, socket, p)
	var clip *timing.ClipError
	switch {
	case errors.As(err, &clip):
		r.notTested(clip.Words)
		return
	case err != nil:
		if errors.Is(err, adapter.ErrOverCurrent) {
			r.Trouble = TooMuchSupply
		}
		r.notTested(unfinished(err))
		return
	}
	r.judgeTiming(vectors)
	r.blameMarking(ctx, socket, p)
}

// besideTheTiming are the pins of the timing circuit that stand open or at their bias, as RINT of a 74122 and CTL of a 555 do.
func besideTheTiming(v *part.Variant) (pins part.Pins) {
	pins = externalPins(v)
	for _, x := range v.Timings {
		used := []int{x.Positive, x.Negative, x.Resistor[0], x.Resistor[1], x.Supplied}
		for _, w := range x.Wires {
			used = append(used, w[:]...)
		}
		used = slices.DeleteFunc(used, func(pin int) bool { return pin == 0 })
		pins = pins&^part.PinSet(used...) | x.Open
	}
	return pins
}

// judgeTiming gives the verdict. It passes nothing that was not seen.
func (r *Result) judgeTiming(vectors string) {
	v, found := r.Type.Variant, r.Timing
	var wrong, silent, words, open []string
	var failed, sections, untimed part.Pins // sections: with the outputs of those that failed
	for i := range found.Sections {
		s := &found.Sections[i]
		name := v.Pins[s.Output-1].Name
		switch {
		case len(s.Wrong) > 0:
			wrong = append(wrong, s.Wrong...)
			failed |= s.PinsWrong
			sections |= s.PinsWrong.With(s.Output, true)
		case s.NoPulses:
			if s.Name != "" && !strings.Contains(name, s.Name) {
				name += " (" + s.Name + ")"
			}
			silent = append(silent, name)
			failed = failed.With(s.Output, true)
		default:
			words = append(words, sectionWords(v, s))
			open = append(open, s.NotJudged...)
		}
	}
	for _, name := range found.Untimed {
		for _, x := range v.Timings {
			if x.Name == name {
				untimed |= part.PinSet(x.Outputs()...) | part.PinSet(x.Inputs(v)...)
			}
		}
	}
	for i := range found.Sections {
		untimed &^= part.PinSet(found.Sections[i].Output)
	}
	if unlike := found.Unlike(v); unlike != "" && len(wrong) == 0 {
		wrong = append(wrong, unlike)
		for _, s := range found.Sections {
			failed, sections = failed.With(s.Output, true), sections.With(s.Output, true)
		}
	}
	switch {
	case len(wrong) > 0:
		r.Verdict, r.Reason = Fail, wrong[0]
		r.Findings = append(r.Findings, wrong[1:]...)
		r.failTimed(failed, sections, untimed)
		return
	case len(silent) > 0 && r.foundCapacitor():
		r.Verdict, r.Reason = Fail, strings.Join(silent, " and ")+": no trigger gives a pulse, and the capacitor is there"
		r.failTimed(failed, failed, untimed)
		return
	case len(silent) > 0:
		r.notTested(fmt.Sprintf("%s: no pulse was seen; %s. The capacitor is not clipped where it should be, or the chip is dead there",
			strings.Join(silent, " and "), vectors))
		return
	}
	r.Verdict = Pass
	r.Reason = fmt.Sprintf("%s; %s", vectors, strings.Join(words, "; "))
	r.dropTimed(len(open) > 0 || len(found.Untimed) > 0)
	r.NotTested = append(r.NotTested, open...)
	if beside := besideTheTiming(v); beside != 0 {
		r.NotTested = append(r.NotTested, v.Named(beside)+": nothing that was timed shows it")
	}
	partial := untestedPins(v)&^r.timedPins()&^externalPins(v) | untimed
	if r.Partial = slices.Collect(partial.All()); len(r.Partial) > 0 || len(open) > 0 {
		r.Reason = inPart + r.Reason
		if len(found.Untimed) > 0 {
			r.Reason += fmt.Sprintf("; %s not timed", strings.Join(found.Untimed, " and "))
		}
		if len(open) > 0 {
			r.Reason += "; not judged: " + open[0]
		}
	}
	r.GatesSound = gateNames(v, func(g part.Gate) bool { return part.PinSet(g.Pins...)&untimed&^shared(v) == 0 })
}

// judgeUneven makes a chip that passed doubtful whose sections' pulses differ more than those of one die do.
func (r *Result) judgeUneven() {
	if r.Timing == nil || !r.Verdict.Passed() {
		return
	}
	if uneven := r.Timing.Uneven(r.Type.Variant); uneven != "" {
		r.doubtful(uneven)
		r.GradeReasons = append([]string{uneven}, r.GradeReasons[:len(r.GradeReasons)-1]...) // first
	}
}

// failTimed fails a chip by what was timed: what was timed and is right stays sound. Sections are pins of those that failed.
func (r *Result) failTimed(failed, sections, untimed part.Pins) {
	v := r.Type.Variant
	r.fail(failed)
	bad := func(g part.Gate) bool { return part.PinSet(g.Pins...)&sections&^shared(v) != 0 }
	r.Partial = nil
	r.GatesFailed = gateNames(v, bad)
	r.GatesSound = gateNames(v, func(g part.Gate) bool { return !bad(g) && part.PinSet(g.Pins...)&untimed&^shared(v) == 0 })
}

// foundCapacitor reports whether every capacitor was found before power.
func (r *Result) foundCapacitor() bool {
	return !slices.ContainsFunc(r.Timing.Sections, func(s timing.Section) bool { return !s.Present })
}

// dropTimed takes out of what is not tested what has been timed now.
func (r *Result) dropTimed(partly bool) {
	v := r.Type.Variant
	for pin := range r.timedPins().All() {
		r.NotTested = slices.DeleteFunc(r.NotTested, func(text string) bool {
			return strings.HasPrefix(text, fmt.Sprintf("no vector shows whether %v ", &v.Pins[pin-1]))
		})
	}
	for _, u := range v.Untested {
		if len(u.Pins) == 0 && !partly {
			r.NotTested = slices.DeleteFunc(r.NotTested, func(text string) bool { return text == u.Why })
		}
	}
}

func (r *Result) timedPins() (pins part.Pins) {
	for _, s := range r.Timing.Sections {
		pins |= part.PinSet(s.Output) | part.PinSet(s.Inputs...)
		for _, pin := range []int{s.Complement, s.Undivided} {
			if pin != 0 {
				pins = pins.With(pin, true)
			}
		}
	}
	return pins
}

func externalPins(v *part.Variant) (pins part.Pins) {
	for _, p := range v.Pins {
		pins = pins.With(p.Number, p.Role == part.External)
	}
	return pins
}

// sectionWords say what was right of a section, in half a sentence.
func sectionWords(v *part.Variant, s *timing.Section) string {
	name := v.Pins[s.Output-1].Name
	if s.Oscillates {
		return fmt.Sprintf("%s runs at %s, stops and starts as it should", name, quantity.Hertz(1/s.Pulse.Seconds))
	}
	limits := ""
	if s.Most > 0 {
		limits = fmt.Sprintf(" (by the formula %s)", s.LimitWords())
	}
	return fmt.Sprintf("%s: %d edges trigger or do not as they should, pulse %s%s", name, triggersOf(s), quantity.Seconds(s.Pulse.Seconds), limits)
}

// triggersOf counts the edges of inputs that were tried.
func triggersOf(s *timing.Section) (n int) {
	for _, c := range s.Checks {
		if c.Wants == "a pulse" || c.Wants == "no pulse" {
			n++
		}
	}
	return n
}
