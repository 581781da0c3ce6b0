package statistics

import (
	"encoding/xml"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chipassay/host/lot"
)

// inside checks that every text of a picture ends within it, by 0.62 of its size for
// a character, which is wide for a mean one.
func inside(t require.TestingT, svg string) {
	var picture struct {
		Texts []struct {
			X      float64 `xml:"x,attr"`
			Y      float64 `xml:"y,attr"`
			Size   float64 `xml:"font-size,attr"`
			Anchor string  `xml:"text-anchor,attr"`
			Words  string  `xml:",chardata"`
		} `xml:"text"`
	}
	require.NoError(t, xml.Unmarshal([]byte(svg), &picture))
	require.NotEmpty(t, picture.Texts)
	for _, c := range picture.Texts {
		size := c.Size
		if size == 0 {
			size = textSize
		}
		long := 0.62 * size * float64(len([]rune(c.Words)))
		from := c.X - map[string]float64{"end": long, "middle": long / 2}[c.Anchor]
		assert.GreaterOrEqual(t, from, 0.0, c.Words)
		assert.LessOrEqual(t, from+long, float64(width), c.Words)
		assert.LessOrEqual(t, c.Y, float64(height), c.Words)
	}
	assert.NotContains(t, svg, "NaN")
	assert.NotContains(t, svg, "Inf")
	assert.NotContains(t, svg, ">-0<")
}

// TestNoTextRunsOut draws what a drawer may hold, and more.
func TestNoTextRunsOut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		title := rapid.StringN(0, 200, 600).Draw(t, "title")
		title = strings.Map(func(r rune) rune { return max(r, ' ') }, title)
		title = strings.NewReplacer("\uFFFE", " ", "\uFFFF", " ").Replace(title) // no XML
		var years []Year
		for year := range rapid.IntRange(0, 70).Draw(t, "years") {
			good, bad := rapid.IntRange(0, 90_000).Draw(t, "good"), rapid.IntRange(0, 9_000).Draw(t, "bad")
			years = append(years, Year{1960 + year, good, bad})
		}
		inside(t, yearChart(title, years))
		inside(t, yieldChart(title, years))
		volts := rapid.SliceOfN(rapid.Float64Range(-5.5, 3.5), 0, 100).Draw(t, "readings")
		inside(t, levelChart(title, volts))
		plan, err := lot.PlanFor(rapid.IntRange(2, 600_000).Draw(t, "size"), rapid.SampledFrom(lot.AQLs()).Draw(t, "AQL"),
			rapid.SampledFrom(lot.Levels()).Draw(t, "level"), rapid.SampledFrom(lot.Severities()).Draw(t, "severity"))
		require.NoError(t, err)
		inside(t, lotChart(title, plan))
	})
}

// TestDistribution: every level is in a column, and one equal to its limit inside.
func TestDistribution(t *testing.T) {
	assert.Equal(t, 1, distribute([]float64{0, -0.001, 0.2}).outside())
	rapid.Check(t, func(t *rapid.T) {
		volts := rapid.SliceOf(rapid.Float64Range(-5.2, 5.2)).Draw(t, "margins")
		all, outside := 0, 0
		d := distribute(volts)
		for _, n := range d.levels {
			all += n
		}
		for _, v := range volts {
			if v < 0 {
				outside++
			}
		}
		assert.Equal(t, len(volts), all)
		assert.Equal(t, outside, d.outside())
	})
}

func TestNumber(t *testing.T) {
	for percent, want := range map[float64]string{0.0444: "0.0444", 0.715: "0.715", 3.3333: "3.33", 12.86: "12.9", 108.3: "108", 0: "0"} {
		assert.Equal(t, want, number(percent), fmt.Sprint(percent))
	}
}
