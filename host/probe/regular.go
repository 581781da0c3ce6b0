package probe

import (
	"context"
	"slices"

	"chipassay/vectors/part"
)

// Pulses is how many a clock gets in an exploration: enough for all states of a four-bit counter.
const Pulses = 20

// Regular takes the regular steps: two pulses of each pin from all pins high, then from all
// pins low, and the given number of pulses of a clock. After the chip was switched off and on,
// it continues with the pins that had none.
func (w *Walker) Regular(ctx context.Context, pulses int) error {
	w.pulses = pulses
	inputs := slices.Collect(w.held.All())
	for low := range w.pulsed {
		if low == 1 {
			if err := w.Flip(ctx, inputs...); err != nil {
				return err
			}
			if err := w.wake(ctx, inputs); err != nil {
				return err
			}
		}
		if err := w.pulse(ctx, inputs, &w.pulsed[low]); err != nil {
			return err
		}
		if low == 0 {
			if err := w.wake(ctx, inputs); err != nil {
				return err
			}
		}
	}
	return nil
}

// pulse gives two pulses to each pin that had none. Where the second leaves the chip in another
// state than the first, the pin is a clock and gets a burst.
func (w *Walker) pulse(ctx context.Context, pins []int, had *part.Pins) error {
	for _, pin := range pins {
		if had.Has(pin) {
			continue
		}
		before := len(w.record.Steps)
		if err := w.Flip(ctx, pin, pin, pin, pin); err != nil {
			return err
		}
		if s := w.record.Steps[before:]; len(s) == 4 && s[1] != s[3] {
			if err := w.Flip(ctx, slices.Repeat([]int{pin}, 2*w.pulses)...); err != nil {
				return err
			}
		}
		*had = had.With(pin, true)
	}
	return nil
}

// wake looks for outputs where nothing has driven yet: it changes pins two at a time until
// something drives, and pulses the other pins there. A memory answers only while all its selects
// are active, and an output that only pulls low shows only while it is held high.
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
				return w.pulse(ctx, slices.Collect((w.held &^ part.PinSet(first, second) &^ w.record.Outputs).All()), new(part.Pins))
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
