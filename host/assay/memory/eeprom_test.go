package memory

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// An EEPROM takes a write as its chip and write enables are low and its output enable is
// high (the data sheets' mode tables, from memory: output enable low inhibits a write). At rest
// the output enable is low, so that no order in which pins fall after the drives are released
// makes a write. Other memories rest with their outputs disabled.
func TestAnEEPROMRestsWhereItCannotBeWritten(t *testing.T) {
	parts, err := library.Memories()
	require.NoError(t, err)
	seen := 0
	for _, p := range parts {
		v := p.Variants[0]
		b := bench{t: part.Type{Variant: v, Family: v.Families[0]}, m: v.Memory}
		if v.Refusal != "" || v.Memory.Enable == nil {
			continue
		}
		driven, idle := b.driven()
		enable := *v.Memory.Enable
		require.True(t, driven.Has(enable.Pin), p.Number)
		if v.Memory.Kind != part.EEPROM {
			require.NotEqual(t, enable.Active, idle.Has(enable.Pin), p.Number)
			continue
		}
		seen++
		require.False(t, idle.Has(enable.Pin), "%s: /OE low", p.Number)
		for _, pin := range v.Pins {
			if pin.Name == "/WE" || pin.Name == "/CE" {
				require.True(t, driven.Has(pin.Number) && idle.Has(pin.Number), "%s: %s high", p.Number, pin.Name)
			}
		}
	}
	require.Equal(t, 10, seen)
}
