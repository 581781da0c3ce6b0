//go:build simavr

package avrsim

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/virtual"
	"chipassay/protocol"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

const (
	watchedPin = 3
	acted      = 1
)

// turning has a position of an empty socket turn over so many cycles after position 1 is driven
// high, the last of which is some time ago; it reports by which cycle that was.
func turning(b *Bench, position int, after func() []uint64) (driven func() uint64) {
	var from uint64
	var edges []uint64
	was := false
	b.Carrier.Watch = func(cycle uint64, _, level adapter.Word) {
		if high := level.Has(acted); high != was {
			was = high
			if high {
				from, edges = cycle, after()
			}
		}
	}
	b.Carrier.Turned = func(cycle uint64) adapter.Word {
		n := 0
		for n < len(edges) && from != 0 && from+edges[n] <= cycle {
			n++
		}
		if n%2 == 1 {
			return adapter.At(position)
		}
		return 0
	}
	return func() uint64 { return from }
}

// spaced gives 64 edges, so many cycles apart.
func spaced(random *rand.Rand, least, spread uint64) (edges []uint64) {
	at := uint64(200)
	for range protocol.MostEdges {
		at += least + random.Uint64N(spread)
		edges = append(edges, at)
	}
	return edges
}

// A position turns over at known cycles, which are the clock's units. Every edge lies within the gap
// that is stated for it, and most gaps are one look; the current is watched meanwhile.
func TestEdgesAreTimed(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for _, c := range []struct {
		position      int
		least, spread uint64 // cycles
	}{
		{watchedPin, surely, 3000}, {watchedPin, 8000, 30_000}, {watchedPin, 160_000, 40_000},
		{28, surely, 3000}, {9, surely, 3000}, {20, surely, 3000},
	} {
		p := open(t, "")
		call := powered(t, p.Conn, 22, 7)
		call.must(&protocol.Pulls{Bias: protocol.Pull{On: true}}, &protocol.Acknowledged{Request: protocol.TypePulls})
		var edges []uint64
		p.bench.using.Lock()
		turning(p.bench, c.position, func() []uint64 { edges = spaced(random, c.least, c.spread); return edges })
		p.bench.using.Unlock()
		var late, early, wide []int
		var all, missed int
		for range 5 {
			bias := protocol.Pull{On: true}
			call.must(&protocol.Apply{Steps: []protocol.Drive{{Direction: positions(acted)}}}, new(protocol.ApplyReply))
			var reply protocol.WatchReply
			call.must(&protocol.Watch{Watched: uint8(c.position), UntilUS: 900_000, Edges: protocol.MostEdges,
				Actions: []protocol.WatchAction{{Direction: positions(acted), Level: positions(acted), Bias: bias}}}, &reply)
			if reply.Begin || len(reply.Acted) != 1 {
				t.Fatalf("%+v", reply)
			}
			if len(reply.Edges) != len(edges) {
				missed += len(edges) - len(reply.Edges)
				continue
			}
			for i, e := range reply.Edges {
				off := int(e.At) - int(edges[i])
				late, early = append(late, off), append(early, off-int(e.Gap))
				all++
				if e.Gap > aLook {
					wide = append(wide, int(e.Gap))
				}
			}
		}
		slices.Sort(wide)
		t.Logf("position %d, %d to %d cycles apart: %d of %d gaps wide, the middle one of them %d cycles, the widest %d; %d edges missed",
			c.position, c.least, c.least+c.spread, len(wide), all, wide[len(wide)/2], wide[len(wide)-1], missed)
		if slices.Min(late) < 0 || slices.Max(early) > 0 {
			t.Errorf("an edge is not in its gap: seen %d cycles early, or before the gap by %d", -slices.Min(late), slices.Max(early))
		}
		if missed > 0 || len(wide)*4 > all || wide[len(wide)-1] > surely {
			t.Errorf("too much is seen late, or not at all")
		}
	}
}

// surely is how far apart edges are, cycles, of which none is missed, and so the widest gap: firmware/README.md.
const surely = 50 * Hertz / 1e6

// aLook is the gap of an edge that is seen in time, cycles: SPEC.md, WATCH.
const aLook = 16

