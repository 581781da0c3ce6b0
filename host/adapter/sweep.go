package adapter

import (
	"context"
	"fmt"
	"time"

	"chipassay/protocol"
	"chipassay/vectors/part"
	"chipassay/vectors/signature"
	"chipassay/vectors/stimulus"
)

// A Span is some steps of a sequence: from the first, counted from 0, to before the last.
type Span struct{ From, To int }

// Expected is what the pins of a good chip read in each step, those of Mask only.
type Expected struct {
	High []part.Pins // a step each
	Mask part.Pins
}

// stepTime is what a step of a sweep takes beside its settling, at most.
const stepTime = 6 * time.Microsecond

// mostSwept bounds the steps of one request, whatever they take.
const mostSwept = 1 << 16

// leastBlock is how many steps a signature stands for at least: for fewer, it
// takes more of the line's time than the steps take.
const leastBlock = 16

// Sweep has the adapter walk a sweep by itself, under a bias,
// and compares signatures: it gives the spans of steps that did not read as
// expected, none where all did. Steps are those that stimulus.Swept reports as a
// sweep of pins, or the same in reverse; each waits settle before it is read.
// ErrCannot where the adapter has no sweep engine.
func (s *Seat) Sweep(ctx context.Context, steps []stimulus.Step, pins []int, settle time.Duration, e Expected, bias Pull) (wrong []Span, err error) {
	c := s.adapter.Capabilities
	if !c.Sweep {
		return nil, fmt.Errorf("%w sweep by itself", ErrCannot)
	}
	if err := s.adapter.setPulls(ctx, protocol.Pulls{Bias: s.pulled(bias), Load: s.pulled(s.Load)}); err != nil {
		return nil, err
	}
	request := protocol.Sweep{
		Gray: true, Settle: sixteenths(settle), Direction: uint32(s.word(steps[0].Driven)),
		Level: uint32(s.word(steps[0].Drive)), Mask: uint32(s.word(e.Mask)),
	}
	for _, pin := range pins {
		request.Positions = append(request.Positions, uint8(PositionOf(pin, s.Pins)))
	}
	start := uint32(0)
	if steps[0].Drive.Has(pins[len(pins)-1]) {
		// the second half of a Gray code of one pin more is the first in reverse
		start = 1 << len(pins)
	}
	most := min(mostSwept, int(c.MaxBusy*9/10/(settle+stepTime)))
	for from := 0; from < len(steps); from += most {
		to := min(len(steps), from+most)
		request.Start, request.Count = start+uint32(from), uint32(to-from)
		request.Block = uint16(max(leastBlock, (to-from+protocol.MostSignatures-1)/protocol.MostSignatures))
		spans, err := s.signed(ctx, &request, Span{from, to}, e)
		if err != nil {
			return wrong, err
		}
		wrong = append(wrong, spans...)
		if s.Progress != nil {
			s.Progress(to)
		}
	}
	return wrong, nil
}

// signed makes one request and gives its spans with another signature than expected.
func (s *Seat) signed(ctx context.Context, request *protocol.Sweep, all Span, e Expected) (wrong []Span, err error) {
	var reply protocol.SweepReply
	work := time.Duration(request.Count) * (stepTime + time.Duration(request.Settle)*time.Microsecond/16)
	if err := s.adapter.call(ctx, request, &reply, work); err != nil {
		return nil, err
	}
	s.adapter.worked += work
	block := int(request.Block)
	expected := signature.Blocks(s.readbacks(e, all), block)
	if len(reply.Signatures) != len(expected) {
		return nil, s.adapter.fail(fmt.Errorf("%w: %d signatures for %d blocks", protocol.ErrPayload, len(reply.Signatures), len(expected)))
	}
	for i, want := range expected {
		if reply.Signatures[i] != want {
			wrong = append(wrong, Span{all.From + i*block, min(all.To, all.From+(i+1)*block)})
		}
	}
	return wrong, nil
}

// readbacks are the masked socket words that a good chip gives.
func (s *Seat) readbacks(e Expected, span Span) []uint32 {
	words := make([]uint32, 0, span.To-span.From)
	for _, high := range e.High[span.From:span.To] {
		words = append(words, uint32(s.word(high&e.Mask)))
	}
	return words
}

// sixteenths counts a time in sixteenths of a microsecond, rounded up.
func sixteenths(d time.Duration) uint16 {
	return uint16(min((d*16+time.Microsecond-1)/time.Microsecond, 1<<16-1))
}
