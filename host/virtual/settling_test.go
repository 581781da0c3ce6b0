package virtual_test

import (
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/link"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// An output is read as late as it was asked for, by each way in which the firmware
// steps: what is as late as the settling time reads rightly, and what is later shows
// the level of before. Gate 1 of a 7400 with 1B high inverts 1A, which every other
// step changes.
func TestSettlingTimesMatter(t *testing.T) {
	const us = time.Microsecond
	steps := make([]stimulus.Step, 128) // Gray code of pins 1 and 4, others high
	e := adapter.Expected{Mask: part.PinSet(3), High: make([]part.Pins, len(steps))}
	for i := range steps {
		steps[i] = stimulus.Step{Driven: part.PinSet(1, 2, 4, 5), Drive: part.PinSet(2, 5)}
		code := i ^ i>>1
		steps[i].Drive = steps[i].Drive.With(1, code&1 != 0).With(4, code&2 != 0)
		e.High[i] = e.High[i].With(3, code&1 == 0)
	}
	apply := func(seat *adapter.Seat, settle time.Duration) (bool, error) {
		seat.Settle = settle
		read, err := seat.Apply(t.Context(), steps, adapter.High)
		right := len(read) == len(steps)
		for i := range read {
			right = right && (read[i]^e.High[i])&e.Mask == 0
		}
		return right, err
	}
	sweep := func(seat *adapter.Seat, settle time.Duration) (bool, error) {
		wrong, err := seat.Sweep(t.Context(), steps, []int{1, 4}, settle, e, adapter.High)
		return len(wrong) == 0, err
	}
	walk := func(seat *adapter.Seat, settle time.Duration) (bool, error) {
		return seat.Walk(t.Context(), steps, settle, e, adapter.High)
	}
	for _, c := range []struct {
		name   string
		step   func(*adapter.Seat, time.Duration) (bool, error)
		defect string
		settle time.Duration
		right  bool
	}{
		{"step by step", apply, "3 late 5 us", 5 * us, true},
		{"step by step", apply, "3 late 5.1 us", 5 * us, false},
		{"step by step", apply, "3 late 900 us", 1000 * us, true},
		{"a sweep", sweep, "3 late 0.5 us", us / 2, true},
		{"a sweep", sweep, "3 late 0.6 us", us / 2, false},
		{"a sweep", sweep, "3 late 2.9 us", 3 * us, true},
		{"a sweep", sweep, "3 late 3.1 us", 3 * us, false},
		{"a walk", walk, "3 late 0.5 us", us / 2, true},
		{"a walk", walk, "3 late 0.6 us", us / 2, false},
		{"a walk", walk, "3 late 5 us", 5 * us, true},
		{"a walk", walk, "3 late 5.1 us", 5 * us, false},
	} {
		a, err := adapter.Open(t.Context(), link.New(open(t, "7400", c.defect), 0))
		if err != nil {
			t.Fatal(err)
		}
		seat, err := a.Seat(14, 14, 7)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := seat.PowerOn(t.Context(), 100); err != nil {
			t.Fatal(err)
		}
		right, err := c.step(seat, c.settle)
		if err != nil || right != c.right {
			t.Errorf("%s of %v, %s: right %v, %v; want %v", c.name, c.settle, c.defect, right, err, c.right)
		}
	}
}
