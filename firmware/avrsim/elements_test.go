//go:build simavr

package avrsim

import (
	"errors"
	"fmt"
	"testing"

	"chipassay/host/adapter"
	"chipassay/host/assay/memory"
	"chipassay/host/link"
	"chipassay/protocol"
	"chipassay/vectors/library"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// An element of 16 operations finds room in the AVR image for every kind of memory of the
// library, as wide and wherever its pins are, and a good one passes it.
func TestLongElementsFindRoom(t *testing.T) {
	memories, err := library.Memories()
	if err != nil {
		t.Fatal(err)
	}
	test, err := march.Read("{⇕(w0);⇑(r0,w1,r1,w0,r0,w1,r1,w0,r0,w1,r1,w0,r0,w1,r1,w0);⇓(r0)}")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, p := range memories {
		v := p.Variants[0]
		kind := fmt.Sprint(v.Memory.Kind, v.Memory.Bits, v.Memory.CommonData(), len(v.Pins))
		if v.Memory.Kind.ROM() || v.Memory.Kind == part.EEPROM || v.Refusal != "" || seen[kind] {
			continue
		}
		t.Run(p.Number, func(t *testing.T) {
			typ := few(named(t, p.Number), v.Memory.ColumnBits)
			if m := typ.Variant.Memory; m.Kind != part.DynamicRAM {
				m.Words = min(8, m.Words)
			} else {
				typ = few(typ, 1)
			}
			a, err := adapter.Open(t.Context(), link.New(open(t, p.Number), protocol.UsualRate))
			if err != nil {
				t.Fatal(err)
			}
			s, err := a.SeatOf(typ.Variant)
			if errors.Is(err, adapter.ErrCannot) {
				t.Skip(err)
			}
			if err != nil {
				t.Fatal(err)
			}
			if _, err := s.PowerOn(t.Context(), 200); err != nil {
				t.Fatal(err)
			}
			run := memory.NewRun(t.Context(), s, memory.Plan{Type: typ, Test: test})
			if err := run.March(); err != nil || run.Found.FailureCount != 0 {
				t.Errorf("%v, %d failures", err, run.Found.FailureCount)
			}
			seen[kind] = true
		})
	}
	t.Log(len(seen), "kinds")
	if len(seen) < 8 {
		t.Errorf("only %v", seen)
	}
}

// Where there is no room for so many accesses, because each needs every port, LOAD says how
// many there was room for, and SPEC.md's 8 are taken.
func TestNoRoomForAccessesIsSaid(t *testing.T) {
	lines, group := []uint8{1, 28, 15, 10, 2, 27, 16, 11}, []uint8{3, 12, 26, 17}
	for n, fits := range map[int]bool{8: true, 16: false} {
		m := &protocol.PatternLoad{Direction: positions(lines...), Groups: [][]uint8{{4}, {25}, group}}
		m.Direction |= positions(4, 25)
		cell := protocol.Cell{Away: 1, Counted: 1, Register: 1}
		all := positions(lines...)
		for range n {
			cell.Accesses = append(cell.Accesses, protocol.Access{Kind: protocol.AccessTurned, Group: 2, Value: 5, Pause: 16,
				Toggles: [4]uint32{all, all, all, all ^ positions(1, 15)}})
		}
		var a assembly
		a.loop(1, 0, 1)
		for from := 0; from < n; from += 8 {
			part := cell
			part.Accesses = cell.Accesses[from : from+8]
			a = part.Append(a)
		}
		a.put(protocol.OpNext, 1)
		a.put(protocol.OpEnd)
		m.Code = a
		line := powered(t, open(t, "").Conn, 22, 14)
		err := line.call(m, &protocol.Acknowledged{Request: protocol.TypePattern})
		var refusal *protocol.ErrorReply
		switch {
		case fits && err != nil:
			t.Errorf("%d: %v", n, err)
		case !fits && (!errors.As(err, &refusal) || refusal.Code != protocol.Limit || refusal.Detail < protocol.CellAccesses || refusal.Detail >= uint32(n)):
			t.Errorf("%d: %v", n, err)
		}
	}
}

// The pulse of a write lasts as long as its pause says, at any port, and from one toggle to
// the next it takes at least 1/4 µs (SPEC.md, PATTERN).
func TestWritePulses(t *testing.T) {
	const least, enable = 4, 26
	p := open(t, "")
	line := powered(t, p.Conn, 8, 14)
	for _, pulsed := range []uint8{1, 10, 28, 15} {
		for _, driven := range []uint8{2, 11, 27, 16} {
			for _, pause := range []uint8{0, 5, 6, 7, 9, 10, 12, 40, 255} {
				m := &protocol.PatternLoad{Direction: positions(3, pulsed, enable), Level: positions(pulsed, enable), Groups: [][]uint8{{3}, {driven}}}
				write, pulse := positions(enable), positions(pulsed)
				cell := protocol.Cell{Register: 1, Accesses: []protocol.Access{
					{Kind: protocol.AccessTurned, Group: 1, Value: 1, Pause: pause, Toggles: [4]uint32{write, 0, pulse, pulse}}}}
				var a assembly
				a.loop(1, 0, 31)
				a = cell.Append(a)
				a.put(protocol.OpNext, 1)
				a.put(protocol.OpEnd)
				m.Code = a
				line.must(m, &protocol.Acknowledged{Request: protocol.TypePattern})
				seen, enabled := newStrobe(int(pulsed)), newStrobe(enable)
				var before adapter.Word
				joined := 0
				p.bench.Carrier.Watch = func(cycle uint64, dir, level adapter.Word) {
					seen.watch(cycle, level, level^before, 0)
					enabled.watch(cycle, level, level^before, 0)
					if before&^level&seen.at != 0 && dir&level&adapter.At(int(driven)) != 0 {
						joined++
					}
					before = level
				}
				line.must(&protocol.PatternRun{BudgetMS: 1000}, new(protocol.PatternReply))
				p.bench.Carrier.Watch = nil
				if seen.pulses < 31 || joined < 31 || seen.shortest < max(least, uint64(pause)) || enabled.shortest < seen.shortest {
					t.Errorf("pulse at %d, %d driven, pause %d/16 µs: %d pulses of %d cycles, enabled for %d, driven in %d", pulsed, driven, pause,
						seen.pulses, seen.shortest, enabled.shortest, joined)
				}
			}
		}
	}
}
