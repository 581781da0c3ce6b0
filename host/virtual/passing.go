package virtual

import (
	"math/bits"
	"time"

	"chipassay/host/adapter"
)

// timed reports whether anything at the socket changes as time passes, apart from late outputs.
func (s *Socket) timed() bool { return len(s.clips.capacitors) > 0 || s.timer != nil }

// time is the time of the model, by the socket's clock.
func (s *Socket) time() time.Duration {
	if s.timed() {
		return s.passed
	}
	return s.clock()
}

// advance lets some of the time up to the end pass, and reports whether anything reads otherwise
// since. What only moves is left behind until somebody wants to know it.
func (s *Socket) advance(end time.Duration) (changed bool) {
	looks := len(s.clips.capacitors) == 0
	if s.timer != nil && s.powered {
		if at, ok := s.timer.next(); ok && at <= end {
			end, looks = max(s.passed+1, at), true
		}
	}
	high, outputs, crosses := s.high, s.outputs, false
	if len(s.clips.capacitors) > 0 {
		w := &s.clips.way
		if !w.holds || s.passed >= w.to {
			s.chart()
		}
		crosses = w.crosses && w.next <= end
		end = min(end, w.next)
		s.clips.behind = true
	}
	s.passed = end
	if !crosses && !looks {
		return false
	}
	s.present()
	if crosses {
		s.cross()
	}
	if s.powered {
		s.tick()
		for range rounds {
			if !s.dieFollows() {
				break
			}
			s.solveDirty()
		}
	} else {
		s.fresh = 0
	}
	if w := &s.clips.way; crosses && w.holds {
		copy(w.last, w.there)
		s.findNext()
	}
	return s.high != high || s.outputs != outputs
}

// cross notes how the nodes read when a threshold has been reached.
func (s *Socket) cross() {
	if s.gated {
		s.dirty = s.every()
		s.solveDirty()
		return
	}
	moved := s.clips.slow
	if s.dark() {
		moved = s.every()
	}
	for rest := moved; rest != 0; rest &= rest - 1 {
		i := bits.TrailingZeros64(rest)
		s.nodes[i].volts = s.clips.way.there[i] // exactly as it was found to be beyond the threshold
	}
	s.read(moved)
}

// Still lets time pass in the model, ahead of the clock, until something may read otherwise, and
// gives how long that is after the clock's time, at most so long. The clock must be moved there
// before the socket is used again.
func (s *Socket) Still(most time.Duration) time.Duration {
	s.elapse()
	now := s.clock()
	end := now + most
	for {
		to := end
		if s.chip != nil && s.chip.late {
			if first := s.firstComing(); first != nil {
				to = min(to, first.coming[0].at)
			}
		}
		if !s.timed() {
			return max(0, to-now)
		}
		if s.passed >= to || s.advance(to) {
			return max(0, s.passed-now)
		}
	}
}

// A timer is a die that knows the time: a monostable, an oscillator. The socket tells it time
// and voltages, and asks what it does at its timing pins.
type timer interface {
	// timing are the pins at which it looks at voltages, or that it charges and discharges.
	timing() []int
	// elements is what it connects to a timing pin now, beside the pin's own input and output.
	elements(pin int) []element
	// thresholds are the voltages at a timing pin at which it may act, V to the board's ground.
	thresholds(pin int) []float64
	// pass gives it the time, and the voltages at its timing pins: after each Settle, when a
	// voltage has reached a threshold, when its time has come, and now and then besides. It
	// reports whether its outputs or its elements changed. Times are those of the socket's clock.
	pass(now time.Duration, volts func(pin int) float64) (changed bool)
	// next is the time at which it changes if nothing else does before; ok is false if it does not.
	next() (at time.Duration, ok bool)
}

// tick tells a die that knows the time what it is, and marks what follows from that.
func (s *Socket) tick() {
	if s.timer == nil || !s.timer.pass(s.time(), s.voltsAtPin) {
		return
	}
	s.given = true
	for _, pin := range s.timer.timing() {
		s.dirty |= s.at(adapter.At(s.chip.position(pin)))
	}
}

// voltsAtPin is the voltage at a pin of the chip, V.
func (s *Socket) voltsAtPin(pin int) float64 { return s.of[s.chip.position(pin)].volts }
