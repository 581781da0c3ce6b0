//go:build simavr

package avrsim

import (
	"encoding/binary"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/protocol"
)

// SPEC.md, MEASURE: a request may take settle + positions × (2^averaging + 2) × the time
// that HELLO gives for one conversion. With most of averaging the MCU keeps to that by
// its own cycle counter, for near and for far channels, and wastes no more than a fifth.
func TestConversionsTakeTheTimeStated(t *testing.T) {
	p := open(t, "")
	c := powered(t, p.Conn, 28, 7)
	var can protocol.Capabilities
	c.must(new(protocol.Hello), &can)
	for _, k := range []struct {
		name      string
		positions uint32
		stated    uint16
	}{
		{"near", positions(1, 28), can.ConversionUS},
		{"far", positions(9, 15), can.FarUS},
		{"references", 1<<15 | 1<<31, can.FarUS},
	} {
		for _, averaging := range []uint8{0, 3, 7} {
			before := p.bench.busy()
			ask := &protocol.Measure{Unpowered: true, Steps: []protocol.MeasureStep{{Positions: k.positions, Averaging: averaging}}}
			c.must(ask, &protocol.MeasureReply{Positions: []uint32{k.positions}})
			took := float64(p.bench.busy()-before) / Hertz * 1e6
			may := 2 * float64(int(1)<<averaging+2) * float64(k.stated)
			t.Logf("%s, 2^%d conversions: %.0f µs of %.0f", k.name, averaging, took, may)
			if averaging == 7 && (took > may || took < 0.8*may) {
				t.Errorf("%s: %.0f µs, told are %.0f", k.name, took, may)
			}
		}
	}
}

// The real converter takes its sample later than the simulated one, which has it as soon as it is asked: its clock of
// 500 kHz may have risen just before, and from its next rising edge 1.5 periods pass (data sheet of the
// ATmega2560, ADC timing, from memory). Until then CONVERT must hold what it toggled; and not for longer than SPEC.md says.
func TestConvertHoldsUntilItIsSampled(t *testing.T) {
	const period = 2 * time.Microsecond
	toSample := cyclesIn(period + period*3/2)
	strobes := []uint8{4, 27, 10} // ports A, L and C
	for _, pause := range []uint8{0, 16, 255} {
		p := open(t, "")
		line := powered(t, p.Conn, 8, 28)
		m := &protocol.PatternLoad{Direction: positions(strobes...), Level: positions(strobes...)}
		var a assembly
		a.loop(0, 0, 99)
		a.put(protocol.OpConvert, 26, pause)
		for _, strobe := range strobes {
			a = binary.LittleEndian.AppendUint32(a, positions(strobe))
		}
		a.put(protocol.OpNext, 0)
		a.put(protocol.OpEnd)
		m.Code = a
		line.must(m, &protocol.Acknowledged{Request: protocol.TypePattern})
		low := adapter.Word(positions(strobes...))
		var before adapter.Word = low
		var began, fell, settled uint64
		least, shortest, longest, waits, n := uint64(never), uint64(never), uint64(0), uint64(never), 0
		p.bench.Carrier.Converts = func(cycle uint64) {
			began = cycle
			waits = min(waits, cycle-settled)
		}
		p.bench.Carrier.Watch = func(cycle uint64, _, level adapter.Word) {
			switch changed := (level ^ before) & low; {
			case changed == 0:
			case before&low == low:
				fell = cycle
			case level&low == 0:
				settled = cycle
			case before&low == 0: // the first one goes back
				least, n = min(least, cycle-began), n+1
			}
			if level&low == low && before&low != low {
				shortest, longest = min(shortest, cycle-fell), max(longest, cycle-fell)
			}
			before = level
		}
		for ended := false; !ended; {
			var reply protocol.PatternReply
			line.must(&protocol.PatternRun{BudgetMS: 1000}, &reply)
			ended = reply.Ended
		}
		held := time.Duration(pause)*time.Microsecond/16 + 9*time.Microsecond
		t.Logf("pause %d/16 µs: begun after %d cycles, held for %v more, low for %v to %v", pause, waits, duration(least), duration(shortest), duration(longest))
		if n != 100 || least < toSample || waits < uint64(pause) || duration(longest) > held {
			t.Errorf("pause %d/16 µs, %d times: begun after %d cycles, held for %v more, low for %v", pause, n, waits, duration(least), duration(longest))
		}
	}
}
