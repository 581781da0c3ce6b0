//go:build simavr

package avrsim

import (
	"testing"

	"chipassay/host/assay"
)

// A good chip whose pins are inputs and outputs passes on the real program too, which drives pins anew some time after
// the levels of a step change: a register must not be clocked by then.
func TestBusesAreDrivenBeforeTheirClock(t *testing.T) {
	for _, name := range []string{"74HC299", "74LS646"} {
		r := assayed(t, open(t, name), name)
		if !r.Verdict.Passed() || r.Verdict == assay.PassBut {
			t.Errorf("%s: %s: %s", name, r.Verdict, r.Reason)
		}
	}
}
