package part

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Lists as English sentences write them, without a comma before "and" (common practice).
func TestPinsInASentence(t *testing.T) {
	v := &Variant{Pins: []Pin{{Number: 1, Name: "1A"}, {Number: 2, Name: "1B"}, {Number: 3, Name: "/Y"}}}
	for _, c := range []struct {
		pins         Pins
		words, named string
	}{
		{PinSet(3), "pin 3", "pin 3 (/Y)"},
		{PinSet(1, 3), "pins 1 and 3", "pins 1 (1A) and 3 (/Y)"},
		{PinSet(1, 2, 3), "pins 1, 2 and 3", "pins 1 (1A), 2 (1B) and 3 (/Y)"},
	} {
		require.Equal(t, c.words, c.pins.Words())
		require.Equal(t, c.named, v.Named(c.pins))
	}
	require.Equal(t, "pin 2 (1B)", v.Pins[1].String())
	require.Equal(t, "gate 1", Listed("gate", []string{"1"}))
}
