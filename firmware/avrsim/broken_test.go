//go:build simavr

package avrsim

import (
	"testing"

	"chipassay/host/assay"
	"chipassay/vectors/sample"
)

// Chips that answer nearly every vector rightly, or that cannot be tested without
// more, through the AVR image: none passes
// but the good one (common practice). The ordinary run takes two of each verdict.
func TestChipsThatNearlyPassDoNot(t *testing.T) {
	type insertion struct {
		marked, chip string
		defects      []string
		verdict      assay.Verdict
	}
	all := []insertion{
		{"74174", "74174", []string{"bit 0 of 1Q holds at clear"}, assay.Fail},
		{"74273", "74273", []string{"bit 0 of 8Q holds at clear"}, assay.Fail},
		{"40102", "40103", nil, assay.Fail},
		{"74LS682", "74LS684", nil, assay.Fail},
		{"40103", "40103", []string{"11 stuck low"}, assay.Fail},
		{"74110", "74110", []string{"9 stuck high"}, assay.Fail},
		{"4040", "4040", []string{"bit 11 of Q holds at R"}, assay.Fail},
		{"74123", "74123", []string{"2 stuck low"}, assay.NotTested},
		{"74121", "74121", nil, assay.NotTested},
		{"7447", "7447", nil, assay.Pass},
	}
	for _, c := range sample.OfEach(sample.Random(t), 2, all, func(c insertion) assay.Verdict { return c.verdict }) {
		r := assayed(t, open(t, c.chip, c.defects...), c.marked)
		if r.Verdict != c.verdict {
			t.Errorf("%s, in the socket a %s, %v: %s, %q; want %s", c.marked, c.chip, c.defects, r.Verdict, r.Reason, c.verdict)
		}
	}
}
