package record

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/verdict"
)

// A chip that failed in a lot and no longer counts there is named with what changed it,
// once a chip; one that still counts, or never did, is not.
func TestChipsThatNoLongerCountAreNamed(t *testing.T) { inBoth(t, testChipsThatNoLongerCountAreNamed) }

func testChipsThatNoLongerCountAreNamed(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	l := opened(t, s, box("signal box 4"))
	test := func(v verdict.Verdict, grade verdict.Grade, lot string, retest int64) Record {
		r := nand()
		r.Verdict, r.Grade, r.Lot, r.RetestOf = v, grade, lot, retest
		return appended(t, s, r)
	}
	void := func(of Record, why string) {
		of.Kind, of.Corrects, of.RetestOf, of.Verdict, of.Grade, of.Reason, of.Report = Void, of.Serial, 0, "", "", why, nil
		appended(t, s, of)
	}
	move := func(of Record, lot string) Record {
		of.Kind, of.Corrects, of.RetestOf, of.Lot = Correction, of.Serial, 0, lot
		return appended(t, s, of)
	}
	const here = "signal box 4"

	test("pass", "strong", here, 0)
	a := test("fail", "reject", here, 0) // 2, passes when tested again
	test("pass", "sound", here, a.Serial)
	void(test("fail", "reject", here, 0), "the wrong chip")    // 4, void by 5
	move(test("pass", "reject", here, 0), "signal box 5")      // 6, moved by 7
	move(test("fail", "reject", here, 0), "")                  // 8, moved by 9
	b := test("fail", "", here, 0)                             // 10, cannot be tested again
	test("not-tested", "", here, b.Serial)                     // 11
	c := test("pass", "strong", here, 0)                       // 12
	void(test("fail", "reject", here, c.Serial), "a bent leg") // 13, void by 14: 12 holds again
	d := test("fail", "reject", here, 0)                       // 15, fails again
	test("fail", "reject", here, test("pass", "", here, d.Serial).Serial)
	e := move(test("fail", "reject", here, 0), "signal box 5") // 18 to 19, and back
	move(e, here)
	test("fail", "reject", "signal box 5", 0) // of another lot
	f := test("fail", "reject", here, 0)      // 22, passes in another lot
	test("pass", "strong", "signal box 5", f.Serial)
	g := move(test("fail", "reject", here, 0), here) // 24 corrected to 25, still bad
	test("pass", "", here, g.Serial)

	got, err := s.Inspect(t.Context(), l)
	require.NoError(t, err)
	require.Equal(t, []Cleared{
		{s.bench, 2, 3, "retest, pass"}, {s.bench, 4, 5, "void: the wrong chip"}, {s.bench, 6, 7, "corrected: of lot signal box 5"}, {s.bench, 8, 9, "corrected: of no lot"},
		{s.bench, 10, 11, "retest, not tested"}, {s.bench, 13, 14, "void: a bent leg"}, {s.bench, 22, 23, "retest, pass"}, {s.bench, 25, 26, "retest, pass"},
	}, got.Cleared)
	require.Contains(t, got.Notes(), strings.ReplaceAll("bad chips that no longer count: record 2, by record 3 (retest, pass); record 4, by record 5 (void: the wrong chip); "+
		"record 6, by record 7 (corrected: of lot signal box 5); record 8, by record 9 (corrected: of no lot); record 10, by record 11 (retest, not tested); "+
		"record 13, by record 14 (void: a bent leg); record 22, by record 23 (retest, pass); record 25, by record 26 (retest, pass)", "record ", "record "+s.bench))

	none, err := s.Inspect(t.Context(), opened(t, s, box("signal box 6")))
	require.NoError(t, err)
	require.Empty(t, none.Cleared)
	require.Empty(t, none.Notes())
}
