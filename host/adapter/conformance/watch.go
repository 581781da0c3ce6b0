package conformance

import (
	"errors"
	"math"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/protocol"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

func driven(driven, high part.Pins) stimulus.Step {
	return stimulus.Step{Driven: driven, Drive: high}
}

// in reports whether an edge came at a time, as far as the adapter can tell.
func in(e adapter.Edge, at time.Duration) bool {
	const exact = 2 * time.Microsecond // to which the action says when it drove, and the pin follows
	return e.At >= at-exact && e.At-e.Gap <= at+exact
}

// A 7410 whose output 12 is 60 µs late (1, 2 and 13 are its inputs): each action at input 1
// shows at 12 so much later, the last one not any more. Another watch halts at the first edge
// after its last action.
func watches(t *testing.T, bench Bench) {
	_, seat := seat14(t, bench(t, "7410", "12 late 60 us"))
	if !seat.Can().Watch {
		t.Fatal("it cannot watch")
	}
	powerOn(t, seat)
	inputs := part.PinSet(1, 2, 13)
	act := func(us int, high bool) adapter.WatchAction {
		return adapter.WatchAction{At: time.Duration(us) * time.Microsecond, Step: driven(inputs, inputs.With(1, high)), Bias: adapter.Low}
	}
	for range 2 { // the first is on its way for a while
		if _, err := seat.ApplySettling(t.Context(), []stimulus.Step{driven(inputs, inputs)}, adapter.Low, time.Millisecond); err != nil {
			t.Fatal(err)
		}
	}
	w, err := seat.Watch(t.Context(), adapter.Watch{Pin: 12, Until: 1030 * time.Microsecond,
		Actions: []adapter.WatchAction{act(0, false), act(300, true), act(600, false), act(1000, true)}})
	if err != nil {
		t.Fatal(err)
	}
	if w.Begin || !w.End || w.Stopped != protocol.StoppedByTime || len(w.Acted) != 4 || len(w.Edges) != 3 || !math.IsNaN(w.Volts) {
		t.Fatalf("%+v", w)
	}
	for i, e := range w.Edges {
		if !in(e, w.Acted[i]+60*time.Microsecond) || e.High != (i%2 == 0) {
			t.Errorf("edge %d is %+v; the action was at %v", i, e, w.Acted[i])
		}
	}
	w, err = seat.Watch(t.Context(), adapter.Watch{Pin: 12, Until: 5 * time.Millisecond, Measure: 1, Averaging: 2,
		Actions: []adapter.WatchAction{act(0, false), act(1000, true)}, Halt: &adapter.WatchAction{Step: driven(inputs.With(1, false), inputs)}})
	if err != nil {
		t.Fatal(err)
	}
	last := len(w.Edges) - 1
	if w.Stopped != protocol.StoppedByHalt || last < 0 || len(w.Acted) != 3 || w.Edges[last].High || !in(w.Edges[last], w.Acted[1]+60*time.Microsecond) ||
		w.Acted[2] < w.Edges[last].At || w.Acted[2] > w.Edges[last].At+30*time.Microsecond {
		t.Fatalf("%+v", w)
	}
	// A TTL input that is released floats at its own level, above 1.2 V and below 2 V (from memory).
	if w.Volts < 1.2 || w.Volts > 2 || w.High.Has(12) {
		t.Errorf("after the halt: %+v", w)
	}
}

// In an empty socket the bias moves a position that is not sensed; it may not be driven
// meanwhile. What a watch cannot be is refused, and leaves the socket safe.
func watchesUnpowered(t *testing.T, bench Bench) {
	a, seat := seat14(t, bench(t, ""))
	on := adapter.WatchAction{At: 500 * time.Microsecond, Bias: adapter.PullUp(part.PinSet(9))}
	w, err := seat.ProbeWatch(t.Context(), adapter.Watch{Pin: 9, Until: 2 * time.Millisecond, Edges: 1, Measure: 9,
		Actions: []adapter.WatchAction{{Bias: adapter.Low}, on}})
	if err != nil {
		t.Fatal(err)
	}
	if w.Begin || !w.End || w.Stopped != protocol.StoppedByEdges || len(w.Edges) != 1 || w.Edges[0].At < on.At || w.Edges[0].At > on.At+120*time.Microsecond ||
		w.Volts < 4.9 || w.High != part.PinSet(9) {
		t.Errorf("%+v", w)
	}
	for _, c := range []struct {
		what string
		w    adapter.Watch
	}{
		{"no action", adapter.Watch{Pin: 9, Until: time.Millisecond}},
		{"a second and more", adapter.Watch{Pin: 9, Until: 1001 * time.Millisecond, Actions: []adapter.WatchAction{{}}}},
		{"65 edges", adapter.Watch{Pin: 9, Edges: 65, Until: time.Millisecond, Actions: []adapter.WatchAction{{}}}},
	} {
		if _, err := seat.ProbeWatch(t.Context(), c.w); !errors.Is(err, adapter.ErrCannot) {
			t.Errorf("%s: %v", c.what, err)
		}
	}
	var refusal *protocol.ErrorReply
	_, err = seat.ProbeWatch(t.Context(), adapter.Watch{Pin: 9, Until: time.Millisecond, Actions: []adapter.WatchAction{{Step: driven(part.PinSet(9), 0)}}})
	if !errors.As(err, &refusal) || refusal.Code != protocol.BadPosition {
		t.Errorf("a driven position without sense: %v", err)
	}
	mustBeSafe(t, a)
}

// Three outputs that are high are driven low, some 20 mA each: the watch ends at once.
func watchIsGuarded(t *testing.T, bench Bench) {
	a, seat := seat14(t, bench(t, "7410"))
	if !a.Capabilities.Monitor {
		return
	}
	if _, err := seat.PowerOn(t.Context(), 40); err != nil {
		t.Fatal(err)
	}
	against := driven(part.PinSet(1, 3, 9, 6, 8, 12), 0) // an input of each gate, and its output
	w, err := seat.Watch(t.Context(), adapter.Watch{Pin: 1, Until: 900 * time.Millisecond, Actions: []adapter.WatchAction{{Step: against, Bias: adapter.Low}}})
	if !errors.Is(err, adapter.ErrOverCurrent) {
		t.Errorf("outputs against drives: %v, %+v", err, w)
	}
	mustBeSafe(t, a)
}
