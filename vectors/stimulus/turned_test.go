package stimulus_test

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A ripple-blanking output that is a blanking input too, with a resistor to VCC
// inside: 10 kΩ against that resistor show no certain level, so it is never left
// open to be seen released, and is driven to both levels instead.
func TestPulledUpPinIsNotSeenToFloat(t *testing.T) {
	s := sequence(t, `
part 7447 "one segment of a decoder"
kind decoder
families 74
source "from memory"
package DIP14
    A 1 | U | 14 VCC
    /RBI 2 | | 13 NC
    /BIRBO 3 | | 12 NC
    g 4 | | 11 NC
    NC 5 | | 10 NC
    NC 6 | | 9 NC
    GND 7 | | 8 NC
inputs A /RBI
outputs open-collector g
bidirectional open-collector /BIRBO
pull-up /BIRBO
/BIRBO = /RBI | A ? z : 0
g = !(A & /BIRBO)
`)
	seen := map[string]bool{}
	for i, st := range s.Steps {
		require.False(t, st.Z.Has(3), "step %d", i+1)
		zero, rbi := !st.Drive.Has(1), st.Drive.Has(2)
		if zero && !rbi {
			require.False(t, st.Driven.Has(3), "step %d: the chip drives pin 3", i+1)
			seen["output low"] = seen["output low"] || st.Compared.Has(3) && !st.High.Has(3)
			continue
		}
		if !st.Driven.Has(3) { // released before the chip takes over
			continue
		}
		require.True(t, st.Compared.Has(4), "step %d", i+1)
		lit := !zero && st.Drive.Has(3)
		require.Equal(t, !lit, st.Z.Has(4), "step %d", i+1)
		seen["lit"] = seen["lit"] || lit
		seen["blanked"] = seen["blanked"] || !zero && !lit
	}
	require.Len(t, seen, 3)
	require.True(t, seen["output low"] && seen["lit"] && seen["blanked"])
}

// An open-collector transceiver says a high by letting go, and every high of every
// combination is seen so: the adapter leaves that side alone.
func TestOpenCollectorTransceiverIsSeenToLetGo(t *testing.T) {
	s := sequence(t, `
part 74641 "two lines of a transceiver"
kind transceiver
families 74LS
source "from memory"
package DIP8
    DIR 1 | U | 8 VCC
    A1 2 | | 7 B1
    A2 3 | | 6 B2
    GND 4 | | 5 NC
inputs DIR
bidirectional open-collector A1 A2 B1 B2
gate 1..2
    toA# = DIR ? 1 : B#
    A#   = toA#
    toB# = DIR ? A# : 1
    B#   = toB#
`)
	seen := map[[2]bool]bool{}
	for i, st := range s.Steps {
		if !st.Drive.Has(1) || !st.Driven.Has(2) || !st.Driven.Has(3) {
			continue
		}
		for _, pins := range [][2]int{{2, 7}, {3, 6}} {
			require.True(t, st.Compared.Has(pins[1]), "step %d", i+1)
			require.Equal(t, st.Drive.Has(pins[0]), st.Z.Has(pins[1]), "step %d", i+1)
		}
		seen[[2]bool{st.Drive.Has(2), st.Drive.Has(3)}] = true
	}
	require.Len(t, seen, 4)
}
