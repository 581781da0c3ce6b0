package drawer

import (
	"chipassay/host/adapter"
	"chipassay/host/assay/levels"
	"chipassay/host/report"
	"chipassay/vectors/part"
)

// suspicious is how many chips in turn that are wrong at the same positions of the socket
// raise the suspicion that the adapter is: a bad batch may be as well (common practice).
const suspicious = 3

// alike counts the last chips in turn that are wrong at the same positions of the socket.
func alike(sheets []report.Document) (n int) {
	var last part.Pins
	for n < len(sheets) {
		at := wrongAt(sheets[len(sheets)-1-n])
		if at == 0 || n > 0 && at != last {
			break
		}
		last = at
		n++
	}
	return n
}

// wrongAt are the positions of the socket at which a chip failed, could not be tested, or has
// a level or current outside its limit; of one of another family than marked these are not judged.
func wrongAt(d report.Document) (positions part.Pins) {
	at := func(pin int) { positions = positions.With(adapter.PositionOf(pin, len(d.Pins)), true) }
	if !d.Verdict.Passed() {
		for _, pin := range d.PinsFailed {
			at(pin)
		}
		return positions
	}
	for _, l := range d.Levels {
		if l.Standing == levels.Outside.String() && l.Pin != d.VCC && d.FamilyCheck == "" {
			at(l.Pin)
		}
	}
	return positions
}

// suspect says once that it may be the adapter.
func (r *Run) suspect() {
	if alike(r.sheets) == suspicious && r.next.as != lastAgain {
		r.printf("%d chips in a row are wrong at the same pins: it may be the adapter. End the run, take the chip out and run chipassay adapter check", suspicious)
	}
}
