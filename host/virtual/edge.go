package virtual

import (
	"math"
	"time"

	"chipassay/host/adapter"
)

// sixteenth is the unit of the firmware's clock for edges, 1/16 µs, in ns.
const sixteenth = 62.5

// noEdge is what the firmware is told where none came.
const noEdge = math.MaxUint32

// sixteenths is Elapsed in 1/16 µs.
func (a *Adapter) sixteenths() int64 { return int64(math.Round(float64(a.Elapsed()) / sixteenth)) }

// edge lets time pass until a position does not read high, or low, any more, at most so
// many sixteenths of a microsecond, and gives how many passed; noEdge if it read so all the
// time. The socket says how long nothing can happen, so that a long wait is a few steps.
func (a *Adapter) edge(position adapter.Word, high bool, most uint32) uint32 {
	from := a.now
	at := func(n uint32) time.Duration { return from + time.Duration(float64(n)*sixteenth) }
	for passed := uint32(0); ; {
		if a.socket.Sample()&position != 0 != high {
			return passed
		}
		if passed >= most {
			return noEdge
		}
		still := float64(a.socket.Still(at(most)-a.now)) / sixteenth
		passed = min(most, passed+max(1, uint32(math.Ceil(still))))
		a.now = at(passed)
	}
}
