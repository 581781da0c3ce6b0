package virtual

import (
	"math"

	"chipassay/host/adapter"
)

// sixteenth is the unit of the firmware's clock for edges, 1/16 µs, in ns.
const sixteenth = 62.5

// noEdge is what the firmware is told where none came.
const noEdge = math.MaxUint32

// edge lets time pass until a position does not read high, or low, any more, at most so
// many sixteenths of a microsecond, and gives how many passed; noEdge if it read so all the
// time. The socket says how long nothing can happen, so that a long wait is a few steps.
func (a *Adapter) edge(position adapter.Word, high bool, most uint32) uint32 {
	from := a.now
	for {
		passed := a.now - from
		if a.socket.Sample()&position != 0 != high {
			return uint32(passed)
		}
		if passed >= int64(most) {
			return noEdge
		}
		now := a.Elapsed()
		still := a.socket.Still(elapsed(a.sixteenths()-passed+int64(most)) - now)
		// The first sixteenth that is not before: no time in ns is after the sixteenth that it stands for.
		next := int64(math.Ceil(float64(now+still)/sixteenth)) - a.sixteenths() + a.now
		a.now = min(from+int64(most), max(a.now+1, next))
	}
}
