package sheet_test

import (
	"encoding/xml"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/sheet"
)

// words are a text of a drawing and its place.
type words struct {
	X     float64 `xml:"x,attr"`
	Y     float64 `xml:"y,attr"`
	Words string  `xml:",chardata"`
}

// The numbers of a drawn package run down its left side and up its right one, each
// with its name at the same height (every data book).
func TestTheDrawnPackageIsNumberedAsADIP(t *testing.T) {
	typ, err := library.Open("7410")
	require.NoError(t, err)
	var b strings.Builder
	require.NoError(t, sheet.WriteSVG(&b, typ.Variant))
	require.Equal(t, 1, strings.Count(b.String(), `<path class="ground"`))
	require.NotContains(t, b.String(), "⏚", "few fonts have it")
	var picture struct {
		Width float64 `xml:"width,attr"`
		Texts []words `xml:"text"`
	}
	require.NoError(t, xml.Unmarshal([]byte(b.String()), &picture))
	x, y := map[int]float64{}, map[int]float64{}
	for n := 1; n <= 14; n++ {
		at := slices.IndexFunc(picture.Texts, func(w words) bool { return w.Words == fmt.Sprint(n) })
		require.GreaterOrEqual(t, at, 0, n)
		x[n], y[n] = picture.Texts[at].X, picture.Texts[at].Y
		name := picture.Texts[at+1]
		require.Contains(t, name.Words, typ.Variant.Pins[n-1].Name)
		require.InDelta(t, y[n], name.Y, 0, n)
		require.Equal(t, n <= 7, x[n] < picture.Width/2, n)
		require.Equal(t, n <= 7, name.X < picture.Width/2, n)
		require.Equal(t, n <= 7, name.X < x[n], "the names stand outside")
	}
	for n := 1; n <= 7; n++ {
		require.InDelta(t, y[n], y[15-n], 0, "pins %d and %d are opposite", n, 15-n)
		require.True(t, n == 1 || y[n] > y[n-1], n)
	}
}

// A clock has a wedge and a low input a circle, and no other (IEC 60617-12, from memory).
func TestMarksOfTheOutline(t *testing.T) {
	typ, err := library.Open("7474")
	require.NoError(t, err)
	outline := sheet.Outline(typ.Variant)
	for name, marks := range map[string]string{"1CLK": "─┤ >", "/1CLR": "○┤", "/1PRE": "○┤", "1D": "─┤"} {
		found := false
		for line := range strings.Lines(outline) {
			fields := strings.Fields(line)
			if len(fields) > 0 && fields[0] == name {
				found = true
				require.True(t, strings.HasPrefix(strings.Join(fields[1:], " "), marks), line)
				require.Equal(t, strings.Contains(marks, ">"), strings.Contains(line, ">"), line)
			}
		}
		require.True(t, found, "%s in\n%s", name, outline)
	}
	require.Contains(t, outline, "├○ /1Q")
	require.Contains(t, outline, "├─ 1Q")
}
