//go:build simavr

package avrsim

import (
	"testing"
	"chipassay/protocol"
	"math/rand/v2"
)

func TestZZ(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	p := open(t, "")
	call := powered(t, p.Conn, 22, 7)
	call.must(&protocol.Pulls{Bias: protocol.Pull{On: true}}, &protocol.Acknowledged{Request: protocol.TypePulls})
	p.bench.using.Lock()
	turning(p.bench, 3, func() []uint64 { var e []uint64; at := uint64(100); for range 64 { at += 400+random.Uint64N(300); e = append(e, at) }; return e })
	p.bench.using.Unlock()
	hist := map[int]int{}
	for range 40 {
		bias := protocol.Pull{On: true}
		call.must(&protocol.Apply{Steps: []protocol.Drive{{Direction: positions(acted)}}}, new(protocol.ApplyReply))
		var reply protocol.WatchReply
		w := &protocol.Watch{Watched: 3, UntilUS: 3000, Edges: protocol.MostEdges}
		for i := range 7 {
			w.Actions = append(w.Actions, protocol.WatchAction{AtUS: uint32(i)*300, Direction: positions(acted)|1<<5, Level: positions(acted)|uint32(i%2)<<5, Bias: bias})
		}
		call.must(w, &reply)
		for _, e := range reply.Edges {
			rel := (int(e.At)+150*16)%(300*16)-150*16
			if e.At > 2000*16 { continue }
			if int(e.Gap) > 16 { hist[rel/16]++; if e.Gap > 300 || (rel > -80*16 && rel < 0 ) { t.Log(rel/16, e.Gap/16) } }
		}
		if t.Failed() { return }
		for i, a := range reply.Acted { if int(a) - i*300*16 > 16 { t.Log("late", i, int(a)/16-i*300) } }
	}
}
