package library_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// Every sequence of the library keeps the rules of legal stimulus, as a checker
// sees it that reads them from the definitions and shares nothing with the
// generator: a clock, a set, a clear and an enable change alone, and not as a pin that floated is driven; the inputs of
// pulse-triggered flip-flops stay while the pulse is high; what is unstable is not
// released together; what the data sheet forbids is not applied; and no pin is
// driven against the chip.
func TestEverySequenceIsLegal(t *testing.T) {
	parts, err := library.All()
	require.NoError(t, err)
	for _, p := range parts {
		for i, v := range p.Variants {
			t.Run(fmt.Sprintf("%s/%d", p.Number, i), func(t *testing.T) {
				c, err := logic.Compile(v)
				require.NoError(t, err)
				s, err := stimulus.For(c)
				if err != nil {
					t.Fatal(err)
				}
				checkLegal(t, newLegality(v), s)
				checkNoContest(t, c, s)
			})
		}
	}
}

// A legality is what the definition says of when pins may change.
type legality struct {
	v      *part.Variant
	makers map[int]part.Expr // inner signals and outputs by what gives them their value
	alone  part.Pins         // clocks, sets, clears, enables
	pulses []struct{ clock, hold part.Pins }
}

func newLegality(v *part.Variant) *legality {
	l := &legality{v: v, makers: map[int]part.Expr{}}
	for _, e := range v.Logic.Equations {
		for _, target := range e.Targets {
			if pin := v.Logic.Signals[target].Pin; pin == 0 || v.Pins[pin-1].Role == part.Output {
				l.makers[target] = e.Value
			}
		}
	}
	for _, r := range v.Logic.Registers {
		var hold part.Pins
		for _, rule := range r.Rules {
			if rule.Edge == part.Level {
				l.alone |= l.pins(rule.When)
			} else {
				l.alone |= l.pins(part.Ref{Signal: rule.Clock})
			}
			hold |= l.pins(rule.When) | l.pins(rule.Next)
		}
		for _, rule := range r.Rules {
			if rule.Edge == part.Pulse {
				clock := l.pins(part.Ref{Signal: rule.Clock})
				l.pulses = append(l.pulses, struct{ clock, hold part.Pins }{clock, hold &^ clock})
			}
		}
	}
	return l
}

// pins gives the input pins that an expression depends on, registers apart.
func (l *legality) pins(e part.Expr) (pins part.Pins) {
	if e == nil {
		return 0
	}
	seen := map[int]bool{}
	var follow func(e part.Expr)
	follow = func(e part.Expr) {
		part.Walk(e, func(x part.Expr) {
			r, ok := x.(part.Ref)
			if !ok || seen[r.Signal] {
				return
			}
			seen[r.Signal] = true
			if pin := l.v.Logic.Signals[r.Signal].Pin; pin != 0 && l.v.Pins[pin-1].Role != part.Output {
				pins = pins.With(pin, true)
				return
			}
			if maker := l.makers[r.Signal]; maker != nil {
				follow(maker)
			}
		})
	}
	follow(e)
	return pins
}

// joined reports whether just those pins change that the data sheet joins by a wire in
// the levels at hand.
func (l *legality) joined(levels, changed part.Pins) bool {
	for _, g := range l.v.Logic.Together {
		if joined(l.v, changed) && l.holds(g.While, levels) {
			return true
		}
	}
	return false
}

