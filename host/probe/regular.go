package probe

import (
	"context"
	"slices"

	"chipassay/vectors/part"
)

// Pulses are how many a clock gets in an exploration: through all states of a counter of four bits.
const Pulses = 20

// Regular takes the regular steps: two pulses of each pin from all pins high, and the
// same from all pins low; and so many of a clock.
func (w *Walker) Regular(ctx context.Context, pulses int) error {
	w.pulses = pulses
	inputs := slices.Collect(w.held.All())
	if err := w.pulse(ctx, inputs); err != nil {
		return err
	}
	if err := w.wake(ctx, inputs); err != nil {
		return err
	}
	if err := w.Flip(ctx, inputs...); err != nil {
		return err
	}
	if err := w.wake(ctx, inputs); err != nil {
		return err
	}
	return w.pulse(ctx, inputs)
}

// pulse gives each pin two pulses, and a burst where the second leaves the chip in
// another state than the first: the pin is a clock.
func (w *Walker) pulse(ctx context.Context, pins []int) error {
	for _, pin := range pins {
		before := len(w.record.Steps)
		if err := w.Flip(ctx, pin, pin, pin, pin); err != nil {
			return err
		}
		s := w.record.Steps[before:]
		if len(s) < 4 || s[1] == s[3] {
			continue
		}
		if err := w.Flip(ctx, slices.Repeat([]int{pin}, 2*w.pulses)...); err != nil {
			return err
		}
	}
	return nil
}

// wake changes each two pins together, where nothing has driven yet, until something
// does: a memory answers only while all its selects are active, and an output that only
// pulls low shows only while it is held high. Around that state it pulses the others.
func (w *Walker) wake(ctx context.Context, pins []int) error {
	if w.record.Outputs != 0 {
		return nil
	}
	for i, first := range pins {
		if err := w.Flip(ctx, first); err != nil {
			return err
		}
		for _, second := range pins[i+1:] {
			if err := w.Flip(ctx, second); err != nil {
				return err
			}
			if w.record.Outputs != 0 {
				return w.pulse(ctx, slices.Collect((w.held &^ part.PinSet(first, second) &^ w.record.Outputs).All()))
			}
			if err := w.Flip(ctx, second); err != nil {
				return err
			}
		}
		if err := w.Flip(ctx, first); err != nil {
			return err
		}
	}
	return nil
}
