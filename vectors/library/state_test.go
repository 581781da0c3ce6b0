package library_test

import (
	"maps"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A model is a part that remembers, in plain Go integers and slices, written
// from its data book and not from its definition. Step is given the levels of the
// driven pins before and after a step (was == is in the first), and gives what
// the part then drives at each of its outputs: logic.X while that cannot be known.
type model func(was, is part.Pins) map[int]logic.Value

// A modelOf makes a model fresh from power-up, as one of its families has it.
type modelOf func(v *part.Variant) model

// rose reports whether pin n went from low to high in a step.
func rose(was, is part.Pins, n int) bool { return !was.Has(n) && is.Has(n) }

// fell reports whether pin n went from high to low in a step.
func fell(was, is part.Pins, n int) bool { return was.Has(n) && !is.Has(n) }

// number reads pins as a binary number, the most significant first.
func number(is part.Pins, pins ...int) (n int) {
	for _, p := range pins {
		n <<= 1
		if is.Has(p) {
			n |= 1
		}
	}
	return n
}

// show writes a number to pins, the most significant first; a negative one is unknown.
func show(out map[int]logic.Value, n int, pins ...int) {
	for i, p := range pins {
		if n < 0 {
			out[p] = logic.X
			continue
		}
		out[p] = logic.FromBool(n>>(len(pins)-1-i)&1 != 0)
	}
}

// Every part that remembers does in every step of its test what its model in plain Go does.
func TestPartsThatRememberDoAsTheirModels(t *testing.T) {
	models := map[string]modelOf{}
	for _, more := range []map[string]modelOf{states74, states4000} {
		maps.Copy(models, more)
	}
	for number, of := range models {
		t.Run(number, func(t *testing.T) {
			p, err := library.Builtin().Find(number)
			require.NoError(t, err)
			require.NotNil(t, p, "no definition")
			for _, v := range p.Variants {
				compareWithModel(t, v, of(v))
			}
		})
	}
}

func compareWithModel(t *testing.T, v *part.Variant, m model) {
	t.Helper()
	c, err := logic.Compile(v)
	require.NoError(t, err)
	s, err := stimulus.For(c)
	require.NoError(t, err)
	was := s.Steps[0].Drive
	compared := 0
	for i, st := range s.Steps {
		// what the chip drives is what a pin that turns shows
		out := m(was, st.Drive)
		for pin := range st.Compared.All() {
			want, ok := out[pin]
			if !ok { // require.True takes longer than all else here
				t.Fatalf("the model says nothing of pin %d (%s)", pin, v.Pins[pin-1].Name)
			}
			got, _ := st.Expect(pin)
			if want == logic.X {
				continue
			}
			compared++
			if want != got {
				t.Fatalf("%s step %d of %d, pin %d (%s): the definition says %v, the model %v; driven pins high: %v (before: %v)",
					v.Part.Number, i+1, len(s.Steps), pin, v.Pins[pin-1].Name, got, want, st.Drive, was)
			}
		}
		was = st.Drive
	}
	require.Greater(t, compared, len(s.Steps)/2, "too few levels could be compared")
}