func checkLegal(t *testing.T, l *legality, s *stimulus.Sequence) {
	t.Helper()
	for _, n := range l.v.Logic.Never {
		require.False(t, l.holds(n.When, s.Steps[0].Drive), "step 1: %s", n.Why)
	}
	for i := 1; i < len(s.Steps); i++ {
		was, is := s.Steps[i-1], s.Steps[i]
		changed := (was.Drive ^ is.Drive) & was.Driven & is.Driven
		if len(l.v.Logic.Registers) > 0 && changed&l.alone != 0 && !l.joined(was.Drive, was.Drive^is.Drive) {
			if changed.Len() != 1 { // require.Equal takes longer than all else here
				t.Fatalf("step %d: pins %v change together", i+1, changed)
			}
			// An adapter drives a pin anew some time after or before a level changes.
			if anew := is.Driven & was.Z; anew != 0 {
				t.Fatalf("step %d: pins %v, which nothing drove, are driven as pins %v change", i+1, anew, changed)
			}
		}
		for _, p := range l.pulses {
			if changed&p.hold != 0 {
				require.Zero(t, (was.Drive|is.Drive)&p.clock, "step %d: pins %v change while the pulse is high", i+1, changed&p.hold)
			}
		}
		for _, group := range l.v.Logic.Unstable {
			released := 0
			for _, signal := range group {
				if changed.Has(l.v.Logic.Signals[signal].Pin) {
					released++
				}
			}
			require.LessOrEqual(t, released, 1, "step %d: asynchronous inputs change together", i+1)
		}
		for _, st := range l.v.Logic.Stable {
			for _, signal := range st.Signals {
				if changed.Has(l.v.Logic.Signals[signal].Pin) {
					require.False(t, l.holds(st.While, was.Drive) || l.holds(st.While, is.Drive), "step %d: %s changes", i+1, l.v.Logic.Signals[signal].Name)
				}
			}
		}
		for _, n := range l.v.Logic.Never {
			require.False(t, l.holds(n.When, is.Drive), "step %d: %s", i+1, n.Why)
		}
	}
}

// holds works out a forbidden combination from the levels of the inputs, one bit at a time.
func (l *legality) holds(e part.Expr, drive part.Pins) bool {
	bits := l.bits(e, drive)
	return bits[len(bits)-1]
}

func (l *legality) bits(e part.Expr, drive part.Pins) []bool {
	switch e := e.(type) {
	case part.Const:
		var bits []bool
		for _, b := range e.Bits {
			bits = append(bits, b == '1')
		}
		return bits
	case part.Ref:
		if pin := l.v.Logic.Signals[e.Signal].Pin; pin != 0 && l.v.Pins[pin-1].Role != part.Output {
			return []bool{drive.Has(pin)}
		}
		return l.bits(l.makers[e.Signal], drive)
	case part.Concat:
		var bits []bool
		for _, p := range e.Parts {
			bits = append(bits, l.bits(p, drive)...)
		}
		return bits
	case part.Not:
		bits := l.bits(e.X, drive)
		for i := range bits {
			bits[i] = !bits[i]
		}
		return bits
	case part.Gated:
		bits := l.bits(e.In[0], drive)
		for _, in := range e.In[1:] {
			for i, b := range l.bits(in, drive) {
				switch e.Op {
				case "&":
					bits[i] = bits[i] && b
				case "|":
					bits[i] = bits[i] || b
				case "^":
					bits[i] = bits[i] != b
				}
			}
		}
		return bits
	case part.Binary:
		x, y := l.bits(e.X, drive), l.bits(e.Y, drive)
		switch e.Op {
		case "==":
			return []bool{slices.Equal(x, y)}
		case "!=":
			return []bool{!slices.Equal(x, y)}
		}
	}
	panic(fmt.Sprintf("the checker does not know %T", e))
}

// checkNoContest sees that no step drives a pin that the chip drives or may drive.
func checkNoContest(t *testing.T, c *logic.Circuit, s *stimulus.Sequence) {
	t.Helper()
	m := c.NewMachine()
	for i, st := range s.Steps {
		for range 3 {
			for pin := range s.Inputs.All() {
				level := logic.Splat(logic.X)
				if st.Driven.Has(pin) {
					level = logic.Splat(logic.FromBool(st.Drive.Has(pin)))
				} else if v := m.Out(pin).Lane(0); v != logic.Z {
					level = logic.Splat(v)
				}
				m.Set(pin, level)
			}
			m.Settle()
		}
		for pin := range st.Driven.All() {
			if c.Variant.Pins[pin-1].Observable() {
				if m.Out(pin).Lane(0) != logic.Z {
					t.Fatalf("step %d drives pin %d, and so does the chip", i+1, pin)
				}
			}
		}
	}
}
