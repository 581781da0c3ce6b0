//go:build simavr

package avrsim

import (
	"fmt"
	"testing"

	"chipassay/host/adapter"
	"chipassay/protocol"
)

// settling is the shortest time from a change of a level to a sample, cycles.
type settling struct {
	changed uint64
	looked  bool
	least   uint64
}

// watch looks at what the program reads after each change: of the ports of the sense lines
// the one that comes first, since the others follow within a few cycles.
func (s *settling) watch(c *Carrier) {
	s.least = never
	c.Watch = func(cycle uint64, _, _ adapter.Word) { s.changed, s.looked = cycle, false }
	c.Looked = func(cycle uint64, p Port) {
		if !s.looked && s.changed > 0 && (p == 'C' || p == 'B' || p == 'F' || p == 'K') {
			s.looked, s.least = true, min(s.least, cycle-s.changed)
		}
	}
}

// What SWEEP is asked to settle, in 1/16 µs, is what it waits, at 16 cycles a µs: the
// shift of the signature that takes the place of a wait is long enough.
func TestSweepsSettle(t *testing.T) {
	for _, settle := range []uint16{0, 1, 8, 11, 12, 13, 14, 15, 16, 20, 47, 160} {
		p := open(t, "")
		line := powered(t, p.Conn, 28, 12)
		load := sweep74181(true)
		load.Settle, load.Count = settle, 1<<10
		var seen settling
		seen.watch(p.bench.Carrier)
		line.must(load, new(protocol.SweepReply))
		if seen.least == never || seen.least < uint64(settle) {
			t.Errorf("settling %d/16 µs: %d cycles", settle, seen.least)
		}
		if seen.least > uint64(settle)+25 {
			t.Errorf("settling %d/16 µs takes %d cycles", settle, seen.least)
		}
	}
}

// So it is with the pause of an access that looks, in each of the ways that the walk does it.
func TestAccessesPause(t *testing.T) {
	for name, m := range map[string]underTest{"near, refreshed": dynamic64K(1), "one port": static1K(64), "all ports": static1K(64)} {
		for _, pause := range []uint8{0, 1, 4, 5, 6, 7, 8, 9, 10, 11, 13, 15, 16, 17, 18, 19, 20, 21, 22, 40, 255} {
			for _, kind := range []protocol.AccessKind{protocol.AccessCheck, protocol.AccessTake} {
				t.Run(fmt.Sprint(name, kind, pause), func(t *testing.T) {
					access := m.read(0)
					access.Pause, access.Kind = pause, kind
					load := m.load
					if name == "all ports" {
						load.Groups = append(load.Groups[:2:2], []uint8{10, 1, 26, 16})
					}
					cell := m.cell
					cell.Accesses = []protocol.Access{access}
					var a assembly
					a.loop(cell.Register, 0, 63)
					a = cell.Append(a)
					a.put(protocol.OpNext, cell.Register)
					a.put(protocol.OpEnd)
					load.Code = a
					p := open(t, "")
					high, ground := uint8(28), uint8(9)
					if name == "near, refreshed" {
						high, ground = 8, 28
					}
					line := powered(t, p.Conn, high, ground)
					line.must(&load, &protocol.Acknowledged{Request: protocol.TypePattern})
					var seen settling
					seen.watch(p.bench.Carrier)
					for ended := false; !ended; {
						var reply protocol.PatternReply
						line.must(&protocol.PatternRun{BudgetMS: 500}, &reply)
						ended = reply.Ended
					}
					if seen.least == never || seen.least < uint64(pause) {
						t.Errorf("%d/16 µs: %d cycles", pause, seen.least)
					}
					if seen.least > uint64(pause)+30 {
						t.Errorf("%d/16 µs takes %d cycles", pause, seen.least)
					}
				})
			}
		}
	}
}

// A STEP and a SPOT of a PATTERN settle as long as asked for, and no more than a µs longer, though an interpreter carries them out: what
// is late by more than that is found (host/assay/function, delay.go).
func TestStepsSettle(t *testing.T) {
	for _, settle := range []uint16{0, 8, 16, 32, 80} {
		for name, code := range map[string]assembly{
			"STEP": {protocol.OpStep, 0x05, 0, 0, 0}, "SPOT": {protocol.OpSpot, 3},
		} {
			p := open(t, "")
			line := powered(t, p.Conn, 28, 12)
			var a assembly
			a.loop(1, 0, 200)
			a.put(code[0], code[1:]...)
			a.put(protocol.OpNext, 1)
			a.put(protocol.OpEnd)
			load := &protocol.PatternLoad{Direction: positions(1, 3), Settle: settle, Mask: positions(2, 16, 27), Code: a}
			line.must(load, &protocol.Acknowledged{Request: protocol.TypePattern})
			var seen settling
			seen.watch(p.bench.Carrier)
			line.must(&protocol.PatternRun{BudgetMS: 500}, new(protocol.PatternReply))
			if seen.least == never || seen.least < uint64(settle) || seen.least > uint64(settle)+16 {
				t.Errorf("%s settling %d/16 µs takes %d cycles", name, settle, seen.least)
			}
		}
	}
}
