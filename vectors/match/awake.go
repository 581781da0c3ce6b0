package match

import (
	"math/bits"
	"math/rand/v2"
	"slices"

	"chipassay/vectors/fault"
	"chipassay/vectors/part"
)

// mostStateBits is how much state is searched: one lane has the best state so far, and one
// more for each bit has that bit inverted.
const mostStateBits = lanes - 1

// fromPowerUp searches for states at power-up from which a part with a fault shows what was
// seen, and gives the price from there. The first states are drawn at random; each further
// round inverts one bit or two of the one that explained most. After a step in which an input
// is not known, the part may be in any state again. Known is false where the search decides
// nothing: the part has no state or too much, its data sheet forbids some steps, or the fault
// leaves an input floating.
func (t Trace) fromPowerUp(c Candidate, f fault.Fault, bipolar bool, prices [][part.MaxPins + 1]float64) (price float64, explains, known bool) {
	n := len(c.Circuit.State)
	if n == 0 || n > mostStateBits || unpowered(c.Circuit).rules != nil || f.Kind == fault.Open && !bipolar {
		return 0, false, false
	}
	for from := 0; from < len(t.Steps); {
		if !t.Steps[from].told(c, f.Pin) {
			from++
			continue
		}
		r := run{candidate: c, fault: f, bipolar: bipolar, steps: t.Steps[from:], signals: t.Signals(), prices: prices[from:]}
		steps, cost, explains := r.climb()
		if !explains {
			return 0, false, true
		}
		price += cost
		from += steps
	}
	return price, true, true
}

// told reports whether the levels of all inputs of a candidate, but one, are known.
func (s Step) told(c Candidate, but int) bool {
	return !slices.ContainsFunc(c.Circuit.InputPins, func(pin int) bool {
		return pin != but && !(s.Low | s.High).Has(pin) && (s.PulledUp.Has(pin) != s.PulledDown.Has(pin) || s.Between.Has(pin))
	})
}

// A run is a part with a fault, in some steps from power-up on.
type run struct {
	candidate Candidate
	fault     fault.Fault
	bipolar   bool
	steps     []Step
	signals   part.Pins
	prices    [][part.MaxPins + 1]float64
}

// readings is the most that a step may have.
const readings = part.MaxPins + 1

// counted are six bits that take all of their 64 states, in lanes.
var counted = [...]uint64{0xaaaaaaaaaaaaaaaa, 0xcccccccccccccccc, 0xf0f0f0f0f0f0f0f0, 0xff00ff00ff00ff00, 0xffff0000ffff0000, 0xffffffff00000000}

// An end is how far states at power-up lead.
type end struct {
	steps int    // to the next loss of the state, or to the last
	after int    // the number of the reading that contradicts the last state, in their order
	alive uint64 // the lanes that were not contradicted before
	cost  [lanes]float64
}

// explains reports whether some state was never contradicted.
func (e end) explains() bool { return e.after == e.steps*readings }

// climb gives the number of steps to the next loss of the state, and their price from the best
// state.
func (r *run) climb() (steps int, price float64, explains bool) {
	n := len(r.candidate.Circuit.State)
	random := rand.New(rand.NewPCG(1, 1))
	states := make([]uint64, n) // by bit, in lanes
	for i := range states {
		if states[i] = random.Uint64(); i < len(counted) {
			states[i] = counted[i]
		}
	}
	for best := r.from(states); ; {
		base := bits.TrailingZeros64(best.alive)
		for i := range states {
			states[i] = -(states[i] >> base & 1)
			states[i] ^= 1 << (i + 1)
		}
		for lane := n + 1; lane < lanes; lane++ {
			for range 2 {
				states[random.IntN(n)] ^= 1 << lane
			}
		}
		next := r.from(states)
		if next.explains() {
			lane := bits.TrailingZeros64(next.alive)
			decided := n - bits.OnesCount64(next.alive&(1<<(n+1)-2)) // bits that had to be so
			return next.steps, next.cost[lane] + float64(decided), true
		}
		if next.after <= best.after {
			return 0, 0, false
		}
		best = next
	}
}

// from follows the part from given states at power-up, one a lane.
func (r *run) from(states []uint64) (e end) {
	g := unpowered(r.candidate.Circuit)
	g.inject(slices.Repeat([]fault.Fault{r.fault}, lanes), r.bipolar)
	g.wake(func(bit int) uint64 { return states[bit] })
	e.alive = allLanes
	for i, s := range r.steps {
		if i > 0 && (s.Anew || !s.told(r.candidate, r.fault.Pin)) {
			break
		}
		g.take(s)
		e.steps++
		for pin := range r.signals.All() {
			allowed, known := g.judge(pin, s)
			alive := e.alive & allowed
			if alive == 0 {
				e.after = i*readings + pin
				return e
			}
			e.alive = alive
			if r.prices[i][pin] == 0 {
				continue
			}
			for rest := alive &^ known; rest != 0; rest &= rest - 1 {
				e.cost[bits.TrailingZeros64(rest)] += r.prices[i][pin]
			}
		}
	}
	e.after = e.steps * readings
	return e
}
