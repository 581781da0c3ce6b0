package statistics

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/marking"
	"chipassay/host/report"
	"chipassay/host/verdict"
	"chipassay/vectors/library"
)

// The charts of a run count what its sheets say: of 1979, 3 good of 4, for which
// Clopper and Pearson give 19 to 99 % (published tables, from memory). Doubtful is
// not good, and what could not be tested counts neither way.
func TestTrayCharts(t *testing.T) {
	typ, err := library.Open("7400")
	require.NoError(t, err)
	date, err := marking.ParseDateCode("7938", 0, time.Date(2026, time.May, 4, 0, 0, 0, 0, time.UTC))
	require.NoError(t, err)
	var tray report.Tray
	for _, r := range []assay.Result{
		{Verdict: assay.Pass, Grade: verdict.Strong}, {Verdict: assay.Pass, Grade: verdict.Sound}, {Verdict: assay.Pass},
		{Verdict: assay.Pass, Grade: verdict.Doubtful}, {Verdict: assay.NotTested},
	} {
		r.Type = typ
		tray.Chips = append(tray.Chips, report.Of(&r, "", "", &date, ""))
	}
	charts := TrayCharts(tray)
	require.Len(t, charts, 2, "no level was measured")
	require.Contains(t, string(charts[0]), "1979: 3 good, 1 bad")
	require.Contains(t, string(charts[1]), "1979: 3 of 4 good, 75 %, 95 % interval 19 to 99 %")
	require.False(t, strings.Contains(string(charts[0]), "1978"))
}
