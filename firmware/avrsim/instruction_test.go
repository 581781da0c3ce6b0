//go:build simavr

package avrsim

import (
	"encoding/binary"
	"slices"
	"testing"

	"chipassay/host/adapter"
	"chipassay/protocol"
)

// BenchmarkInstruction is what one instruction takes more in a loop.
func BenchmarkInstruction(b *testing.B) {
	const turns, times = 1000, 20
	near, far := []uint8{1, 2, 3, 4, 25, 24, 23, 22}, []uint8{1, 2, 3, 4, 10, 24, 23, 16}
	bits16 := []uint8{1, 2, 3, 4, 5, 6, 7, 9, 10, 16, 17, 18, 25, 24, 23, 22}
	flip := func(numbers ...uint8) (a assembly) { a.flip(numbers...); return a }
	for _, c := range []struct {
		name string
		code assembly
	}{
		{"NEXT", nil},
		{"FLIP", flip(1, 10)},
		{"SHOW", assembly{protocol.OpShow, 1}},
		{"CHECK", assembly{protocol.OpCheck, 4}},
		{"LATCH 8 bits", assembly{protocol.OpLatch, 1, 0}},
		{"LATCH 16 bits", assembly{protocol.OpLatch, 2, 0}},
		{"VALUE 8 bits", assembly{protocol.OpValue, 1, 1, 2}},
		{"SET", assembly{protocol.OpSet, 3, 0, 0, 0, 1, 0, 0, 0}},
		{"DRIVE", assembly{protocol.OpDrive, 1}},
		{"RELEASE", assembly{protocol.OpRelease, 5}},
		{"FOLD", assembly{protocol.OpFold}},
		{"STEP", assembly{protocol.OpStep, 1, 0, 0, 0}},
		{"SPOT", assembly{protocol.OpSpot, 1}},
		{"PAUSE 0", assembly{protocol.OpPause, 0}},
		{"MARK", assembly{protocol.OpMark, 1}},
	} {
		b.Run(c.name, func(b *testing.B) {
			p := open(b, "")
			line := powered(b, p.Conn, 28, 12)
			took := func(times int) float64 {
				var a assembly
				a.loop(1, 0, turns-1)
				for range times {
					a = append(a, c.code...)
				}
				a.put(protocol.OpNext, 1)
				a.put(protocol.OpEnd)
				load := &protocol.PatternLoad{Direction: positions(bits16...), Mask: positions(5), Code: a,
					Groups: [][]uint8{near, far, bits16, {2}, {2, 10}, {26}}}
				line.must(load, &protocol.Acknowledged{Request: protocol.TypePattern})
				busy := p.bench.busy()
				line.must(&protocol.PatternRun{BudgetMS: 1000}, new(protocol.PatternReply))
				return float64(p.bench.busy()-busy) / turns
			}
			for b.Loop() {
				if c.code == nil {
					b.ReportMetric(took(0), "cycles")
					continue
				}
				b.ReportMetric((took(times)-took(0))/times, "cycles")
			}
		})
	}
}

