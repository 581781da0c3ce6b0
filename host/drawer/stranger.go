package drawer

import (
	"context"
	"errors"
	"strings"
	"time"
	"unicode"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/assay/contact"
	"chipassay/host/identified"
	"chipassay/host/identify"
	"chipassay/host/probe"
	"chipassay/vectors/part"
)

// stranger is the type of a chip that is to be identified: its number is what can be read of
// its marking, empty for nothing.
func stranger(marked string) part.Type {
	return part.Type{Variant: &part.Variant{Part: &part.Part{Number: marked, Title: "chips to be identified"}}, Family: &part.Family{}}
}

// unknown is the type of a chip that is no part of the library, or none that was found.
func unknown(s probe.Seat) part.Type {
	t := stranger("unknown")
	t.Variant.Part.Title = "not identified"
	t.Variant.Pins = contact.Blank(s).Variant.Pins
	return t
}

// readable reports whether anything of a marking can be read.
func readable(marked string) bool {
	return strings.ContainsFunc(marked, func(c rune) bool { return unicode.IsLetter(c) || unicode.IsDigit(c) })
}

// anywhere is a seat that every adapter has: where a stranger is seated is to be found.
func (s *Station) anywhere() (*adapter.Seat, error) { return s.Adapter.Seat(14, 14, 7) }

// presence looks whether any chip is in the socket.
func (s *Station) presence(ctx context.Context) (bool, error) {
	seat, err := s.anywhere()
	if err != nil {
		return false, err
	}
	present, err := contact.Anything(ctx, seat)
	return present, errors.Join(err, seat.PowerOff(ctx))
}

// identified identifies the chip in the socket and gives the result of its own test. One
// that is not certain is not tested, whatever it passed.
func (s *Station) identified(ctx context.Context, marked string) (*assay.Result, error) {
	seat, err := s.anywhere()
	if err != nil {
		return nil, err
	}
	p := *s.Identify
	p.Hint.Marking = marked
	started := time.Now()
	a, err := identify.Chip(ctx, seat, p)
	if err != nil {
		return nil, err
	}
	d := identified.Of(a, marked, nil)
	r := a.Test
	if r == nil {
		r = &assay.Result{Type: unknown(a.Seat), Verdict: assay.NotTested, SupplyCurrentMA: -1, Started: started, Duration: time.Since(started)}
		if len(a.Candidates) > 0 {
			c := a.Candidates[0]
			r.Type = part.Type{Variant: c.Variant, Family: c.Families[0]}
		}
	}
	r.Seating, r.Identified = a.Seating, d.Words()
	if a.Exit() == 3 {
		r.Verdict, r.Reason, r.Grade, r.GradeReasons = assay.NotTested, d.Why(), "", nil
	}
	return r, nil
}
