package statistics

import (
	"encoding/xml"
	"fmt"
	"html/template"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chipassay/host/lot"
)

// inside checks that every text of a picture ends within it, by 0.62 of its size for
// a character, which is wide for a mean one.
func inside(t require.TestingT, svg template.HTML) {
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
			size = 12
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
	percents := slices.DeleteFunc(lot.AQLs(), func(aql float64) bool { return aql > lot.PerCent })
	rapid.Check(t, func(t *rapid.T) {
		var years []Year
		for year := range rapid.IntRange(1, 70).Draw(t, "years") {
			good, bad := rapid.IntRange(0, 90_000).Draw(t, "good"), rapid.IntRange(0, 9_000).Draw(t, "bad")
			years = append(years, Year{1960 + year, YieldOf(good, max(1, good+bad))})
		}
		for _, svg := range yearCharts(years) {
			inside(t, svg)
		}
		volts := rapid.SliceOfN(rapid.Float64Range(-5.5, 3.5), 1, 100).Draw(t, "readings")
		inside(t, levelChart("VOH: how far above its limit", volts))
		plan, err := lot.PlanForChips(rapid.IntRange(2, 600_000).Draw(t, "size"), rapid.SampledFrom(percents).Draw(t, "AQL"),
			rapid.SampledFrom(lot.Levels()).Draw(t, "level"), rapid.SampledFrom(lot.Severities()).Draw(t, "severity"))
		require.NoError(t, err)
		inside(t, lotChart(plan))
	})
}

// TestDistribution: every level is in a column on its side of the limit, and one equal to it inside.
func TestDistribution(t *testing.T) {
	sides := func(volts []float64) (inside, outside int) {
		levels, _ := distribute(volts)
		for column, n := range levels {
			if column < 0 {
				outside += n
			} else {
				inside += n
			}
		}
		return inside, outside
	}
	in, out := sides([]float64{0, -0.001, 0.2})
	assert.Equal(t, [2]int{2, 1}, [2]int{in, out})
	rapid.Check(t, func(t *rapid.T) {
		volts := rapid.SliceOfN(rapid.Float64Range(-5.2, 5.2), 1, -1).Draw(t, "margins")
		outside := 0
		for _, v := range volts {
			if v < 0 {
				outside++
			}
		}
		in, out := sides(volts)
		assert.Equal(t, [2]int{len(volts) - outside, outside}, [2]int{in, out})
	})
}

func TestNumber(t *testing.T) {
	for percent, want := range map[float64]string{0.0444: "0.0444", 0.715: "0.715", 3.3333: "3.33", 12.86: "12.9", 108.3: "108", 0: "0"} {
		assert.Equal(t, want, number(percent), fmt.Sprint(percent))
	}
}