// SPEC.md, PATTERN, says how long each instruction takes at most in a stretch, on which the
// refresh relies: as seen at the pins, between two FLIPs, with all interrupts and looks, and with
// the most that it may have to do.
func TestInstructionsTakeTheTimeStated(t *testing.T) {
	const times, turns = 20, 200
	bits16 := []uint8{2, 3, 4, 5, 6, 7, 9, 10, 16, 17, 18, 19, 25, 24, 23, 22}
	wide, released := []uint8{26, 20, 15, 11}, []uint8{13, 12, 8, 27}
	word := func(op uint8, numbers ...uint8) (a assembly) {
		a.put(op)
		return binary.LittleEndian.AppendUint32(a, positions(numbers...))
	}
	toggles := positions(10, 16, 25, 7)
	access := func(kind protocol.AccessKind, group uint8) protocol.Access {
		return protocol.Access{Kind: kind, Group: group, Value: 0x5555, Toggles: [4]uint32{toggles, toggles, toggles, toggles ^ positions(10)}}
	}
	cell := func(accesses ...protocol.Access) assembly {
		return protocol.Cell{Idle: 0, Away: 0, Register: 1, Accesses: accesses}.Append(nil)
	}
	write := protocol.Access{Toggles: access(0, 0).Toggles}
	right := protocol.Access{Kind: protocol.AccessCheck, Group: 3}
	wrong := func(group uint8) protocol.Access { // whatever it reads, one of its bits is wrong
		return protocol.Access{Kind: protocol.AccessCheck, Group: group, Value: 0xFFFF, Toggles: access(0, 0).Toggles}
	}
	for _, c := range []struct {
		name   string
		code   assembly
		stated float64 // µs
	}{
		{"FLIP", word(protocol.OpFlip, 2, 10, 16, 25), 12},
		{"SET", append(word(protocol.OpSet, bits16...), 0, 0, 0, 0), 26},
		{"LATCH", assembly{protocol.OpLatch, 0, 1}, 26},
		{"VALUE", assembly{protocol.OpValue, 0, 0x55, 0x55}, 26},
		{"SHOW", assembly{protocol.OpShow, 0}, 16},
		{"DRIVE", assembly{protocol.OpDrive, 1}, 26},
		{"RELEASE", assembly{protocol.OpRelease, 2}, 16},
		{"CHECK of 4, right", assembly{protocol.OpCheck, 3}, 36 + 4*3},
		{"CHECK of 1, wrong", assembly{protocol.OpCheck, 4}, 36 + 3},
		{"CHECK of 16, wrong", assembly{protocol.OpCheck, 5}, 36 + 16*3},
		{"TAKE of 1", assembly{protocol.OpTake, 4}, 36 + 3},
		{"TAKE of 16", assembly{protocol.OpTake, 0}, 36 + 16*3},
		{"FOLD", assembly{protocol.OpFold}, 16},
		{"EMIT", assembly{protocol.OpEmit}, 26},
		{"STEP", word(protocol.OpStep, 2, 10, 16, 25), 16},
		{"SPOT", assembly{protocol.OpSpot, 16}, 16},
		{"PAUSE", assembly{protocol.OpPause, 0}, 12},
		{"MARK", assembly{protocol.OpMark, 1}, 12},
		{"CONVERT", slices.Concat(assembly{protocol.OpConvert, 2, 0}, make(assembly, 12)), 84},
		{"CELL, writes", cell(write, write, write, write), 60 + 4*12},
		{"CELL, turned", cell(access(protocol.AccessTurned, 1), access(protocol.AccessTurned, 1)), 60 + 2*12},
		{"CELL, right", cell(right, right, right, right), 60 + 4*12 + 50 + 4*3},
		{"CELL, wrong", cell(write, wrong(4)), 60 + 2*12 + 50 + 3},
		{"CELL, wrong of 16", cell(wrong(5)), 60 + 12 + 50 + 16*3},
		{"CELL, takes of 16", cell(access(protocol.AccessTake, 0)), 60 + 12 + 50 + 16*3},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := open(t, "")
			line := powered(t, p.Conn, 28, 14)
			var a assembly
			a.value(4, 1)
			a.value(5, 0xFFFF)
			a.loop(1, 0, turns-1)
			a.flip(1)
			n := times
			if len(c.code) > 25 {
				n = 5
			}
			if len(c.code) > 60 {
				n = 1
			}
			for range n {
				a = append(a, c.code...)
			}
			a.flip(1)
			a.put(protocol.OpNext, 1)
			a.put(protocol.OpEnd)
			m := &protocol.PatternLoad{Direction: positions(append(bits16, 1)...) | positions(released...), Mask: positions(bits16...), Code: a,
				Groups: [][]uint8{bits16, wide, released, {11, 26, 15, 21}, {21}, append(slices.Clone(bits16[:12]), 11, 26, 15, 21)}}
			m.Level = positions(1)
			line.must(lowBias, &protocol.Acknowledged{Request: protocol.TypePulls})
			line.must(m, &protocol.Acknowledged{Request: protocol.TypePattern})
			seen := newStrobe(1)
			var before adapter.Word
			p.bench.Carrier.Watch = func(cycle uint64, _, level adapter.Word) {
				seen.watch(cycle, level, level^before, 0)
				before = level
			}
			seen.again()
			for ended := false; !ended; {
				var reply protocol.PatternReply
				line.must(&protocol.PatternRun{Log: true, BudgetMS: 1000}, &reply)
				ended = reply.Ended
			}
			each, most := float64(seen.longest)/float64(n)/16, c.stated+12/float64(n) // and the FLIP
			t.Logf("%.1f to %.1f µs, stated are %.1f, in %d", float64(seen.shortest)/float64(n)/16, each, most, seen.pulses)
			if seen.pulses < turns-1 || each > most {
				t.Errorf("%.1f µs in %d, stated are %.1f", each, seen.pulses, most)
			}
		})
	}
}
