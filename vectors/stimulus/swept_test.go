package stimulus_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// The reflected binary code of three bits, as F. Gray's patent prints it
// (US 2,632,058, 1953): 000 001 011 010 110 111 101 100.
func TestSwept(t *testing.T) {
	const held = part.Pins(1 << 9) // pin 10
	driven := held | part.PinSet(5, 2, 7)
	var steps []stimulus.Step
	for _, code := range []string{"000", "001", "011", "010", "110", "111", "101", "100"} {
		st := stimulus.Step{Driven: driven, Drive: held}
		for i, pin := range []int{7, 2, 5} { // as the code is written, the least significant last
			st.Drive = st.Drive.With(pin, code[i] == '1')
		}
		steps = append(steps, st)
	}
	pins, ok := stimulus.Swept(steps)
	require.True(t, ok)
	require.Equal(t, []int{5, 2, 7}, pins)

	for name, spoil := range map[string]func(st []stimulus.Step) []stimulus.Step{
		"a step short":       func(st []stimulus.Step) []stimulus.Step { return st[:7] },
		"two steps swapped":  func(st []stimulus.Step) []stimulus.Step { st[3], st[4] = st[4], st[3]; return st },
		"another direction":  func(st []stimulus.Step) []stimulus.Step { st[6].Driven = st[6].Driven.With(3, true); return st },
		"a held pin changes": func(st []stimulus.Step) []stimulus.Step { st[5].Drive = st[5].Drive.With(10, false); return st },
		"from the middle":    func(st []stimulus.Step) []stimulus.Step { return st[4:] },
		"nothing":            func(st []stimulus.Step) []stimulus.Step { return nil },
	} {
		_, ok := stimulus.Swept(spoil(append([]stimulus.Step(nil), steps...)))
		require.False(t, ok, name)
	}
}
