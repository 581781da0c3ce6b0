//go:build simavr

package avrsim

import (
	"testing"

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
