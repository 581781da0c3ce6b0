package adapter

import (
	"context"
	"time"

	"chipassay/protocol"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// probeSettle is what a step on a socket without supply waits: the nodes of an
// unpowered die come to rest through the bias resistors.
const probeSettle = 50 * time.Microsecond

// Probe applies steps to a socket without supply, both pulls set, by positions, and gives for
// each the positions that read high. Steps and readbacks count the socket's
// positions, 1 to 28, as if they were the pins of a 28-pin package, for a chip may
// lie elsewhere than it should. The positions stay driven; PowerOff releases them.
func (s *Seat) Probe(ctx context.Context, steps []stimulus.Step, bias, load Pull) ([]part.Pins, error) {
	if err := s.adapter.setPulls(ctx, protocol.Pulls{Bias: bias.in(byPosition), Load: load.in(byPosition)}); err != nil {
		return nil, err
	}
	_, turning := s.stepsPerRequest()
	var read []part.Pins
	for rest := steps; len(rest) > 0; {
		n := min(turning, len(rest))
		var drives []protocol.Drive
		for _, step := range rest[:n] {
			drives = append(drives, protocol.Drive{Direction: uint32(wordOf(step.Driven)), Level: uint32(wordOf(step.Drive))})
		}
		samples, err := s.adapter.request(ctx, drives, probeSettle, true)
		if err != nil {
			return read, err
		}
		for _, w := range samples {
			read = append(read, positionsOf(Word(w)))
		}
		rest = rest[n:]
	}
	return read, nil
}

// wordOf gives the socket word of positions counted as pins.
func wordOf(positions part.Pins) (w Word) {
	for p := range positions.All() {
		w |= At(p)
	}
	return w
}

// positionsOf counts the positions of a socket word as pins.
func positionsOf(w Word) (positions part.Pins) {
	for p := range w.Positions() {
		positions = positions.With(p, true)
	}
	return positions
}
