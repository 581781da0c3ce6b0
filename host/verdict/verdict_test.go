package verdict

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What is not known to be a pass reads as one nowhere.
func TestNothingUnknownPasses(t *testing.T) {
	for _, v := range []Verdict{NotTested, "", "perhaps", "PASS", "pass "} {
		require.False(t, v.Passed(), "%q", v)
		require.Equal(t, "NOT TESTED", v.Heading(true), "%q", v)
		require.Equal(t, "not tested", v.String(), "%q", v)
	}
	require.False(t, Fail.Passed())
	require.False(t, Verdict("perhaps").Known())
}

func TestHeadings(t *testing.T) {
	for v, want := range map[Verdict][2]string{
		Pass: {"PASS", "PASS, in part"}, PassBut: {"PASS, BUT", "PASS, BUT"}, Fail: {"FAIL", "FAIL"}, NotTested: {"NOT TESTED", "NOT TESTED"},
	} {
		require.Equal(t, want, [2]string{v.Heading(false), v.Heading(true)})
	}
}

// An unknown grade is better than none, and every grade but None says what it asks for.
func TestRanks(t *testing.T) {
	require.Less(t, Strong.Rank(), Sound.Rank())
	require.Less(t, FunctionOnly.Rank(), Doubtful.Rank())
	require.Less(t, Reject.Rank(), None.Rank())
	require.Less(t, None.Rank(), Grade("splendid").Rank())
	require.Len(t, Criteria, len(Grades)-1)
	for i, c := range Criteria {
		require.Equal(t, Grades[i], c.Grade)
	}
}