// An action comes when it is asked for, or up to 1 µs later, and 50 µs where registers change, and says when; its own edge is
// seen within 1.5 µs.
func TestActionsAreTimed(t *testing.T) {
	p := open(t, "")
	call := powered(t, p.Conn, 22, 7)
	var drives []uint64
	p.bench.using.Lock()
	was := adapter.Word(0)
	p.bench.Carrier.Watch = func(cycle uint64, _, level adapter.Word) {
		if now := level & adapter.At(acted); now != was {
			was = now
			drives = append(drives, cycle)
		}
	}
	p.bench.using.Unlock()
	bias := []protocol.Pull{{On: true}, {On: true, Up: positions(5)}, {On: true, Up: positions(5)}, {On: true}, {}}
	ask := &protocol.Watch{Watched: acted, UntilUS: 10_000, Edges: protocol.MostEdges}
	at := []uint32{0, 100, 250, 1000, 5003}
	for i, us := range at {
		ask.Actions = append(ask.Actions, protocol.WatchAction{AtUS: us, Direction: positions(acted), Level: positions(acted) * uint32((i+1)%2), Bias: bias[i]})
	}
	var reply protocol.WatchReply
	call.must(ask, &reply)
	if len(drives) < len(at) || len(reply.Acted) != len(at) || len(reply.Edges) != len(at) {
		t.Fatalf("%d drives, %+v", len(drives), reply)
	}
	for i, us := range at {
		truly, stated, edge := int(drives[i]-drives[0]), int(reply.Acted[i]), reply.Edges[i]
		shift := 0
		if i > 0 && bias[i] != bias[i-1] && bias[i].On {
			shift = 50 * 16 // the registers
		}
		t.Logf("asked for %d µs: %.1f µs late, stated to %d cycles; its edge seen after %.1f µs", us, float64(stated)/16-float64(us), truly-stated, float64(edge.At-reply.Acted[i])/16)
		if stated < int(us)*16 || stated > int(us)*16+shift+16 || truly-stated < -8 || truly-stated > 8 {
			t.Errorf("an action at %d µs was at %d/16, stated are %d/16", us, truly, stated)
		}
		if int(edge.At)-truly > 24 || int(edge.At)-int(edge.Gap) > truly || edge.At < reply.Acted[i] || edge.Gap > 24 {
			t.Errorf("its edge is seen at %d/16 with a gap of %d/16", edge.At, edge.Gap)
		}
	}
}

// A Schmitt trigger's thresholds with 2.2 µF at its input, as in host/virtual, by the real
// program: the bias goes off, or the drive is released, some 10 µs after the output's edge, and the
// voltage is that of the model's threshold within 10 mV: 1.6 V up and 0.8 V down.
func TestThresholdsByHalting(t *testing.T) {
	typ := named(t, "74LS14")
	chip := socket(t, "74LS14")
	bench, err := NewBench(chip)
	if err != nil {
		t.Fatal(err)
	}
	chip.Clip(virtual.Capacitor{Farads: 2.2e-6, P: 1}) // not before: the adapter would take its switches for faulty
	s := seat(t, serve(t, bench).Conn, typ.Variant)
	if _, err := s.PowerOn(t.Context(), 100); err != nil {
		t.Fatal(err)
	}
	rest := part.PinSet(3, 5, 9, 11, 13)
	for _, c := range []struct {
		high  bool // from where
		pulls adapter.WatchAction
		volts float64
	}{
		{false, adapter.WatchAction{Bias: adapter.High}, 1.6},
		{true, adapter.WatchAction{Bias: adapter.Low, Load: adapter.Low}, 0.8},
	} {
		from := adapter.MeasureStep{Step: stimulus.Step{Driven: rest.With(1, true), Drive: part.Pins(0).With(1, c.high)}, Bias: adapter.Low, Settle: 20 * time.Millisecond}
		if _, err := s.Measure(t.Context(), []adapter.MeasureStep{from}); err != nil {
			t.Fatal(err)
		}
		c.pulls.Step = stimulus.Step{Driven: rest}
		w, err := s.Watch(t.Context(), adapter.Watch{Pin: 2, Until: 100 * time.Millisecond, Measure: 1,
			Actions: []adapter.WatchAction{c.pulls}, Halt: &adapter.WatchAction{Step: stimulus.Step{Driven: rest}}})
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%v after %v, %v after that: %.3f V", w.Stopped, w.Edges, w.Acted[1]-w.Edges[0].At, w.Volts)
		if w.Stopped != protocol.StoppedByHalt || w.High.Has(2) != c.high || math.Abs(w.Volts-c.volts) > 0.010 {
			t.Errorf("%+v, want %.3f V", w, c.volts)
		}
	}
}

