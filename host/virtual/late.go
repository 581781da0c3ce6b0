package virtual

import (
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/logic"
)

// An arrival is a level of the die that a late output does not show yet.
type arrival struct {
	level logic.Value
	at    time.Duration // by the socket's clock
}

// lag is the delay of a late output: each change of the die reaches the pin after the
// same time and in order, however short it was.
type lag struct {
	by       time.Duration // 0 where the output is in time
	answered logic.Value   // what the die answered last
	coming   []arrival     // in order

	risesInTime, fallsInTime bool // that way there is no delay, and what was on its way the other way does not come
}

// begin discards pending levels: the supply came on or went off.
func (l *lag) begin() { l.answered, l.coming = logic.Z, l.coming[:0] }

// follow gives what the output shows once the die answers v at a time: the level
// that it showed before, v being on its way; v itself where it is in time.
func (l *lag) follow(shown, v logic.Value, now time.Duration) logic.Value {
	if v != l.answered {
		l.answered = v
		if v == logic.Zero && l.fallsInTime || v != logic.Zero && l.risesInTime {
			l.coming = l.coming[:0]
			return v
		}
		l.coming = append(l.coming, arrival{v, now + l.by})
	}
	return shown
}

// mostArrivals bounds how many levels arrive at once: an output that is fed back to its
// input oscillates, and may have done so for a long time.
const mostArrivals = 1000

// arrive lets the time pass that has passed by the clock, and brings the nodes to where it is. Every
// action of the adapter at the socket begins with it.
func (s *Socket) arrive() {
	s.elapse()
	s.present()
}

// elapse lets the time pass, and updates late outputs whose levels are due, one by one: over a short the first
// may change the effect of the next.
func (s *Socket) elapse() {
	if m, ok := s.memory(); ok && m.finished() {
		s.present()
		s.given = true
		s.settle(s.every())
	}
	late := s.chip != nil && s.chip.late
	if !late && !s.timed() {
		return
	}
	now := s.clock()
	for range mostArrivals {
		var first *pad
		if late {
			first = s.firstComing()
		}
		if s.timed() { // what is on its way may change as time passes
			due := func() time.Duration {
				if late {
					if first = s.firstComing(); first != nil {
						return min(now, first.coming[0].at)
					}
				}
				return now
			}
			for to := due(); s.passed < to; to = due() {
				s.advance(to)
			}
		}
		if first == nil || first.coming[0].at > now {
			return
		}
		s.present()
		s.outputs[first.pin] = first.coming[0].level
		first.coming = first.coming[1:]
		if first.bonded {
			s.settle(s.at(adapter.At(s.chip.position(first.pin))))
		}
	}
}

// memory is the die of the chip in the socket, if it is one.
func (s *Socket) memory() (m *memory, ok bool) {
	if s.chip != nil {
		m, ok = s.chip.die.(*memory)
	}
	return m, ok
}

// firstComing is the output whose level is due next, or nil.
func (s *Socket) firstComing() (first *pad) {
	for i := range s.chip.pads {
		p := &s.chip.pads[i]
		if len(p.coming) > 0 && (first == nil || p.coming[0].at < first.coming[0].at) {
			first = p
		}
	}
	return first
}
