package memory

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"chipassay/host/adapter"
	"chipassay/protocol"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// A march test always selects, so it does not notice a select or an output enable
// that is stuck active. These are looked at by themselves: with each of them left
// inactive in turn, and all else as in a cycle, the outputs must release, and a write
// must change nothing. Of a dynamic memory only the word at hand is kept, within one program.

// biasTime is what a released pin is given to come to the bias rail: 10 kΩ and some 100 pF, a dozen times over.
const biasTime = 12 * time.Microsecond

// released gives released pins their time within an access: of a static memory. The strobes
// of a dynamic one may not be low so long, so its pins get that before the access; in it
// they would be driven within the access time.
func (c cycle) released(a adapter.Access) adapter.Access {
	if c.m.Kind == part.DynamicRAM {
		c.Pause(biasTime)
	} else {
		a.Pause = max(a.Pause, biasTime)
	}
	return a
}

// holdable are the controls that are left inactive in turn.
func (b bench) holdable() []part.Control {
	if b.m.Kind == part.DynamicRAM {
		return has(b.m.CAS, b.m.Enable)
	}
	return append(slices.Clone(b.m.Select), has(b.m.CAS, b.m.Enable)...)
}

// writable reports whether a control must be active for a write.
func (b bench) writable(c part.Control) bool {
	return b.m.Write != nil && (b.m.Enable == nil || b.m.Enable.Pin != c.Pin)
}

// rails are the levels of the bias rail at which outputs show that they release.
func (b bench) rails() []adapter.Pull {
	if against := againstBias(b.t); against != adapter.High {
		return []adapter.Pull{adapter.High, against}
	}
	return []adapter.Pull{adapter.High}
}

// deselections counts the reads of deselected.
func (b bench) deselections() (n int) {
	for _, c := range b.holdable() {
		n += len(b.rails())
		if b.writable(c) {
			n += 2
		}
	}
	return n
}

// deselected leaves each control inactive in turn and keeps what is wrong.
func (w *Run) deselected() error {
	failed := w.Found.FailureCount > 0
	for _, control := range w.holdable() {
		drives, err := w.drivesWithout(control)
		if err != nil {
			return err
		}
		written := 0
		if w.writable(control) && !failed {
			if written, err = w.writesWithout(control); err != nil {
				return err
			}
		}
		if drives+written == 0 {
			continue
		}
		var what []string
		if drives > 0 {
			what = append(what, "the outputs drive")
		}
		if written > 0 {
			what = append(what, "a write changes the memory")
		}
		m := w.Found
		m.FailureCount += drives + written
		m.Deselected = append(m.Deselected, w.stuckActive(strings.Join(what, " and "), control))
		m.Pins = m.Pins.With(control.Pin, true)
	}
	return nil
}

// stuckActive says what a chip does without a control.
func (b bench) stuckActive(what string, control part.Control) string {
	return fmt.Sprintf("%s although %v is not active: it is stuck or open inside the chip", what, &b.t.Variant.Pins[control.Pin-1])
}

// alwaysSelected reports whether a failing memory with common data pins may be selected
// all the time: it then takes each word again as its pins are released, and every wrong
// read of the requested test gives the level of the bias rail.
func (w *Run) alwaysSelected() bool {
	m := w.Found
	failures := m.of[asked]
	return w.m.CommonData() && len(failures) > 0 &&
		!slices.ContainsFunc(failures, func(f march.Failure) bool { return f.Seen != 1<<m.Shape.Bits-1 })
}

// drivesWithout reads a word without a control, and counts the readings at which the
// outputs did not follow the bias rail.
func (w *Run) drivesWithout(control part.Control) (wrong int, err error) {
	b := w.bench
	all := uint32(1)<<b.m.Bits - 1
	rails := b.rails()
	for i, rail := range rails {
		other := rails[len(rails)-1-i]
		if b.m.Kind == part.DynamicRAM {
			other = rail // between two programs it would not be refreshed
		}
		if err := b.socket.Pulls(w.ctx, other, adapter.Off); err != nil {
			return 0, err
		}
		released, word := uint32(0), all
		if rail == adapter.High {
			released, word = all, 0
		}
		if b.m.Inverted {
			word ^= all
		}
		c := b.program(b.counting())
		c.at(0, c.write(word))
		if other != rail { // a chip that is always selected takes the level at which its pins are released
			if err := w.run(c, func(adapter.Run) error { return nil }); err != nil {
				return 0, err
			}
			if err := b.socket.Pulls(w.ctx, rail, adapter.Off); err != nil {
				return 0, err
			}
			c = b.program(b.counting())
		}
		c.at(0, c.released(c.without(control).read(protocol.AccessCheck, released)))
		errors, err := w.errors(c)
		if w.Found.Applied++; err != nil {
			return 0, err
		}
		wrong += errors
	}
	return wrong, nil
}

// writesWithout writes the complement over a word without a control, both ways, and
// counts the reads that show it.
func (w *Run) writesWithout(control part.Control) (wrong int, err error) {
	b := w.bench
	if err := b.socket.Pulls(w.ctx, adapter.High, adapter.Off); err != nil {
		return 0, err
	}
	all := uint32(1)<<b.m.Bits - 1
	for _, word := range []uint32{0, all} {
		c := b.program(b.counting())
		c.at(0, c.write(word), c.without(control).write(word^all), c.expect(word))
		errors, err := w.errors(c)
		if w.Found.Applied++; err != nil {
			return 0, err
		}
		wrong += errors
	}
	return wrong, nil
}

// without is the cycle with a control left inactive.
func (c cycle) without(control part.Control) cycle {
	c.held = part.PinSet(control.Pin)
	return c
}

// errors runs a program to its end and counts its errors.
func (w *Run) errors(c cycle) (n int, err error) {
	err = c.RunToEnd(w.ctx, runBudget, nil, func(now adapter.Run) error { n = int(now.Errors); return nil })
	return n, err
}
