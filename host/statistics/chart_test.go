package statistics

import (
	"encoding/xml"
	"fmt"
	"html/template"
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
	require.Contains(t, wellFormed(t, lotChart(plan)),
		"A sample of 50 from a lot of 500, accepted with 1 or fewer nonconforming")
}

// Years are written at the axis in steps that begin at a whole one: of 1971 to 2001,
// too many to write each, those that end in 0 and 5; and no year before the first.
func TestYearsOfTheAxis(t *testing.T) {
	var years []Year
	for year := 1971; year <= 2001; year++ {
		years = append(years, Year{year, YieldOf(1, 1)})
	}
	lines := strings.Split(wellFormed(t, yearCharts(years)[0]), "\n")
	for year := 1965; year <= 2005; year++ {
		want := year > 1971 && year < 2001 && year%5 == 0
		require.Equal(t, want, slices.Contains(lines, fmt.Sprint(year)), year)
	}
}

// wellFormed reads a picture to its end as XML and gives its text.
func wellFormed(t *testing.T, svg template.HTML) (text string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(string(svg)))
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

// Every picture is XML, says in words what it shows, and takes what it says as text.
func TestPictures(t *testing.T) {
	plan, err := lot.PlanFor(500, 1.0, lot.II, lot.Normal)
	require.NoError(t, err)
	years := yearCharts([]Year{{1979, YieldOf(7, 8)}, {1981, YieldOf(2, 2)}})
	for says, svg := range map[string]template.HTML{
		"nonconforming":           lotChart(plan),
		"1979: 7 good, 1 bad":     years[0],
		"1979: 7 of 8 good, 88 %": years[1],
		"1 of 3 outputs outside":  levelChart(`VOL <3> & "points"`, []float64{0.19, 0.18, -0.05}),
	} {
		require.True(t, strings.HasPrefix(string(svg), "<svg"), says)
		require.Contains(t, wellFormed(t, svg), says)
	}
	require.Contains(t, wellFormed(t, levelChart(`VOL <3> & "points"`, []float64{0.1})), `VOL <3> & "points"`)
	require.Nil(t, yearCharts(nil))
	require.Nil(t, margins{left: 1}.charts())
}
