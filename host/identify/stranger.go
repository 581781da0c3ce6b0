package identify

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/assay/contact"
	"chipassay/host/probe"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
)

// A stranger is a chip that is probed at one place.
type stranger struct {
	plan   Plan
	place  contact.Place
	seat   assay.Socket
	walk   *probe.Walker // nil where it was not powered
	fits   []match.Fit
	random *rand.Rand

	limit    int  // index into limitsMA
	cycles   int  // how often the search was stuck and the power was cycled
	wandered bool // pins were also changed at random
}

// gain, in bits, is how much more the best fit explains than a part that predicts nothing.
func (s *stranger) gain() float64 {
	if len(s.fits) == 0 {
		return math.Inf(-1)
	}
	return s.walk.Record().Blind() - s.fits[0].Bits
}

// probeAll probes the chip at the places where it answers, until one explains it.
func (a *Answer) probeAll(ctx context.Context, socket assay.Socket, places []contact.Place) (best *stranger, err error) {
	for _, place := range places {
		seat, err := socket.Reseated(place.Pins, place.VCC, place.GND)
		if errors.Is(err, adapter.ErrCannot) {
			a.Reason = err.Error()
			continue
		}
		if err != nil {
			return nil, err
		}
		a.plan.leftOf("powering it", func(v *part.Variant) bool { return probe.SeatOf(v) == place.Seat })
		s := &stranger{plan: a.plan, place: place, seat: seat, random: rand.New(rand.NewPCG(a.plan.Seed, 1))}
		err = s.probe(ctx, a.plan.Candidates)
		if s.walk != nil {
			a.Steps += len(s.walk.Record().Steps)
			a.Cycles += s.cycles
			if best == nil || s.gain() > best.gain() {
				best = s
			}
		}
		if errors.Is(err, adapter.ErrOverCurrent) {
			a.Reason = "the chip takes more than 200 mA and was switched off: it may be shorted inside"
			continue
		}
		if err != nil {
			return best, err
		}
		if len(s.fits) > 0 && s.fits[0].Mismatches == 0 {
			break
		}
	}
	if best != nil {
		a.Seat, a.Open, a.Record = best.place.Seat, best.place.Open, best.walk.Record()
		a.unjudged = best.place.Unjudged
		a.inputs()
	}
	return best, nil
}

// limitsMA are the currents at which the supply trips, mA, tried in order: for a small chip,
// for a large one, and for the family that draws most.
var limitsMA = []int{60, 120, 200}

// pulses is how many a clock gets before the search for what tells parts apart: by then most
// counters have moved more than one output.
const pulses = 8

// probe probes the chip, and ranks what it may be.
func (s *stranger) probe(ctx context.Context, candidates []match.Candidate) error {
	return s.powered(ctx, func() error {
		if err := s.walk.Regular(ctx, pulses); err != nil {
			return err
		}
		return s.narrow(ctx, candidates)
	})
}

// powered powers the chip for as long as work takes, with the lowest current limit that it runs
// at. Where the limit trips, work starts again at the next, and the trace goes on.
func (s *stranger) powered(ctx context.Context, work func() error) (err error) {
	for {
		err = s.on(ctx)
		if err == nil {
			err = work()
		}
		err = errors.Join(err, assay.Safe(ctx, s.seat))
		if !errors.Is(err, adapter.ErrOverCurrent) || s.limit == len(limitsMA)-1 {
			return err
		}
		s.limit++
	}
}

// on switches the chip on and finds which of its pins may be inputs.
func (s *stranger) on(ctx context.Context) error {
	if _, err := s.seat.PowerOn(ctx, limitsMA[s.limit]); err != nil {
		return err
	}
	if s.walk != nil {
		return s.walk.Again(ctx)
	}
	walk, err := probe.Begin(ctx, s.seat, s.place.Seat)
	if err == nil {
		s.walk = walk
	}
	return err
}

// cycle cycles the power.
func (s *stranger) cycle(ctx context.Context) error {
	s.cycles++
	if err := assay.Safe(ctx, s.seat); err != nil {
		return err
	}
	return s.on(ctx)
}
