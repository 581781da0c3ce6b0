package assay_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/verdict"
)

// The whole procedure: is seated right, function, levels, grade; wrong levels and
// families lower the grade of a chip whose function is right.
func TestTheWholeProcedure(t *testing.T) {
	for _, c := range []struct {
		typ, defect string
		verdict     assay.Verdict
		grade       verdict.Grade
		says        string
	}{
		{"74LS00", "", assay.Pass, verdict.Strong, ""},
		{"4011", "", assay.Pass, verdict.Strong, ""},
		{"74LS00", "3 weak 100 ohms", assay.PassBut, verdict.Doubtful, "pin 3: VOL"},
		{"7400", "family 74LS", assay.PassBut, verdict.Doubtful, "another family than marked"},
		{"74LS00", "1 leaks 0.2 mA", assay.PassBut, verdict.Doubtful, "pin 1: IIH"},
		{"74LS00", "3 stuck low", assay.Fail, verdict.Reject, "a vector is wrong"},
		{"74LS00", "reversed", assay.NotTested, verdict.None, ""},
		{"74S197", "", assay.Pass, verdict.Strong, ""},    // CKA draws four unit loads: 8 mA at most, 5 mA in a typical chip (from memory)
		{"74S114", "", assay.NotTested, verdict.None, ""}, // /CLR draws 14 mA at most: a typical chip's stands at 1 V, which is no low
	} {
		var defects []string
		if c.defect != "" {
			defects = []string{c.defect}
		}
		r := wholeAssay(t, c.typ, defects...)
		require.Equal(t, c.verdict, r.Verdict, "%s %s: %s", c.typ, c.defect, r.Reason)
		require.Equal(t, c.grade, r.Grade, "%s %s: %v", c.typ, c.defect, r.GradeReasons)
		if c.says != "" {
			require.Contains(t, strings.Join(r.GradeReasons, "; "), c.says)
		}
	}
}
