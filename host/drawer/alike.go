package drawer

import (
	"chipassay/host/adapter"
	"chipassay/host/report"
	"chipassay/vectors/part"
)

// suspicious is how many chips in turn that failed at the same positions of the socket
// raise the suspicion that the adapter did: one bad batch may as well (common practice).
const suspicious = 3

// alike counts the last chips in turn that failed, or could not be tested, at the same
// positions of the socket.
func alike(sheets []report.Document) (n int) {
	var last part.Pins
	for n < len(sheets) {
		at := failedAt(sheets[len(sheets)-1-n])
		if at == 0 || n > 0 && at != last {
			break
		}
		last = at
		n++
	}
	return n
}

// failedAt are the positions of the socket at which a chip failed; 0 of one that passed.
func failedAt(d report.Document) (positions part.Pins) {
	if d.Verdict.Passed() {
		return 0
	}
	for _, pin := range d.PinsFailed {
		positions = positions.With(adapter.PositionOf(pin, len(d.Pins)), true)
	}
	return positions
}

// suspect says once that it may be the adapter that fails.
func (r *Run) suspect() {
	if alike(r.sheets) == suspicious && r.next.as != lastAgain {
		r.printf("%d chips in a row failed at the same pins: it may be the adapter. Take the chip out and run chipassay adapter check", suspicious)
	}
}
