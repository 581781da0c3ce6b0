package adapter

import (
	"context"
	"encoding/binary"
	"fmt"
	"slices"
	"time"

	"chipassay/protocol"
	"chipassay/vectors/part"
	"chipassay/vectors/signature"
	"chipassay/vectors/stimulus"
)

// A stretch is some changes of a walk, in a row and that often in a row: the
// pulses of a clock are one.
type stretch struct {
	flips []part.Pins
	times int
}

// longestPeriod is how many changes are looked at for a repetition.
const longestPeriod = 24

// What a loop costs in code, and a change of one pin and of several, bytes.
const (
	loopBytes = 8
	spotBytes = 2
	stepBytes = 5
)

func codeBytes(flips []part.Pins) (n int) {
	for _, f := range flips {
		n += stepBytes
		if f.Len() == 1 {
			n += spotBytes - stepBytes
		}
	}
	return n
}

// stretches finds what repeats in the changes of a walk.
func stretches(flips []part.Pins) (all []stretch) {
	for plain := 0; plain < len(flips); {
		rest := flips[plain:]
		best, saved := stretch{rest[:1], 1}, 0
		for period := 1; period <= min(longestPeriod, len(rest)/2); period++ {
			times := 1
			for most := min(len(rest)/period, 1<<16-1); times < most && slices.Equal(rest[:period], rest[times*period:(times+1)*period]); {
				times++
			}
			if bytes := codeBytes(rest[:period]); bytes*(times-1)-loopBytes > saved {
				best, saved = stretch{rest[:period], times}, bytes*(times-1)-loopBytes
			}
		}
		if last := len(all) - 1; best.times == 1 && last >= 0 && all[last].times == 1 {
			all[last].flips = flips[plain-len(all[last].flips) : plain+1]
		} else {
			all = append(all, best)
		}
		plain += len(best.flips) * best.times
	}
	return all
}

// walkStepTime is what a step of a walk takes beside its settling: 205 cycles, and
// the interrupts' share (firmware/README.md, Speed).
const walkStepTime = 14 * time.Microsecond

// walkBudget is how long a program of a walk runs without a word to the host.
const walkBudget = 500 * time.Millisecond

// Walk has the adapter apply steps by itself that all drive the same pins, with
// under a bias, and reports by signatures whether they read as expected.
// Each waits settle before it is read. ErrCannot where it has no pattern engine.
func (s *Seat) Walk(ctx context.Context, steps []stimulus.Step, settle time.Duration, e Expected, bias Pull) (right bool, err error) {
	if err := s.adapter.setPulls(ctx, protocol.Pulls{Bias: s.pulled(bias), Load: s.pulled(s.Load)}); err != nil {
		return false, err
	}
	flips := make([]part.Pins, 0, len(steps))
	for i := 1; i < len(steps); i++ {
		flips = append(flips, steps[i].Drive^steps[i-1].Drive)
	}
	at := 0 // the step that stands
	p := s.walkFrom(steps[0], settle, e)
	p.add(protocol.OpFold)
	folded := Span{0, 1}
	right = true
	finish := func() error {
		ok, err := p.sameSignature(ctx, folded, e)
		right = right && ok
		if s.Progress != nil {
			s.Progress(folded.To)
		}
		return err
	}
	for _, st := range stretches(flips) {
		for _, piece := range st.pieces(p.Room()) {
			if p.Room() < piece.bytes() {
				if err := finish(); err != nil || !right {
					return false, err
				}
				p, folded = s.walkFrom(steps[at], settle, e), Span{at + 1, at + 1}
			}
			p.walk(piece)
			at += len(piece.flips) * piece.times
			folded.To = at + 1
		}
	}
	return right, finish()
}

// walkFrom begins a program of a walk at a step that stands already.
func (s *Seat) walkFrom(step stimulus.Step, settle time.Duration, e Expected) *Program {
	p := s.Program(step.Driven, step.Drive, settle)
	p.Mask(e.Mask)
	return p
}

func (st stretch) bytes() int {
	if st.times > 1 {
		return codeBytes(st.flips) + loopBytes
	}
	return codeBytes(st.flips)
}

// fewBytes is a piece of a walk that always finds room in an empty program.
const fewBytes = 256

// pieces cuts a stretch that does not repeat into pieces, the first for the room at hand.
func (st stretch) pieces(room int) (all []stretch) {
	if st.times > 1 {
		return []stretch{st}
	}
	for rest := st.flips; len(rest) > 0; room = fewBytes {
		n := 1
		for n < len(rest) && codeBytes(rest[:n+1]) <= room {
			n++
		}
		all = append(all, stretch{rest[:n], 1})
		rest = rest[n:]
	}
	return all
}

// walk adds a stretch.
func (p *Program) walk(st stretch) {
	if st.times > 1 {
		p.Loop(0, 1, st.times)
	}
	for _, f := range st.flips {
		p.Step(f)
	}
	if st.times > 1 {
		p.Next(0)
	}
}

// sameSignature runs the program to its end and compares its one signature.
func (p *Program) sameSignature(ctx context.Context, folded Span, e Expected) (bool, error) {
	p.Emit()
	var output []byte
	err := p.RunToEnd(ctx, walkBudget, nil, func(run Run) error {
		output = append(output, run.Output...)
		return nil
	})
	if err != nil {
		return false, err
	}
	p.seat.adapter.worked += time.Duration(folded.To-folded.From) * (walkStepTime + time.Duration(p.load.Settle)*time.Microsecond/16)
	if len(output) != 4 {
		return false, p.seat.adapter.fail(fmt.Errorf("%w: %d bytes for a signature", protocol.ErrPayload, len(output)))
	}
	want := signature.Blocks(p.seat.readbacks(e, folded), max(1, folded.To-folded.From))
	return len(want) == 0 || binary.LittleEndian.Uint32(output) == want[0], nil
}
