//go:build simavr

package avrsim

import (
	"encoding/binary"
	"errors"
	"testing"
	"time"

	"chipassay/protocol"
)

// An assembly is the code of a pattern program, an instruction a call.
type assembly []byte

func (a *assembly) put(op uint8, operands ...uint8) { *a = append(append(*a, op), operands...) }
func (a *assembly) flip(numbers ...uint8) {
	*a = binary.LittleEndian.AppendUint32(append(*a, protocol.OpFlip), positions(numbers...))
}
func (a *assembly) value(group uint8, value uint16) {
	*a = binary.LittleEndian.AppendUint16(append(*a, protocol.OpValue, group), value)
}
func (a *assembly) loop(register uint8, first, last uint16) {
	*a = append(*a, protocol.OpLoop, register)
	*a = binary.LittleEndian.AppendUint16(binary.LittleEndian.AppendUint16(*a, first), last)
}

// The supply is shorted in the middle of programs.
func TestTripInPatterns(t *testing.T) {
	long := func(settle uint16) *protocol.PatternLoad {
		var a assembly
		a.loop(0, 0, 65535)
		for range 20 {
			a.put(protocol.OpSpot, 1)
		}
		a.put(protocol.OpNext, 0)
		a.put(protocol.OpEnd)
		return &protocol.PatternLoad{Settle: settle, Direction: positions(1), Code: a}
	}
	wait := long(0)
	wait.Code = []byte{protocol.OpWait, 200, 0, 1, protocol.OpEnd}
	for name, load := range map[string]*protocol.PatternLoad{
		"refresh": dynamic64K(256).march()[1], "no settling": long(0), "settling 100 µs": long(1600), "settling 4 ms": long(64000), "waiting": wait,
	} {
		longest := time.Duration(0)
		for phase := range 12 {
			p := open(t, "")
			line := powered(t, p.Conn, 8, 28)
			line.must(load, &protocol.Acknowledged{Request: protocol.TypePattern})
			shorted := p.bench.short(5*time.Millisecond + time.Duration(phase)*91*time.Microsecond)
			if err := line.call(&protocol.PatternRun{BudgetMS: 100}, new(protocol.PatternReply)); !errors.Is(err, protocol.Overcurrent) {
				t.Fatalf("%s, phase %d: %v", name, phase, err)
			}
			longest = max(longest, duration(p.bench.opened()-shorted))
		}
		t.Logf("%s: switched off within %v", name, longest)
		if longest >= longestTrip {
			t.Errorf("%s: switched off after %v", name, longest)
		}
	}
}
