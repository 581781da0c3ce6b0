//go:build simavr

package avrsim

import (
	"strings"
	"testing"

	"chipassay/host/assay"
)

// Defects in time, of resistance and inside the chip show at the AVR image as at the
// virtual adapter: both have one socket, and its clock is here the MCU's.
func TestDefectsInTimeAndInside(t *testing.T) {
	for _, c := range []struct {
		part, defect string
		verdict      assay.Verdict
		reason       string
	}{
		{"7410", "12 late 30 us", assay.Fail, "pin 12 (1Y) follows late: wrong 20 µs after a change, right after 100 µs"},
		{"7410", "12 late 0.3 us", assay.Pass, ""},
		{"7400", "3 late 4 us", assay.Fail, "pin 3 (1Y) follows late: wrong 0.5 µs after a change, right after 5 µs (1Y rises 3.7 ± 0.6 µs"}, // and no interrupt in the one step hides it
		{"74LS74", "5 late 2.2 us", assay.Fail, "pin 5 (1Q) follows late: wrong 0.5 µs after a change, right after 5 µs (1Q rises "},         // in a walk, not a sweep
		{"7410", "12 shorted to 6 20 ohms", assay.NotTested, "pins 6 and 12 shorted"},
		{"7410", "12 shorted to 8 200 ohms", assay.NotTested, "pins 8 and 12 shorted"},
		{"74174", "bit 0 of 1Q ignores clear", assay.Fail, "pin 2 (1Q) does not follow rule 1 of Q (/CLR)"},
		{"74LS76", "1Q catches ones", assay.Fail, "1q catches ones"},
		{"7476", "", assay.Pass, ""}, // which does catch them, and is shown none
	} {
		var defects []string
		if c.defect != "" {
			defects = []string{c.defect}
		}
		r := assayed(t, open(t, c.part, defects...), c.part)
		if r.Verdict != c.verdict || !strings.Contains(r.Reason, c.reason) {
			t.Errorf("%s, %s: %s, %q; want %s, %q", c.part, c.defect, r.Verdict, r.Reason, c.verdict, c.reason)
		}
	}
}
