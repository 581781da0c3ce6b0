package virtual_test

import (
	"math"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/virtual"
	"chipassay/protocol"
	"chipassay/vectors/part"
)

// pulse triggers section 1 of a dual monostable of the 74123's pins, with 100 nF at RCX, and
// gives how long 1Q is high, µs. The bias charges.
func pulse(t *testing.T, name string, clip func(*virtual.Socket), rcx int, from, to, inputs part.Pins, q int, defects ...string) []adapter.Edge {
	t.Helper()
	_, seat := watching(t, name, clip, defects...)
	bias := adapter.PullUp(part.PinSet(rcx))
	w := mustWatch(t, seat, adapter.Watch{Pin: q, Until: 60 * time.Millisecond, Actions: []adapter.WatchAction{
		{Step: drive(inputs, from), Bias: bias}, {At: 30 * time.Millisecond, Step: drive(inputs, to), Bias: bias}}})
	if w.Stopped != protocol.StoppedByTime || w.Begin {
		t.Errorf("%s: %+v", name, w)
	}
	for i := range w.Edges {
		w.Edges[i].At -= w.Acted[1]
	}
	return w.Edges
}

// The width is the data sheet's factor times R C, with the bias and its output as R, and less by what the
// bias is above the chip's supply. Source of the factors: the definitions' own sources.
func TestPulseOfAMonostable(t *testing.T) {
	clip := func(p, q int) func(*virtual.Socket) {
		return func(s *virtual.Socket) { s.Clip(virtual.Capacitor{Farads: 100e-9, P: p, Q: q}) }
	}
	at := func(pin int) int { return adapter.PositionOf(pin, 16) }
	for _, c := range []struct {
		name        string
		rcx, cx     int
		inputs      part.Pins
		from, to    part.Pins
		q           int
		least, most float64 // µs
		defect      string
	}{
		{"74123", 15, 14, part.PinSet(1, 2, 3, 9, 10, 11), part.PinSet(1, 2, 3, 11), part.PinSet(2, 3, 11), 13, 280, 310, ""},
		{"74HC123", 15, 14, part.PinSet(1, 2, 3, 9, 10, 11), part.PinSet(3, 11), part.PinSet(2, 3, 11), 13, 430, 470, ""},
		{"74HC123", 15, 14, part.PinSet(1, 2, 3, 9, 10, 11), part.PinSet(3, 11), part.PinSet(2, 3, 11), 13, 1290, 1410, "pulse of 1Q 3 times too long"},
		{"74HC123", 15, 14, part.PinSet(1, 2, 3, 9, 10, 11), part.PinSet(3, 11), part.PinSet(2, 3, 11), 13, 143, 157, "pulse of 1Q 3 times too short"},
		{"4538B", 2, 1, part.PinSet(3, 4, 5, 11, 12, 13), part.PinSet(3, 5, 11, 13), part.PinSet(3, 4, 5, 11, 13), 6, 960, 1080, ""},
	} {
		var defects []string
		if c.defect != "" {
			defects = []string{c.defect}
		}
		edges := pulse(t, c.name, clip(at(c.rcx), at(c.cx)), c.rcx, c.from, c.to, c.inputs, c.q, defects...)
		if len(edges) != 2 || !edges[0].High || edges[0].At > 3*time.Microsecond {
			t.Errorf("%s: %+v", c.name, edges)
			continue
		}
		if us := (edges[1].At - edges[0].At).Seconds() * 1e6; us < c.least || us > c.most || math.IsNaN(us) {
			t.Errorf("%s %s: %.1f µs, want %g to %g", c.name, c.defect, us, c.least, c.most)
		}
	}
}
