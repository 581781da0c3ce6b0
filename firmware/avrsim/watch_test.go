//go:build simavr

package avrsim

import (
	"math/rand/v2"
	"slices"
	"testing"

	"chipassay/host/adapter"
	"chipassay/protocol"
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
		{watchedPin, 400, 3000}, {watchedPin, 8000, 30_000}, {watchedPin, 160_000, 40_000}, {watchedPin, 96, 20},
		{28, 400, 3000}, {9, 400, 3000}, {20, 400, 3000},
	} {
		p := open(t, "")
		call := powered(t, p.Conn, 22, 7)
		call.must(&protocol.Pulls{Bias: protocol.Pull{On: true}}, &protocol.Acknowledged{Request: protocol.TypePulls})
		var edges []uint64
		p.bench.using.Lock()
		turning(p.bench, c.position, func() []uint64 { edges = spaced(random, c.least, c.spread); return edges })
		p.bench.using.Unlock()
		var late, early, gaps, wide []int
		missed := 0
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
				gaps = append(gaps, int(e.Gap))
				if e.Gap > 14 {
					wide = append(wide, int(e.Gap))
				}
			}
		}
		if len(late) == 0 {
			t.Logf("position %d, every %d cycles and up: %d missed", c.position, c.least, missed)
			continue
		}
		slices.Sort(wide)
		t.Log(wide)
		t.Logf("position %d, every %d to %d cycles: seen %d to %d cycles late, gap's begin %d to %d, %d of %d gaps wide, to %d cycles, missed %d",
			c.position, c.least, c.least+c.spread, slices.Min(late), slices.Max(late), slices.Min(early), slices.Max(early),
			len(wide), len(gaps), slices.Max(gaps), missed)
	}
}
