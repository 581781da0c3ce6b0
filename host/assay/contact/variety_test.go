package contact_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/assay/contact"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
	"chipassay/vectors/sample"
)

// varied puts a good chip drawn by a seed, perhaps with a defect, into a board drawn
// likewise: supply of 4.5 to 5.25 V at the USB port, resistors of 1 %.
func varied(t testing.TB, typ part.Type, seed uint64, defects ...string) *virtual.Socket {
	t.Helper()
	b := virtual.NewBoard()
	b.USB([]float64{5, 4.5, 5.25}[seed%3])
	b.Spread(1, seed)
	chip := chipOf(t, typ, defects...)
	chip.Vary(virtual.Sampled(typ, seed))
	return b.Socket(chip, seed)
}

// No good chip is refused before power, whoever made it, and what is put in backwards is
// told (the varieties are those of data sheets and processes; host/virtual). The ordinary
// run draws one chip of each variant.
func TestSampledChipsAreNotRefused(t *testing.T) {
	logic, err := library.All()
	require.NoError(t, err)
	memories, err := library.Memories()
	require.NoError(t, err)
	random := sample.Random(t)
	tried, silent, seed := 0, 0, uint64(0)
	for _, p := range append(logic, memories...) {
		for _, v := range p.Variants {
			if v.Refusal != "" {
				continue
			}
			for _, f := range sample.Of(random, 1, v.Families) {
				typ := part.Type{Variant: v, Family: f}
				seed++
				s, err := contact.Test(t.Context(), bench{varied(t, typ, seed)}, typ)
				require.NoError(t, err)
				require.Empty(t, s.Found, "a good %s, seed %d: %v", typ.Name(), seed, s.Volts[:min(len(s.Volts), 40)])
				require.False(t, s.Silent && !typ.Pumped(), "%s, seed %d", typ.Name(), seed)
				tried++
				if s.Silent {
					silent++
				}
				if seed%8 == 0 {
					s, err = contact.Test(t.Context(), bench{varied(t, typ, seed, "reversed")}, typ)
					require.NoError(t, err)
					require.Contains(t, s.Found, "backwards", "a %s, seed %d: %v", typ.Name(), seed, s.Volts[:min(len(s.Volts), 40)])
				}
			}
		}
	}
	t.Logf("%d chips, %d of which answered nothing", tried, silent)
	require.Positive(t, silent, "no chip with a charge pump was drawn")
}

// pumped is a 4164 whose substrate hangs on its charge pump.
func pumped(t testing.TB, defects ...string) (part.Type, *virtual.Chip) {
	t.Helper()
	typ := open(t, "4164")
	chip := chipOf(t, typ, defects...)
	v := virtual.Nominal(typ)
	v.Substrate = virtual.Pumped
	chip.Vary(v)
	return typ, chip
}

// A chip whose substrate hangs on a charge pump answers nothing before power. It is
// powered with a caution; no current is an empty socket, and current the other way round
// is a chip put in backwards, as far as is known.
func TestPumpedSubstrate(t *testing.T) {
	for _, c := range []struct {
		defects []string
		found   string
		silent  bool
	}{
		{nil, "", true},
		{[]string{"empty"}, "empty socket", false},
		{[]string{"reversed"}, "the supply pins answer as those of a chip put in backwards", false},
	} {
		typ, chip := pumped(t, c.defects...)
		s, err := contact.Test(t.Context(), bench{virtual.NewSocket(chip, 1)}, typ)
		require.NoError(t, err)
		require.Equal(t, c.found, s.Found, "%v", c.defects)
		require.Equal(t, c.silent, s.Silent, "%v", c.defects)
		require.NotEmpty(t, s.Volts)
	}
}

func open(t testing.TB, typed string) part.Type {
	t.Helper()
	typ, err := library.Open(typed)
	require.NoError(t, err)
	return typ
}
