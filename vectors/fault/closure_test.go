package fault_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/fault"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// complete makes the most of the vectors of a definition.
func complete(t *testing.T, text string) fault.Coverage {
	t.Helper()
	c := compile(t, text)
	s, err := stimulus.For(c)
	require.NoError(t, err)
	return fault.Complete(c, part.FamilyByName("4000B"), s).Cover()
}

// decade is a decade counter whose carry feeds a register of many states, so that
// the part has too many to go through.
const decade = `part 4999 "decade and more"
kind counter
families 4000B
source "made up"
package DIP8
     CLK  1 | U | 8 VDD
       R  2 |   | 7 Q
       D  3 |   | 6 NC
     VSS  4 |   | 5 NC
inputs  CLK R D
outputs Q
nine = units[3] & units[0]
register units[4]
    when R      : 0
    on rise CLK : (units + 1) & {!nine, 1, !nine, 1}
register many[20]
    when R                : 0
    on rise CLK when nine : {many[18:0], D}
Q = many[19] ^ nine
`

// A decade that counts 0 to 9 (the BCD sequence of every data book) never comes into
// the six other codes, whatever the rest of the chip does: how it would count on from
// there cannot be shown. From the ten it can.
func TestCodesThatADecadeNeverTakesAreProvenUndetectable(t *testing.T) {
	r := complete(t, decade)
	for code := range 16 {
		for bit := range 4 {
			name := fmt.Sprintf("units[%d] miscounts at %q from %04b", bit, "on rise CLK : (units + 1) & {!nine, 1, !nine, 1}", code)
			if code > 9 {
				require.Contains(t, r.Cells.Undetectable, name)
			} else {
				require.NotContains(t, r.Cells.Undetectable, name)
			}
		}
	}
}
