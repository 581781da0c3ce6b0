package function

import (
	"cmp"
	"context"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A delayClass is how slow a good part of a family may be.
type delayClass struct {
	part  time.Duration // the longest propagation delay in the data book but for ripple counters
	stage time.Duration // of a stage of a ripple counter more
	ohms  float64       // behind a weak output as it goes high, Ω
}

// delayClasses are by family, at 5 V and over temperature.
//
// Source: from memory of the families' data books: the slowest of the part column are adders
// and display decoders (7480 105 ns, 7447 100 ns, MC14560B 2.1 µs); of a stage, 7493 70 ns over
// four, 74LS393 60 ns over four, MC14521B 12 µs over 24. The ohms are those of the short-circuit
// current or of IOH.
var delayClasses = map[string]delayClass{
	"74": {120, 25, 150}, "74H": {70, 20, 80}, "74L": {300, 110, 600}, "74S": {60, 20, 80}, "74LS": {100, 30, 130},
	"74ALS": {60, 20, 130}, "74AS": {30, 10, 60}, "74F": {40, 15, 60}, "74BCT": {30, 10, 40},
	"74HC": {200, 25, 80}, "74HCT": {200, 25, 80}, "74AC": {40, 15, 30}, "74ACT": {40, 15, 30},
	"74C": {1000, 400, 1500}, "4000B": {2100, 500, 1000}, "4000UB": {2100, 500, 1000}, "4000A": {3000, 800, 3000},
	"DTL": {150, 75, 6000}, "TIMER": {1500, 500, 50},
}

// nodeNanofarads is a position with a low-side switch, the adapter's own share of a delay; an
// output reaches the level that the MCU reads as high within two time constants.
const nodeNanofarads = 0.56

// mostDelay is how late a good part's output may be read as its inputs make it: the data
// sheet's maximum and the adapter's RC. Every bit of a counter or a timer counts as a stage
// of a ripple counter. Zero is not known.
func mostDelay(t part.Type, c *logic.Circuit) time.Duration {
	class, ok := delayClasses[t.Family.Name]
	if !ok {
		return 0
	}
	ns := class.part + time.Duration(2*nodeNanofarads*class.ohms)
	if kind := t.Part().Kind; kind == "counter" || kind == "timer" {
		ns += class.stage * time.Duration(len(c.State))
	}
	return ns * time.Nanosecond
}

// shortWaits are what may be waited for instead of the usual time; the MCU can do no shorter one.
var shortWaits = []time.Duration{500 * time.Nanosecond, time.Microsecond, 2 * time.Microsecond}

// SampledAfter is how much longer than asked for a wait of the real adapter may be, from the first input that changes to the last
// output that is sampled: firmware/avrsim, TestStepsSettle and TestSweepsSettle.
const SampledAfter = 1100 * time.Nanosecond

// ShortWait is the shortest wait after which a good part's driving outputs are all read right, the
// usual one where it is none of those that are tried.
func (v Vectors) ShortWait() time.Duration {
	most := mostDelay(v.Type, v.Circuit)
	for _, wait := range shortWaits {
		if most != 0 && most <= wait {
			return wait
		}
	}
	return v.usualWait()
}

// usualWait is what a step waits: the adapter's default, or more where the part may take it.
func (v Vectors) usualWait() time.Duration {
	return max(adapter.DefaultSettle, (mostDelay(v.Type, v.Circuit) + time.Microsecond - 1).Truncate(time.Microsecond))
}

// prompt are the outputs that drive both ways at all times. A released pin follows the bias, 10 kΩ.
func (v Vectors) prompt() (pins part.Pins) {
	for _, p := range v.Type.Variant.Pins {
		pins = pins.With(p.Number, p.Observable() && p.Stage == part.TotemPole)
	}
	return pins
}

// Hurried is what was shown with a short wait.
type Hurried struct {
	Wait     time.Duration // 0 where nothing was judged after one
	Pins     part.Pins     // outputs that were judged
	Releases part.Pins     // those of them that also release, and were judged between low and high only,
	Steps    int           // in so many steps
	wrong    bool
}

// hurry asks once more with a short wait, where the rounds did not.
func (o *observer) hurry(v Vectors) (h Hurried, err error) {
	wait := v.ShortWait()
	if wait >= adapter.DefaultSettle || !o.socket.Can().Walk {
		return Hurried{}, nil
	}
	d := v.driving()
	h = Hurried{Wait: wait, Pins: v.prompt(), Releases: d.pins, Steps: d.steps}
	if h.Pins|h.Releases == 0 {
		return Hurried{}, nil
	}
	shown := h.Pins
	if o.settle == h.Wait && o.signed == 2*len(o.steps) {
		shown = 0 // by the rounds
	}
	h.Pins |= h.Releases
	right, err := v.prompted(o.ctx, o.socket, d, h.Wait, shown|h.Releases)
	h.wrong = !right && err == nil
	return h, err
}

// prompted has the adapter apply the steps with a wait, and reports whether outputs are right that drive:
// those that always do in each step, those that also release where they go from low to high and back.
func (v Vectors) prompted(ctx context.Context, socket Socket, d driving, wait time.Duration, pins part.Pins) (right bool, err error) {
	right = true
	if always := v.prompt() & pins; always != 0 {
		if right, err = walked(ctx, socket, v.Sequence.Steps, wait, always); err != nil {
			return false, err
		}
	}
	if d.pins&pins == 0 {
		return right, nil
	}
	led := 0
	for _, i := range d.walked {
		stretch := d.stretches[i]
		e := adapter.Expected{Mask: d.in(stretch[0]) & pins}
		if e.Mask == 0 {
			continue
		}
		// What begins to drive here does so from where the bias had left it.
		lead := stretch[:1]
		if !d.free {
			lead = slices.Concat(slices.Concat(d.stretches[led:i]...), lead)
		}
		if _, err := socket.ApplySettling(ctx, lead, adapter.Low, v.usualWait()); err != nil {
			return false, err
		}
		led = i + 1
		for _, st := range stretch {
			e.High = append(e.High, st.High)
		}
		same, err := socket.Walk(ctx, stretch, wait, e, adapter.Low)
		if err != nil {
			return false, err
		}
		right = right && same
	}
	return right, nil
}

// driving are the steps in stretches in which outputs that also release either drive throughout or do not, and
// the adapter drives the same pins.
type driving struct {
	pins      part.Pins // that go from low to high or back within a stretch
	loose     part.Pins // all outputs that also release
	stretches [][]stimulus.Step
	walked    []int // those that are walked, the others being on the way
	steps     int   // up to the end of the last of them
	free      bool  // the part remembers nothing: the stretches' order is free
}

// Each stretch that is walked takes two requests. What is late is so from the beginning on: after so many
// changes of each output each way no more are walked.
const (
	mostStretches = 256
	enoughChanges = 8
)

// driving cuts the sequence; a part that remembers nothing may have its steps in another order, so that more of
// them follow one that drives the same outputs.
func (v Vectors) driving() (d driving) {
	for _, p := range v.Type.Variant.Pins {
		d.loose = d.loose.With(p.Number, p.Observable() && p.Stage == part.ThreeState)
	}
	steps := v.Sequence.Steps
	if d.loose == 0 || len(steps) == 0 {
		return driving{}
	}
	turns := slices.ContainsFunc(steps, func(st stimulus.Step) bool { return st.Driven != steps[0].Driven })
	if d.free = len(v.Circuit.Registers) == 0 && !turns; d.free {
		steps = slices.Clone(steps)
		slices.SortStableFunc(steps, func(a, b stimulus.Step) int { return cmp.Compare(d.in(b), d.in(a)) })
	}
	shown := map[change]int{}
	for from := 0; from < len(steps) && len(d.stretches) < mostStretches; {
		to := from + 1
		for to < len(steps) && steps[to].Driven == steps[from].Driven && steps[to].Compared == steps[from].Compared && d.in(steps[to]) == d.in(steps[from]) {
			d.pins |= (steps[to].High ^ steps[to-1].High) & d.in(steps[to])
			to++
		}
		if d.stretches = append(d.stretches, steps[from:to]); d.shows(steps[from:to], shown) || d.free {
			d.walked, d.steps = append(d.walked, len(d.stretches)-1), to
		}
		from = to
	}
	return d
}

// shows reports whether a stretch has a change of an output that was not shown often enough, and then counts
// all that it has.
func (d driving) shows(stretch []stimulus.Step, shown map[change]int) bool {
	var changes []change
	for i := 1; i < len(stretch); i++ {
		for pin := range ((stretch[i].High ^ stretch[i-1].High) & d.in(stretch[i])).All() {
			changes = append(changes, change{pin, stretch[i].High.Has(pin)})
		}
	}
	if !slices.ContainsFunc(changes, func(c change) bool { return shown[c] < enoughChanges }) {
		return false
	}
	for _, c := range changes {
		shown[c]++
	}
	return true
}

// A change is an output that rises or falls.
type change struct {
	pin  int
	high bool
}

// in are the outputs that also release and drive in a step.
func (d driving) in(st stimulus.Step) part.Pins { return st.Compared &^ st.Z & d.loose }

// walked has the adapter apply steps with a wait, and reports whether some pins read as expected.
func walked(ctx context.Context, socket Socket, steps []stimulus.Step, wait time.Duration, pins part.Pins) (right bool, err error) {
	expected := func(stretch []stimulus.Step) adapter.Expected {
		e := adapter.Expected{Mask: stretch[0].Compared & pins}
		for _, st := range stretch {
			e.High = append(e.High, st.High)
		}
		return e
	}
	if swept := sweptPins(steps); swept != nil && socket.Can().Sweep {
		wrong, err := socket.Sweep(ctx, steps, swept, wait, expected(steps), adapter.Low)
		return len(wrong) == 0, err
	}
	right = true
	for from := 0; from < len(steps); {
		to := from + alike(steps[from:])
		stretch := steps[from:to]
		e := expected(stretch)
		same, err := socket.Walk(ctx, stretch, wait, e, adapter.Low)
		if err != nil {
			return false, err
		}
		right = right && same
		from = to
	}
	return right, nil
}

// A Delay is how long an output took to follow, as it was timed.
type Delay struct {
	Pin      int
	High     bool          // it rose
	From, To time.Duration // it took longer than From, and at most To
	at       int           // by which of the timed steps
}

// Microseconds is the delay and its uncertainty, µs, which is never under two cycles of the MCU.
func (d Delay) Microseconds() (us, uncertainty float64) {
	return microseconds(d.From+d.To) / 2, max(0.125, microseconds(d.To-d.From)/2)
}

// mostTimed bounds how many steps of an output and a direction are timed, and how far into the
// sequence they are.
const (
	mostTimed   = 4
	timedWithin = 2000
)

// delays times outputs both ways, the slowest of a few steps each. Enough is a wait with which all
// is right.
func delays(ctx context.Context, socket Socket, v Vectors, pins part.Pins, enough time.Duration) (timed []Delay, err error) {
	if !socket.Can().Watch {
		return nil, nil
	}
	steps := v.timedSteps()
	for pin := range pins.All() {
		for _, high := range []bool{true, false} {
			var slowest *Delay
			for _, at := range changes(steps, pin, high) {
				if time.Duration(at)*enough > lateBudget {
					break
				}
				d, err := delayOf(ctx, socket, steps, at, pin, high, enough)
				if err != nil {
					return timed, err
				}
				if d != nil && (slowest == nil || d.From > slowest.From) {
					slowest = d
				}
			}
			if slowest != nil {
				timed = append(timed, *slowest)
			}
		}
	}
	return timed, nil
}

// timedSteps are the sequence, or where their order is free so that outputs which also release drive
// in many after each other.
func (v Vectors) timedSteps() []stimulus.Step {
	if d := v.driving(); d.free {
		return slices.Concat(d.stretches...)
	}
	return v.Sequence.Steps
}

// beyond keeps those delays that are over a wait which was too short for some output. One of which it is not sure
// by its time is asked again: a level that is wrong after the wait, once in a few trials, came later.
func beyond(ctx context.Context, socket Socket, v Vectors, delays []Delay, tooShort, enough time.Duration) (late []Delay, err error) {
	steps := v.timedSteps()
	for _, d := range delays {
		if d.To <= tooShort {
			continue
		}
		if d.From < tooShort && socket.Can().Walk {
			if _, err := socket.ApplySettling(ctx, steps[:d.at], adapter.Low, enough); err != nil {
				return late, err
			}
			pair := steps[d.at-1 : d.at+1]
			right := true
			for i := 0; i < lateTrials && right; i++ { // once is too little: the adapter's interrupts lengthen a wait
				right, err = socket.Walk(ctx, pair, tooShort, adapter.Expected{Mask: part.PinSet(d.Pin), High: []part.Pins{pair[0].High, pair[1].High}}, adapter.Low)
				if err != nil {
					return late, err
				}
			}
			if right {
				continue
			}
			d.From = tooShort
		}
		late = append(late, d)
	}
	return late, nil
}

// changes are the first steps that make an output change one way.
func changes(steps []stimulus.Step, pin int, high bool) (at []int) {
	for i := 1; i < min(len(steps), timedWithin) && len(at) < mostTimed; i++ {
		shown := func(st stimulus.Step) bool { return st.Compared.Has(pin) && !st.Z.Has(pin) }
		if before, st := steps[i-1], steps[i]; shown(before) && shown(st) && before.High.Has(pin) != high && st.High.Has(pin) == high {
			at = append(at, i)
		}
	}
	return at
}

// delayOf times an output that a step changes, by the best of a few trials; nil where no edge was seen.
func delayOf(ctx context.Context, socket Socket, steps []stimulus.Step, at, pin int, high bool, enough time.Duration) (*Delay, error) {
	var best *Delay
	for range lateTrials {
		if _, err := socket.ApplySettling(ctx, steps[:at], adapter.Low, enough); err != nil {
			return nil, err
		}
		w, err := socket.Watch(ctx, adapter.Watch{
			Pin: pin, Until: 2*enough + lookedOn, Edges: 1,
			Actions: []adapter.WatchAction{{Step: steps[at], Bias: adapter.Low}},
		})
		if err != nil {
			return nil, err
		}
		i := slices.IndexFunc(w.Edges, func(e adapter.Edge) bool { return e.High == high })
		if i < 0 {
			break
		}
		d := Delay{pin, high, max(0, w.Edges[i].At-w.Edges[i].Gap), w.Edges[i].At, at}
		if best == nil || d.To-d.From < best.To-best.From {
			best = &d
		}
		if best.To-best.From <= usualGap {
			break
		}
	}
	return best, nil
}

// lookedOn is how much longer than it may take an edge is looked for: a watch that ends sooner begins its looks later (firmware/README.md).
const lookedOn = 300 * time.Microsecond

// usualGap is the most that an edge's gap is where the adapter looked: 1.25 µs. One that came while it could not is timed again.
const usualGap = 1500 * time.Nanosecond
