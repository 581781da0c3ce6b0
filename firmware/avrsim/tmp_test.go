//go:build simavr

package avrsim

import (
	"testing"

	"chipassay/host/adapter"
	"chipassay/protocol"
)

func TestTmp(t *testing.T) {
	p := open(t, "")
	call := powered(t, p.Conn, 22, 7)
	bias := protocol.Pull{On: true}
	call.must(&protocol.Pulls{Bias: bias}, &protocol.Acknowledged{Request: protocol.TypePulls})
	call.must(&protocol.Apply{Steps: []protocol.Drive{{Direction: positions(acted)}}}, new(protocol.ApplyReply))
	var log []uint64
	var from uint64
	p.bench.using.Lock()
	p.bench.Carrier.Watch = func(c uint64, d, l adapter.Word) {
		if l.Has(1) && from == 0 {
			from = c
		}
	}
	p.bench.Carrier.Turned = func(c uint64) adapter.Word {
		if len(log) < 400 {
			log = append(log, c)
		}
		return 0
	}
	p.bench.using.Unlock()
	var reply protocol.WatchReply
	call.must(&protocol.Watch{Watched: 3, UntilUS: 4000, Edges: 64,
		Actions: []protocol.WatchAction{{Direction: positions(acted), Level: positions(acted), Bias: bias}, {AtUS: 100, Direction: positions(acted), Level: 0, Bias: bias}}}, &reply)
	last := int64(0)
	for i, c := range log {
		d := int64(c) - int64(from)
		if i > 0 && (d-last > 14) || i < 8 {
			t.Log(i, d, d-last)
		}
		last = d
	}
	t.Log(reply)
}