// What host/assay/thresholds counts on: a near converter begins 7 to 10 µs after the halt, and after the end of a
// watch that ends by time; from there to its sample is 1.5 µs, of its clock (from memory of the data sheet).
func TestVoltageIsThatSoonAfterTheEnd(t *testing.T) {
	for _, halts := range []bool{true, false} {
		var all []float64 // µs
		for range 5 {
			p := open(t, "")
			call := powered(t, p.Conn, 22, 7)
			var drives, conversions []uint64
			was := adapter.Word(0)
			p.bench.using.Lock()
			p.bench.Carrier.Watch = func(cycle uint64, driven, _ adapter.Word) {
				if now := driven & adapter.At(acted); now != was {
					was = now
					drives = append(drives, cycle)
				}
			}
			p.bench.Carrier.Converts = func(cycle uint64) { conversions = append(conversions, cycle) }
			p.bench.using.Unlock()
			bias := protocol.Pull{On: true}
			const until = 5000 // µs
			ask := &protocol.Watch{Watched: acted, UntilUS: until, Edges: 1, Measured: watchedPin,
				Actions: []protocol.WatchAction{{Direction: positions(acted), Level: positions(acted), Bias: bias}}}
			if halts { // its own edge does
				ask.Halt = new(protocol.WatchAction)
			} else {
				ask.Watched = watchedPin
			}
			var reply protocol.WatchReply
			call.must(ask, &reply)
			if len(conversions) < 2 {
				t.Fatalf("%d conversions", len(conversions))
			}
			end := drives[0] + until*Hertz/1e6
			if halts {
				end = drives[1]
			}
			after := float64(conversions[len(conversions)-1]) - float64(end)
			all = append(all, after/Hertz*1e6)
		}
		slices.Sort(all)
		if all[0] < 7 || all[len(all)/2] > 10 || all[len(all)-1] > 30 { // an interrupt or two may come first
			t.Errorf("halts %v: it begins %.1f µs after the end", halts, all)
		}
	}
}

// SPEC.md, WATCH: actions from 6 µs apart on keep their distance, whether the position turns over with them or not; nearer
// ones come as soon as can be.
func TestActionsCloseTogether(t *testing.T) {
	for _, us := range []uint32{3, 6, 7, 15, 31, 33} {
		for _, watched := range []uint8{watchedPin, acted} {
			p := open(t, "")
			call := powered(t, p.Conn, 22, 7)
			ask := &protocol.Watch{Watched: watched, UntilUS: 3000, Edges: protocol.MostEdges}
			for i, at := range []uint32{0, 500, 500 + us, 500 + 2*us} {
				ask.Actions = append(ask.Actions, protocol.WatchAction{AtUS: at, Direction: positions(acted), Level: positions(acted) * uint32(i%2), Bias: protocol.Pull{On: true}})
			}
			var reply protocol.WatchReply
			call.must(ask, &reply)
			for i := 2; i < 4; i++ {
				apart := float64(reply.Acted[i]-reply.Acted[i-1]) / 16
				if apart < float64(us)-0.5 || apart > max(6, float64(us)+1) {
					t.Errorf("%d µs apart: %.2f µs, watched is %d", us, apart, watched)
				}
			}
			if reply.Acted[1] > 16*501 || watched == acted && len(reply.Edges) != 3 {
				t.Errorf("%d µs apart, watched is %d: %+v", us, watched, reply)
			}
		}
	}
}

// SPEC.md, WATCH, and firmware/README.md: what follows an action within 95 µs is seen within 2.5 µs, at whatever time the
// interrupts come, after the first action and after the others.
func TestEdgesSoonAfterAnActionAreTimed(t *testing.T) {
	for _, second := range []uint32{0, 40, 500} { // µs after the first, 0 without one
		p := open(t, "")
		call := powered(t, p.Conn, 22, 7)
		call.must(&protocol.Pulls{Bias: protocol.Pull{On: true}}, &protocol.Acknowledged{Request: protocol.TypePulls})
		for after := uint64(4); after < 95*16; after += 1 + after/8 {
			var driven func() uint64
			p.bench.using.Lock()
			driven = turning(p.bench, watchedPin, func() []uint64 { return []uint64{after} })
			p.bench.using.Unlock()
			off, on := protocol.WatchAction{Bias: protocol.Pull{On: true}}, protocol.WatchAction{AtUS: second, Direction: positions(acted), Level: positions(acted), Bias: protocol.Pull{On: true}}
			ask := &protocol.Watch{Watched: watchedPin, UntilUS: second + 200, Edges: 1, Actions: []protocol.WatchAction{off, on}}
			if second == 0 {
				ask.Actions = ask.Actions[1:]
			}
			call.must(&protocol.Apply{Steps: []protocol.Drive{{}}}, new(protocol.ApplyReply))
			var reply protocol.WatchReply
			call.must(ask, &reply)
			if driven() == 0 || len(reply.Acted) != len(ask.Actions) || len(reply.Edges) != 1 {
				t.Fatalf("%d cycles after an action at %d µs: %+v", after, second, reply)
			}
			seen, gap := uint64(reply.Edges[0].At-reply.Acted[len(reply.Acted)-1]), uint64(reply.Edges[0].Gap)
			truly := after + 5 // what it drives comes 5 cycles after an action's time at port A
			if seen < truly || gap <= seen && seen-gap > truly || gap > 40 {
				t.Errorf("%d cycles after an action at %d µs: seen after %d, with a gap of %d", after, second, seen, gap)
			}
		}
	}
}
