package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"chipassay/host/adapter"
	"chipassay/host/assay/timing"
	"chipassay/host/quantity"
	"chipassay/host/virtual"
	"chipassay/vectors/part"
)

// timingFlags are the flags of a test of what a capacitor times.
type timingFlags struct {
	capacitor, resistor, section string
}

func (f *timingFlags) flags(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&f.capacitor, "capacitor", "", "clip a capacitor of this value to the side header when asked: 100n, 1u, 470p.\nA monostable or an oscillator is timed, of other parts the inputs' thresholds\nare measured (1u fits every family)")
	flags.StringVar(&f.resistor, "resistor", "", "a resistor to clip on too, where the timing resistor lies between two pins: 10k")
	flags.StringVar(&f.section, "section", "", "time this section alone: 1, 2, monostable, astable")
}

// plan is the plan of what the flags ask for; nil if they ask for nothing.
func (f timingFlags) plan(typ part.Type) (*timing.Plan, error) {
	if f.capacitor == "" {
		if f.resistor != "" || f.section != "" {
			return nil, errors.New("--resistor and --section go with --capacitor: add --capacitor 100n")
		}
		return nil, nil
	}
	p := timing.Plan{Section: f.section}
	var err error
	if p.Farads, err = quantity.ParseFarads(f.capacitor); err != nil {
		return nil, fmt.Errorf("--capacitor: %w", err)
	}
	if f.resistor != "" {
		if p.Ohms, err = quantity.ParseOhms(f.resistor); err != nil {
			return nil, fmt.Errorf("--resistor: %w", err)
		}
	}
	return &p, timing.Refuse(typ, p)
}

// clipped is what a person is asked to clip on, in words.
func clipped(v *part.Variant, c timing.Clips) []string {
	verb, head := "clip", "For "+v.Pins[v.Timings[0].Output-1].Name
	if c.Moved {
		verb = "move"
	}
	for _, x := range v.Timings {
		if x.Name == c.Section {
			head = "For " + v.Pins[x.Output-1].Name
		}
	}
	if c.Section != "" {
		head += ", section " + c.Section
	}
	words := []string{fmt.Sprintf("%s: %s the capacitor of %s to the side header between %s and %s", head, verb, quantity.Farads(c.Farads), place(v, c.Negative), place(v, c.Positive))}
	if c.Farads >= 1e-6 {
		words = append(words, fmt.Sprintf("an electrolytic with its plus at position %d", adapter.PositionOf(c.Positive, len(v.Pins))))
	}
	if c.Resistor[0] != 0 {
		words = append(words, fmt.Sprintf("the resistor of %s between %s and %s", part.Ohms(c.Ohms), place(v, c.Resistor[0]), place(v, c.Resistor[1])))
	}
	for _, w := range c.Wires {
		words = append(words, fmt.Sprintf("a wire between %s and %s", place(v, w[0]), place(v, w[1])))
	}
	return words
}

// timingCautions are what a person must know who clips on what times a chip.
var timingCautions = []string{
	"the supply is off while you clip: do not clip or unclip while the lamp of the supply is lit",
	"discharge the capacitor before you clip it, and before you move it: short its leads; a charged one harms an input",
}

// asking has a person clip: the supply is off, and the adapter has started.
func asking(h helper, v *part.Variant) func(context.Context, timing.Clips) error {
	return func(ctx context.Context, c timing.Clips) error {
		if c.SameAsLast {
			return nil
		}
		return h.ask(ctx, listed(clipped(v, c)))
	}
}

// itself has the virtual adapter clip by itself.
func itself(v *part.Variant, socket *virtual.Socket) func(context.Context, timing.Clips) error {
	at := func(pin int) int { return adapter.PositionOf(pin, len(v.Pins)) }
	return func(_ context.Context, c timing.Clips) error {
		socket.Unclip()
		socket.Clip(virtual.Capacitor{Farads: c.Farads, P: at(c.Positive), Q: at(c.Negative)})
		if c.Resistor[0] != 0 {
			socket.ClipResistor(virtual.Resistor{Ohms: c.Ohms, P: at(c.Resistor[0]), Q: at(c.Resistor[1])})
		}
		for _, w := range c.Wires {
			socket.ClipResistor(virtual.Resistor{Ohms: wireOhms, P: at(w[0]), Q: at(w[1])})
		}
		return nil
	}
}

// wireOhms is a wire with its clips, Ω.
const wireOhms = 0.1
