package drawer

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/report"
	"chipassay/host/verdict"
)

// A fault of the adapter stands at a position of the socket, whatever chip is in it: pin 13
// of 14 and pin 15 of 16 are seated at the same one, by the socket's lever at the left end
// of both (firmware/carrier/README.md). Three in turn are common practice.
func TestChipsThatFailAlike(t *testing.T) {
	chip := func(v verdict.Verdict, of int, pins ...int) report.Document {
		return report.Document{Verdict: v, Pins: make([]report.Pin, of), PinsFailed: pins}
	}
	at13 := chip(verdict.Fail, 14, 13)
	leaky := chip(verdict.PassBut, 14)
	leaky.VCC = 14
	leaky.Levels = []report.Level{{Pin: 13, Standing: "outside"}, {Pin: 12, Standing: "inside"}, {Pin: 14, Standing: "outside"}}
	remarked := leaky
	remarked.FamilyCheck = "another family than marked"
	for name, c := range map[string]struct {
		sheets []report.Document
		want   int
	}{
		"none":               {nil, 0},
		"three":              {[]report.Document{at13, at13, at13}, 3},
		"another package":    {[]report.Document{at13, chip(verdict.NotTested, 16, 15)}, 2},
		"another position":   {[]report.Document{at13, chip(verdict.Fail, 16, 13)}, 1},
		"another pin too":    {[]report.Document{at13, chip(verdict.Fail, 14, 12, 13)}, 1},
		"a good one between": {[]report.Document{at13, chip(verdict.Pass, 14), at13}, 1},
		"a level outside":    {[]report.Document{at13, leaky, leaky}, 3},
		"another family":     {[]report.Document{remarked, remarked}, 0},
		"no pin is known":    {[]report.Document{chip(verdict.Fail, 14), chip(verdict.Fail, 14)}, 0},
	} {
		require.Equal(t, c.want, alike(c.sheets), name)
	}
}

// Of four chips that fail alike the third raises the suspicion, and it alone; a retest of
// the same chip counts for one.
func TestTheAdapterIsSuspectedOnce(t *testing.T) {
	const words = "it may be the adapter"
	failing := func(script string) string {
		_, shown := played(t, &bench{script: script, pins: []int{4}, verdicts: []verdict.Verdict{verdict.Fail}}, nil)
		return shown
	}
	require.Equal(t, 1, strings.Count(failing("cc--cc--cc--cc--"), words))
	require.NotContains(t, failing("cc--cc--"), words)
	require.NotContains(t, failing("cc<retest>c<retest>c--cc--"), words)
	require.Equal(t, 1, strings.Count(failing("cc--cc--cc<retest>c--"), words))
}
