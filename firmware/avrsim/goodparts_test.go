//go:build simavr

package avrsim

import (
	"regexp"
	"testing"

	"chipassay/host/assay"
	"chipassay/vectors/library"
	"chipassay/vectors/sample"
)

// A good chip whose pins are inputs and outputs passes on the real program too, which drives pins anew some time after
// the levels of a step change: a register must not be clocked by then.
func TestBusesAreDrivenBeforeTheirClock(t *testing.T) {
	for _, name := range []string{"74HC299", "74LS646"} {
		goodPasses(t, name)
	}
}

// Good chips of the library pass on the real program, which does one thing after another where the virtual adapter
// does all at once; but for those that need a capacitor, and the heaviest inputs.
func TestGoodPartsPassOnTheRealProgram(t *testing.T) {
	parts, err := library.All()
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, p := range parts {
		for _, v := range p.Variants {
			if name := v.Families[0].TypeName(p.Number); v.Memory == nil {
				if _, err := library.Open(name); err == nil { // else it means several
					names = append(names, name)
				}
			}
		}
	}
	for _, name := range sample.Of(sample.Random(t), 5, names) {
		goodPasses(t, name)
	}
}

var mayBeUntested = regexp.MustCompile("capacitors? (is|are) needed|must not be powered|the adapter may be at fault: pin 1: driven low")

func goodPasses(t *testing.T, name string) {
	t.Helper()
	t.Run(name, func(t *testing.T) {
		switch r := assayed(t, open(t, name), name); {
		case r.Verdict == assay.Pass, r.Verdict == assay.NotTested && mayBeUntested.MatchString(r.Reason):
		default:
			t.Errorf("%s: %s: %s", name, r.Verdict, r.Reason)
		}
	})
}
