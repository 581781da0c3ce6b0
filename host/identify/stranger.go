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
)

// A stranger is a chip that is probed at one place.
type stranger struct {
	place  contact.Place
	seat   assay.Socket
	walk   *probe.Walker // nil where it was not powered
	fits   []match.Fit
	random *rand.Rand

	limit    int  // index of limitsMA: at which it is powered
	cycles   int  // how often it was switched off and on where the search was stuck
	wandered bool // pins were changed at random, too
}

// gain is how much more the best fit explains than one that predicts nothing, bits.
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
		s := &stranger{place: place, seat: seat, random: rand.New(rand.NewPCG(a.plan.Seed, 1))}
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

// limitsMA are the currents at which the supply trips, tried in order, mA: a small chip, a
// large one, and what the family that takes the most has.
var limitsMA = []int{60, 120, 200}

// pulses are how many a clock gets before the search for what tells parts apart: most counters
// show more than one output by then.
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

// powered powers the chip for as long as work takes, at the least limit that it runs at.
// Where a limit was too low, work begins again with what is known of the chip.
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

// cycle switches the chip off and on.
func (s *stranger) cycle(ctx context.Context) error {
	s.cycles++
	if err := assay.Safe(ctx, s.seat); err != nil {
		return err
	}
	return s.on(ctx)
}
