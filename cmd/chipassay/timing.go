package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"chipassay/host/adapter"
	"chipassay/host/assay/timing"
	"chipassay/host/console"
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
	at := func(pin int) string {
		return fmt.Sprintf("position %d (pin %d, %s)", adapter.PositionOf(pin, len(v.Pins)), pin, v.Pins[pin-1].Name)
	}
	head := "For " + v.Pins[v.Timings[0].Output-1].Name
	for _, x := range v.Timings {
		if x.Name == c.Section {
			head = "For " + v.Pins[x.Output-1].Name
		}
	}
	if c.Section != "" {
		head += ", section " + c.Section
	}
	words := []string{fmt.Sprintf("%s: clip the capacitor of %s to the side header between %s and %s", head, quantity.Farads(c.Farads), at(c.Negative), at(c.Positive))}
	if c.Farads >= 1e-6 {
		words = append(words, fmt.Sprintf("an electrolytic with its plus at position %d", adapter.PositionOf(c.Positive, len(v.Pins))))
	}
	if c.Resistor[0] != 0 {
		words = append(words, fmt.Sprintf("the resistor of %s between %s and %s", part.Ohms(c.Ohms), at(c.Resistor[0]), at(c.Resistor[1])))
	}
	for _, w := range c.Wires {
		words = append(words, fmt.Sprintf("a wire between %s and %s", at(w[0]), at(w[1])))
	}
	return words
}

// asking has a person clip: the supply is off, and the adapter has started.
func asking(cmd *cobra.Command, v *part.Variant) func(context.Context, timing.Clips) error {
	in := bufio.NewReader(cmd.InOrStdin())
	return func(ctx context.Context, c timing.Clips) error {
		err := cmd.ErrOrStderr()
		if c.SameAsLast {
			return nil
		}
		for i, words := range clipped(v, c) {
			if i > 0 {
				words = "  and " + words
			}
			fmt.Fprintln(err, words)
		}
		fmt.Fprintln(err, "The supply is off. Discharge the capacitor first: short its leads; a charged one harms an input.")
		if !console.IsTerminal(os.Stdin) {
			fmt.Fprintln(err, "This is no terminal: going on as if it were clipped.")
			return nil
		}
		fmt.Fprint(err, "Press Enter when it is clipped: ")
		read := make(chan error, 1)
		go func() { _, e := in.ReadString('\n'); read <- e }()
		select {
		case <-ctx.Done():
			return ctx.Err()
		case e := <-read:
			return e
		}
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
