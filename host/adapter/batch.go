package adapter

import "chipassay/vectors/stimulus"

// A batch is the part of a sequence that one request carries.
type batch []stimulus.Step

// cut takes the next batch off the front of steps: at most fixed of them when
// all drive the same pins, so that their direction is sent once, and at most
// turning when not, whichever is more.
func cut(steps []stimulus.Step, fixed, turning int) (batch, []stimulus.Step) {
	n := max(sameDirection(steps, fixed), min(turning, len(steps)))
	return steps[:n], steps[n:]
}

// sameDirection counts the steps at the front that drive the same pins, up to a limit.
func sameDirection(steps []stimulus.Step, limit int) int {
	n := 0
	for n < len(steps) && n < limit && steps[n].Driven == steps[0].Driven {
		n++
	}
	return n
}
