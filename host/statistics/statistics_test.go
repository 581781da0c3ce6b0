package statistics

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/lot"
	"chipassay/host/record"
	"chipassay/host/verdict"
)

// shop is a file of records of the chips given by how they stand: the grade, or
// fail, or not-tested.
func shop(t *testing.T, chips ...string) *record.Store {
	s, err := record.Open(filepath.Join(t.TempDir(), "records.sqlite"))
	require.NoError(t, err)
	t.Cleanup(func() { s.Close() })
	for _, c := range chips {
		r := record.Record{Part: "7410", Type: "74LS10", Family: "74LS", Drawer: "D3", Verdict: "pass", Grade: verdict.Grade(c), Year: 1979}
		switch c {
		case "fail":
			r.Verdict, r.Grade, r.Reason, r.PinsFailed = "fail", "reject", "pin 12 (1Y) is stuck low", []int{12, 2, 12}
		case "not-tested":
			r.Verdict, r.Grade, r.Reason = "not-tested", "", "No contact at pin 7."
		}
		_, err := s.Append(t.Context(), r)
		require.NoError(t, err)
	}
	return s
}

// What counts as good, by Definition: 3 of 6; 3 of 6 is 0.1181 to 0.8819 (exact
// limits in tables of statistics books, from memory).
func TestWhatCountsAsGood(t *testing.T) {
	s := shop(t, "strong", "sound", "", "doubtful", "reject", "fail", "not-tested", "not-tested")
	y, err := Collect(t.Context(), s, record.Query{}, record.ByDrawer)
	require.NoError(t, err)
	require.Len(t, y.Groups, 1)
	g := y.Groups[0]
	require.Equal(t, []any{"D3", 3, 6, 1, 2, 2, 0.5}, []any{g.Key, g.Good, g.Tested, g.Doubtful, g.Reject, g.NotTested, *g.Fraction})
	require.InDelta(t, 0.1181, g.Low, 0.00006)
	require.InDelta(t, 0.8819, g.High, 0.00006)
	require.Equal(t, []Pin{{"74LS10", 2, 1}, {"74LS10", 12, 1}}, y.Pins) // once a chip, by number
	require.Equal(t, "pin 12 (1Y) is stuck low", y.Causes[0].Key)
}

// A drawer of which nothing could be tested has no yield, and no chart.
func TestNothingTested(t *testing.T) {
	s := shop(t, "not-tested")
	y, err := Collect(t.Context(), s, record.Query{}, record.ByYear)
	require.NoError(t, err)
	require.Nil(t, y.Groups[0].Fraction)
	p, err := PageOf(t.Context(), s, record.Query{}, y, "", 0)
	require.NoError(t, err)
	var page bytes.Buffer
	require.NoError(t, p.WriteHTML(&page))
	require.NotContains(t, page.String(), "<svg")
	for _, words := range []string{"No chip with a date code was tested.", "No output level was measured.", "No pin failed.", "No chip failed.", "Could not be tested, and in neither chart: 1 chip."} {
		require.Contains(t, page.String(), words)
	}
}

// A level is so far inside its own limit: 0.2 V under 0.4 V, 3.4 V 1.0 V over 2.4 V. What has
// no limit that holds is counted apart, and what was not tested is left out.
func TestLevelsAreSoFarInsideTheirLimits(t *testing.T) {
	s := shop(t)
	for _, c := range []struct {
		family  string
		verdict verdict.Verdict
		levels  string
	}{
		{"74", "pass", `{"quantity":"VOL","value":0.2,"limit":0.4,"standing":"well inside"},{"quantity":"VOH","value":3.4,"limit":2.4,"standing":"well inside"}`},
		{"74LS", "fail", `{"quantity":"VOL","value":0.6,"limit":0.5,"standing":"outside"},{"quantity":"VOL","value":0.9,"limit":0.5,"standing":"not judged"}`},
		{"74S", "pass", `{"quantity":"VOL","value":0.3,"limit":0.5,"standing":"well inside"},{"quantity":"IIL","value":1.1,"limit":2,"standing":"well inside"}`},
		{"74H", "pass", `{"quantity":"VOH","value":3.1,"limit":null,"standing":"no limit"}`},
		{"74", "not-tested", `{"quantity":"VOL","value":4.9,"limit":0.4,"standing":"outside"}`},
	} {
		_, err := s.Append(t.Context(), record.Record{Family: c.family, Verdict: c.verdict,
			Report: []byte(`{"family":"` + c.family + `","verdict":"` + string(c.verdict) + `","levels":[` + c.levels + `]}`)})
		require.NoError(t, err)
	}
	_, err := s.Append(t.Context(), record.Record{Family: "74", Verdict: "pass"}) // without a report
	require.NoError(t, err)
	p, err := PageOf(t.Context(), s, record.Query{}, Yields{}, "", 0)
	require.NoError(t, err)
	require.Equal(t, margins{vol: []float64{0.2, -0.1, 0.2}, voh: []float64{1}, left: 2}, p.levels)
}

// What someone typed is text on the page and nothing else.
func TestPagesEscapeWords(t *testing.T) {
	const evil = `<script>alert(1)</script>&"'`
	plan, err := lot.PlanFor(500, 1, lot.II, lot.Normal)
	require.NoError(t, err)
	var page bytes.Buffer
	require.NoError(t, LotSheet{Lot: record.Lot{Name: evil, Source: evil, Plan: plan}}.WriteHTML(&page))
	p := YieldPage{Yields: Yields{By: record.ByDrawer, Groups: []Group{GroupOf(evil, record.Tally{Strong: 1})}, Pins: []Pin{{evil, 1, 1}}}, Subtitle: evil,
		levels: margins{vol: []float64{0.2}}}
	require.NoError(t, p.WriteHTML(&page))
	require.NotContains(t, page.String(), "<script")
	require.Equal(t, 2, strings.Count(page.String(), "<!DOCTYPE html>"))
}
