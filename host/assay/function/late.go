package function

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/fault"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// waits are how long the steps of a chip that failed settle when it is asked again,
// the shortest as before; lateSteps how many steps are, with those up to the first
// error; and lateBudget for how long at most.
var waits = []time.Duration{adapter.DefaultSettle, 20 * time.Microsecond, 100 * time.Microsecond, time.Millisecond}

const (
	lateSteps  = 250
	lateBudget = time.Second
)

// engineTrials is how often the engine is asked with each wait: what fails at random does not fail half the time with
// one and never with the other. lateTrials is how often one step is timed, or asked.
const (
	engineTrials = 8
	lateTrials   = 4
)

// Lateness is what follows late.
type Lateness struct {
	Pins   part.Pins
	Words  string  // empty where nothing follows late
	Delays []Delay // of those that the adapter timed
}

// Late asks a powered chip that failed again, with more and more time, and says which
// outputs follow late if it answers right from some wait on, and with each shorter one
// does not; else nothing. Failed is the first failing step, from 1; 0 where a chip was only
// too late for a short wait. The outputs are then timed.
func Late(ctx context.Context, socket Socket, v Vectors, failed int) (l Lateness, err error) {
	ask := lateInSteps
	if failed == 0 {
		ask = lateForEngine
	}
	late, tooShort, enough, err := ask(ctx, socket, v, failed)
	if err != nil || tooShort == 0 {
		return Lateness{}, err
	}
	who, follow := "an output", "follows"
	if late != 0 {
		who = v.Type.Variant.Named(late)
	}
	if late.Len() > 1 {
		follow = "follow"
	}
	l = Lateness{Pins: late}
	l.Words = fmt.Sprintf("%s %s late: wrong %g µs after a change, right after %g µs", who, follow, microseconds(tooShort), microseconds(enough))
	if l.Delays, err = delays(ctx, socket, v, late, enough); err != nil {
		return Lateness{}, err
	}
	if l.Delays, err = beyond(ctx, socket, v, l.Delays, tooShort, enough); err != nil {
		return Lateness{}, err
	}
	if words := delayWords(v.Type.Variant, l.Delays); words != "" {
		l.Words += " (" + words + ")"
	}
	return l, nil
}

// mostDelayWords is how many delays a sentence gives.
const mostDelayWords = 4

// delayWords says how late outputs are: "1Y rises 29.8 ± 0.5 µs after its input".
func delayWords(v *part.Variant, delays []Delay) string {
	var words []string
	for _, d := range delays[:min(len(delays), mostDelayWords)] {
		move := "falls"
		if d.High {
			move = "rises"
		}
		us, uncertainty := d.Microseconds()
		words = append(words, fmt.Sprintf("%s %s %.1f ± %.1f µs after the inputs", v.Pins[d.Pin-1].Name, move, us, uncertainty))
	}
	if more := len(delays) - len(words); more > 0 {
		words = append(words, fmt.Sprintf("%d more were timed", more))
	}
	return strings.Join(words, ", ")
}

func microseconds(d time.Duration) float64 { return float64(d) / float64(time.Microsecond) }

// lateInSteps asks step by step, with the longest wait first: a chip that is wrong
// then is not late. What is late is so in the same steps again.
func lateInSteps(ctx context.Context, socket Socket, v Vectors, failed int) (late part.Pins, tooShort, enough time.Duration, err error) {
	steps := v.Sequence.Steps[:min(failed+lateSteps, len(v.Sequence.Steps))]
	var short []part.Pins
	for _, wait := range slices.Backward(waits) {
		if 2*wait*time.Duration(len(steps)) > lateBudget {
			continue
		}
		wrong, err := wrongAfter(ctx, socket, steps, wait)
		switch {
		case err != nil:
			return 0, 0, 0, err
		case union(wrong) != 0 && enough == 0, union(wrong) == 0 && tooShort != 0:
			return 0, 0, 0, nil // it fails always, or at random
		case union(wrong) == 0:
			enough = wait
		case tooShort == 0:
			short, tooShort = wrong, wait
		}
	}
	if tooShort == 0 {
		return 0, 0, 0, nil
	}
	once, err := wrongAfter(ctx, socket, steps, tooShort)
	if err != nil || !sameSteps(short, once) {
		return 0, 0, 0, err
	}
	return union(short), tooShort, enough, nil
}

// lateForEngine asks the adapter's engine, which waits less. Its wait is longer now and then, by an interrupt: what is
// wrong half the time, and with a longer wait never, is late.
func lateForEngine(ctx context.Context, socket Socket, v Vectors, _ int) (late part.Pins, tooShort, enough time.Duration, err error) {
	short, usual := v.ShortWait(), v.usualWait()
	if short >= usual || !socket.Can().Walk { // with which it was answered right step by step
		return 0, 0, 0, nil
	}
	d := v.driving()
	prompt := v.prompt() | d.pins
	wrong := func(wait time.Duration, pins part.Pins) (times int, err error) {
		for range engineTrials {
			right, err := v.prompted(ctx, socket, d, wait, pins)
			if err != nil {
				return 0, err
			}
			if !right {
				times++
			}
		}
		return times, nil
	}
	if times, err := wrong(short, prompt); err != nil || times < engineTrials/2 {
		return 0, 0, 0, err
	}
	for _, enough = range []time.Duration{usual, 4 * usual} {
		times, err := wrong(enough, prompt)
		if err != nil {
			return 0, 0, 0, err
		}
		if times > 0 {
			continue
		}
		for pin := range prompt.All() {
			times, err := wrong(short, part.PinSet(pin))
			if err != nil {
				return 0, 0, 0, err
			}
			late = late.With(pin, times > 0)
		}
		return late, short, enough, nil
	}
	return 0, 0, 0, nil
}

// wrongAfter gives the outputs that are wrong in each step when it settles for a wait.
func wrongAfter(ctx context.Context, socket Socket, steps []stimulus.Step, wait time.Duration) ([]part.Pins, error) {
	up, err := socket.ApplySettling(ctx, steps, adapter.High, wait)
	if err != nil {
		return nil, err
	}
	down, err := socket.ApplySettling(ctx, steps, adapter.Low, wait)
	if err != nil {
		return nil, err
	}
	wrong := make([]part.Pins, len(steps))
	for i, st := range steps {
		wrong[i] = Wrong(st, fault.Observation{PulledUp: up[i], PulledDown: down[i]}, st.Compared)
	}
	return wrong, nil
}

// sameSteps reports whether three quarters of the steps that were wrong once or twice were
// so twice: the first ones may hang on what was before.
func sameSteps(first, second []part.Pins) bool {
	once, twice := 0, 0
	for i := range first {
		if first[i]|second[i] != 0 {
			once++
		}
		if first[i]&second[i] != 0 {
			twice++
		}
	}
	return 4*twice >= 3*once
}

func union(sets []part.Pins) (all part.Pins) {
	for _, pins := range sets {
		all |= pins
	}
	return all
}
