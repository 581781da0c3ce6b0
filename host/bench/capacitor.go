package bench

import (
	"context"
	"strings"

	"chipassay/host/assay"
	"chipassay/vectors/part"
)

// A Capacitor is one that is clipped to the side header, as it is marked; and the resistor
// beside it, where a part has its own between two pins.
type Capacitor struct{ Marked, Resistor string }

// A Helper is a person at the bench, who is asked to do something: it returns when it is done.
type Helper func(ctx context.Context, what string, cautions []string) error

// An Asking is what a person is asked to do in the middle of a test. The supply is off.
type Asking struct {
	What     string
	Cautions []string
}

// ask asks the person, and returns when Start says that it is done.
func (b *Bench) ask(ctx context.Context, what string, cautions []string) error {
	done := make(chan struct{})
	b.mu.Lock()
	w := b.work
	w.done, w.asked = done, true
	b.mu.Unlock()
	b.run(func(d *Drawer) { d.Asking = &Asking{what, cautions} })
	defer b.run(func(d *Drawer) { d.Asking = nil })
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		b.answered()
		return ctx.Err()
	}
}

// answered reports whether the person was asked for something, which is done now.
func (b *Bench) answered() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.work == nil || b.work.done == nil {
		return false
	}
	close(b.work.done)
	b.work.done = nil
	return true
}

// planned plans the test of a type in a run: with its capacitor, where one is named. Of a
// type that it does not fit it is said, and the rest is tested.
func (b *Bench) planned(o Order) func(part.Type) (assay.Plan, error) {
	if o.Marked == "" {
		return b.means.Plan
	}
	return func(t part.Type) (assay.Plan, error) {
		p, err := b.means.Plan(t)
		if err != nil {
			return p, err
		}
		if clip, err := b.means.Capacitor(o.Capacitor, t, b.socket, b.ask); err != nil {
			b.say("without the capacitor: " + err.Error())
		} else {
			clip(&p)
		}
		return p, nil
	}
}

// fits refuses a capacitor that the type of a run cannot use.
func (b *Bench) fits(o Order, typed string) error {
	switch {
	case o.Marked == "" && o.Resistor == "":
		return nil
	case o.Marked == "":
		return refused("name the capacitor too, such as 100n")
	case o.Identify:
		return refused("chips that are identified are not measured with a capacitor: leave it empty")
	}
	t, err := b.means.Find(typed)
	if err != nil {
		return refused("%v", err)
	}
	if t.Variant.Memory != nil {
		return refused("a memory is not measured with a capacitor: leave it empty")
	}
	if _, err := b.means.Capacitor(o.Capacitor, t, b.socket, b.ask); err != nil {
		return refused("%v", err)
	}
	return nil
}

// unclipped ends what was clipped on for a chip: the virtual socket's is taken off, and a
// person is told.
func (b *Bench) unclipped(w *work) {
	b.mu.Lock()
	asked := w.asked
	w.asked = false
	b.mu.Unlock()
	if b.socket != nil {
		b.socket.Unclip()
	}
	if asked {
		b.say("take the capacitor off: what stays clipped on is at the next chip's pins too")
	}
}

// trimmed is a capacitor as it was typed, without blanks around.
func (c Capacitor) trimmed() Capacitor {
	return Capacitor{strings.TrimSpace(c.Marked), strings.TrimSpace(c.Resistor)}
}
