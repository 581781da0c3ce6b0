package statistics

import (
	"encoding/xml"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/lot"
)

// A sample of 50 at an AQL of 1.0 is accepted with one nonconforming chip and
// rejected with two (MIL-STD-105E, table II-A, code letter H, from memory).
func TestACharacteristicSaysItsPlan(t *testing.T) {
	plan, err := lot.PlanFor(500, 1.0, lot.II, lot.Normal)
	require.NoError(t, err)
	require.Contains(t, wellFormed(t, lotChart("", plan)),
		"a sample of 50 from a lot of 500, accepted with 1 or fewer nonconforming")
}

// Years are written at the axis in steps that begin at a whole one: of 1971 to 2001,
// too many to write each, those that end in 0 and 5; and no year before the first.
func TestYearsOfTheAxis(t *testing.T) {
	var years []Year
	for year := 1971; year <= 2001; year++ {
		years = append(years, Year{Year: year, Good: 1})
	}
	lines := strings.Split(wellFormed(t, yearChart("", years)), "\n")
	for year := 1965; year <= 2005; year++ {
		want := year > 1971 && year < 2001 && year%5 == 0
		require.Equal(t, want, slices.Contains(lines, fmt.Sprint(year)), year)
	}
}

// wellFormed reads a picture to its end as XML and gives its text.
func wellFormed(t *testing.T, svg string) (text string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		token, err := d.Token()
		if err == io.EOF {
			return text
		}
		require.NoError(t, err, svg)
		if c, ok := token.(xml.CharData); ok {
			text += string(c) + "\n"
		}
	}
}

// Every picture is XML, says in words what it shows, and takes a title as text.
func TestPictures(t *testing.T) {
	plan, err := lot.PlanFor(500, 1.0, lot.II, lot.Normal)
	require.NoError(t, err)
	const title = `Drawer <3> & "points"`
	for name, c := range map[string]struct{ svg, says string }{
		"characteristic": {lotChart(title, plan), "nonconforming"},
		"date codes":     {yearChart(title, []Year{{1979, 7, 1}, {1981, 2, 0}}), "1979: 7 good, 1 bad"},
		"no date codes":  {yearChart(title, nil), ""},
		"levels":         {levelChart(title, []float64{0.19, 0.18, -0.05}), "1 of 3 outputs outside"},
		"yields":         {yieldChart(title, nil), ""},
	} {
		require.True(t, strings.HasPrefix(strings.TrimSpace(c.svg), "<svg"), name)
		text := wellFormed(t, c.svg)
		require.Contains(t, text, title, name)
		require.Contains(t, text, c.says, name)
	}
}
