package report

import (
	"encoding/json"
	"encoding/xml"
	"io"
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chipassay/host/assay"
	"chipassay/host/assay/levels"
	"chipassay/host/verdict"
)

// measured is a chip with a reading of every quantity and every standing. The
// limits are those of the 7410 as data books print them, from memory; the values
// are made up.
func measuredResult(t testing.TB) *assay.Result {
	r := goodResult(t)
	none := math.NaN()
	r.Grade, r.GradeReasons = verdict.Doubtful, []string{"pin 8: VOL is outside"}
	r.Levels = &levels.Levels{
		Readings: []levels.Reading{
			{Quantity: levels.ICC, Value: 21.2, Uncertainty: 0.232, Limit: none},
			{Pin: 1, Quantity: levels.IIL, Value: 1.024, Uncertainty: 0.11, Limit: 1.6},
			{Pin: 1, Quantity: levels.IIH, Value: -0.0002, Uncertainty: 0.001, Limit: 0.0001},
			{Pin: 1, Quantity: levels.Open, Value: 1.6, Uncertainty: 0.01, Limit: none},
			{Pin: 6, Quantity: levels.VOL, Value: 0.2, Uncertainty: 0.01, Limit: 0.4, LoadMA: 5.239, RatedMA: 16},
			{Pin: 8, Quantity: levels.VOL, Value: 6.2, Uncertainty: 0.05, Limit: 0.4, LoadMA: 0.5, RatedMA: 16},
			{Pin: 12, Quantity: levels.VOL, Value: 0.4, Uncertainty: 0.02, Limit: 0.4, LoadMA: 5, RatedMA: 16},
			{Pin: 6, Quantity: levels.VOH, Value: 2, Uncertainty: 0.02, Limit: 2.4, LoadMA: 0.2, RatedMA: 0.4},
			{Pin: 6, Quantity: levels.IOZ, Value: 0.015, Uncertainty: 0.001, Limit: 0.016},
		},
		Unmeasured: []string{"VOH of pin 8 (3Y): no step shows it"},
		Family:     "the inputs draw what standard TTL does, and the marking says LS",
	}
	r.Margins = []levels.Margin{{Pin: 3, Name: "2A", Volts: 1.312, VIL: 0.8}}
	return r
}

func measured(t testing.TB) Document { return Of(measuredResult(t), "7410", "1", nil, "") }

func textOf(t testing.TB, s Document) string {
	return string(written(t, func(w io.Writer) error { return s.WriteText(w, false) }))
}

func TestLevelsText(t *testing.T) {
	text := textOf(t, measured(t))
	assert.Contains(t, text, `
  Levels
    pin                 measured    limit        mA of rated   standing
  VOL, output low
     6 2Y           0.20 ± 0.01 V   ≤ 0.40 V     5.24 of 16    well inside
     8 3Y           6.20 ± 0.05 V   ≤ 0.40 V     0.50 of 16    outside
    12 1Y           0.40 ± 0.02 V   ≤ 0.40 V     5.00 of 16    too near to judge
  VOH, output high
     6 2Y           2.00 ± 0.02 V   ≥ 2.40 V     0.20 of 0.4   outside
  IOZ, leakage of a released output
     6 2Y         0.015 ± 0.001 mA  ≤ 0.016 mA   -             inside
  IIL, current out of an input held low
     1 1A         1.024 ± 0.110 mA  ≤ 1.600 mA   -             well inside
  IIH, current into an input held high
     1 1A         0.000 ± 0.001 mA  ≤ 0.0001 mA  -             not judged
  open, voltage of an open input
     1 1A           1.60 ± 0.01 V   none         -             no limit
  ICC, supply current, nothing switching
    14 VCC         21.20 ± 0.23 mA  none         -             no limit
  - Not judged: the limit is below the tester's resolution, or the load is above
    the limit's test condition.
  - Family check: The inputs draw what standard TTL does, and the marking says
    LS.
  - Not measured: VOH of pin 8 (3Y): no step shows it.

  Drive margin
`)
	assert.Contains(t, text, "\n  - Pin 3 (2A): driven low it may be as high as 1.31 V, above the VIL of 0.8 V.\n")
	assert.Contains(t, text, "\n  Grade                doubtful\n                       pin 8: VOL is outside\n")
	for line := range strings.Lines(text) {
		if !strings.Contains(line, "SHA-256") { // a digest is longer than its column
			assert.LessOrEqual(t, len([]rune(strings.TrimSuffix(line, "\n"))), 80, line)
		}
	}
}

// A table as wide as it can be still fits the terminal.
func TestLevelsTextFits(t *testing.T) {
	r := measuredResult(t)
	r.Type.Variant.Pins[11].Name = "/LONGERNAME"
	r.Levels.Readings = []levels.Reading{
		{Pin: 12, Quantity: levels.IIL, Value: 12.345, Uncertainty: 1.234, Limit: 12.345},
		{Pin: 12, Quantity: levels.VOH, Value: 2.4, Uncertainty: 0.02, Limit: 2.4, LoadMA: 0.35, RatedMA: 0.36},
	}
	text := textOf(t, Of(r, "", "", nil, ""))
	assert.Contains(t, text, "    12 /LONGER…  12.345 ± 1.234 mA  ≤ 12.345 mA  -             too near to judge\n")
	for line := range strings.Lines(text) {
		if strings.Contains(line, "LONGER…") {
			assert.LessOrEqual(t, len([]rune(strings.TrimSuffix(line, "\n"))), 80, line)
		}
	}
}

// What is not measured has no table, in no form.
func TestNoLevels(t *testing.T) {
	s := good(t)
	assert.NotContains(t, textOf(t, s), "Levels")
	assert.NotContains(t, textOf(t, s), "Drive margin")
	page := string(written(t, s.WriteHTML))
	assert.NotContains(t, page, "<h3>Levels")
	assert.NotContains(t, page, "<h3>Drive margin")
	var o map[string]any
	require.NoError(t, json.Unmarshal(written(t, s.WriteJSON), &o))
	for _, key := range []string{"levels", "levels_unmeasured", "margins"} {
		assert.Equal(t, []any{}, o[key], key)
	}
	assert.NotContains(t, o, "family_check")
}

func TestLevelsJSON(t *testing.T) {
	var o map[string]any
	require.NoError(t, json.Unmarshal(written(t, measured(t).WriteJSON), &o))
	levels := o["levels"].([]any)
	require.Len(t, levels, 9)
	for i, want := range map[int]map[string]any{
		0: {"pin": 6.0, "name": "2Y", "quantity": "VOL", "value": 0.2, "unit": "V", "uncertainty": 0.01, "limit": 0.4, "bound": "max",
			"load_ma": 5.239, "rated_ma": 16.0, "standing": "well inside"},
		3: {"pin": 6.0, "name": "2Y", "quantity": "VOH", "value": 2.0, "unit": "V", "uncertainty": 0.02, "limit": 2.4, "bound": "min",
			"load_ma": 0.2, "rated_ma": 0.4, "standing": "outside"},
		6: {"pin": 1.0, "name": "1A", "quantity": "IIH", "value": -0.0002, "unit": "mA", "uncertainty": 0.001, "limit": 0.0001, "bound": "max",
			"load_ma": nil, "rated_ma": nil, "standing": "not judged"},
		8: {"pin": 14.0, "name": "VCC", "quantity": "ICC", "value": 21.2, "unit": "mA", "uncertainty": 0.232, "limit": nil, "bound": "max",
			"load_ma": nil, "rated_ma": nil, "standing": "no limit"},
	} {
		assert.Equal(t, want, levels[i], "reading %d", i)
	}
	assert.Equal(t, []any{"VOH of pin 8 (3Y): no step shows it"}, o["levels_unmeasured"])
	assert.Equal(t, "the inputs draw what standard TTL does, and the marking says LS", o["family_check"])
	assert.Equal(t, []any{map[string]any{"pin": 3.0, "name": "2A", "volts": 1.312, "vil": 0.8}}, o["margins"])
	assert.Equal(t, "doubtful", o["grade"])
	assert.Equal(t, []any{"pin 8: VOL is outside"}, o["grade_reasons"])
	assert.Equal(t, map[string]any{"grade": "reject", "asks": "a vector is wrong"}, o["grade_criteria"].([]any)[4])
	assert.Contains(t, o["tester_uncertainty"], "10-bit converter")
}

// Geometry by hand: a bar is 100 long, from 0 to 5 V, to twice the largest limit,
// or to the next of 1, 2, 5 × 10ⁿ over 1.25 times the largest value.
func TestBars(t *testing.T) {
	limits := map[string][]bar{}
	for _, g := range measured(t).LevelGroups() {
		for _, r := range g.Rows {
			limits[g.Top+" "+r.Quantity] = append(limits[g.Top+" "+r.Quantity], r.Bar)
		}
	}
	for key, want := range map[string][]bar{
		"5 V VOL": {
			{Mark: 4, Band: extent{3.8, 0.4}, Limited: true, Limit: 8},
			{Mark: 100, Band: extent{100, 0}, Limited: true, Limit: 8, Above: true},
			{Mark: 8, Band: extent{7.6, 0.8}, Limited: true, Limit: 8},
		},
		"5 V VOH":       {{Mark: 40, Band: extent{39.6, 0.8}, Limited: true, Limit: 48}},
		"0.032 mA IOZ":  {{Mark: 46.88, Band: extent{43.75, 6.25}, Limited: true, Limit: 50}},
		"3.2 mA IIL":    {{Mark: 32, Band: extent{28.56, 6.88}, Limited: true, Limit: 50}},
		"0.0002 mA IIH": {{Mark: 0, Band: extent{0, 100}, Limited: true, Limit: 50}},
		"5 V open":      {{Mark: 32, Band: extent{31.8, 0.4}}},
		"50 mA ICC":     {{Mark: 42.4, Band: extent{41.94, 0.92}}},
	} {
		require.Len(t, limits[key], len(want), key)
		for i, b := range limits[key] {
			assert.Equal(t, want[i].Limited, b.Hatch != "", "%s: hatching where there is a limit", key)
			b.Title, b.Desc, b.Hatch = "", "", ""
			assert.InDelta(t, want[i].Band.Width, b.Band.Width, 0.011, key) // each end is rounded
			b.Band.Width = want[i].Band.Width
			assert.Equal(t, want[i], b, key)
		}
	}
	assert.True(t, drawBar(Level{Value: -0.003, Uncertainty: 0.001, Limit: new(0.04)}, 0.08).Below)
	assert.False(t, drawBar(Level{Value: -0.001, Uncertainty: 0.001, Limit: new(0.04)}, 0.08).Below, "within the uncertainty it is nothing")
}

func TestRoundUp(t *testing.T) {
	for x, want := range map[float64]float64{0: 1, 0.012: 0.02, 0.3: 0.5, 1: 1, 1.1: 2, 26.5: 50, 51: 100, 320: 500} {
		assert.InDelta(t, want, RoundUp(x), 1e-9, "%v", x)
	}
}

// Strokes at 45° in a bar from 4 to 10: a forbidden side of 6 has a whole one
// from corner to corner and the ends of its neighbours.
func TestHatch(t *testing.T) {
	assert.Equal(t, "M0 7l3 -3M0 10l6 -6M3 10l3 -3", Hatch(0, 4, 6, 6, 3))
	assert.Equal(t, "M94 7l3 -3M94 10l6 -6M97 10l3 -3", Hatch(94, 4, 6, 6, 3))
	assert.Empty(t, Hatch(0, 4, 0, 0, 3))
}

// Whatever is measured, nothing but an arrowhead is drawn off the scale.
func TestBarStaysOnScale(t *testing.T) {
	stroke := regexp.MustCompile(`M([\d.]+) ([\d.]+)l([\d.]+) -`)
	rapid.Check(t, func(t *rapid.T) {
		r := Level{
			Bound: rapid.SampledFrom([]string{"max", "min"}).Draw(t, "bound"),
			Value: rapid.Float64Range(-10, 10).Draw(t, "value"), Uncertainty: rapid.Float64Range(0, 5).Draw(t, "uncertainty"),
			Limit: new(rapid.Float64Range(0, 5).Draw(t, "limit")),
		}
		b := drawBar(r, rapid.Float64Range(0.001, 10).Draw(t, "top"))
		for _, x := range []float64{b.Mark, b.Limit, b.Band.X, b.Band.X + b.Band.Width} {
			if x < 0 || x > 100.001 {
				t.Fatalf("%v is off the scale: %+v", x, b)
			}
		}
		for _, m := range stroke.FindAllStringSubmatch(b.Hatch, -1) {
			var n [3]float64
			for i := range n {
				require.NoError(t, json.Unmarshal([]byte(m[i+1]), &n[i]))
			}
			x, y, length := n[0], n[1], n[2]
			forbidden := x >= b.Limit-0.01
			if r.Bound == "min" {
				forbidden = x+length <= b.Limit+0.02
			}
			if !forbidden || x+length > 100.02 || y > 10.01 || y-length < 3.98 {
				t.Fatalf("the stroke %s leaves the forbidden side: %+v", m[0], b)
			}
		}
	})
}

// The page's bars are sound XML with a text alternative, and say without colour what they say.
func TestBarsOnPage(t *testing.T) {
	page := string(written(t, passBut(t).WriteHTML))
	type svg struct {
		Title string `xml:"title"`
		Desc  string `xml:"desc"`
		Role  string `xml:"role,attr"`
		Paths []struct {
			Class string `xml:"class,attr"`
			D     string `xml:"d,attr"`
		} `xml:"path"`
	}
	var bars []svg
	for _, text := range regexp.MustCompile(`(?s)<svg class="bar"[^>]*role="img".*?</svg>`).FindAllString(page, -1) {
		var one svg
		require.NoError(t, xml.Unmarshal([]byte(text), &one), text)
		bars = append(bars, one)
	}
	require.Len(t, bars, 9)
	assert.Equal(t, "VOL of pin 6 (2Y)", bars[0].Title)
	assert.Equal(t, "0.20 ± 0.01 V on a scale from 0 to 5 V; limit ≤ 0.40 V; well inside", bars[0].Desc)
	assert.Equal(t, "limit", bars[0].Paths[1].Class)
	assert.True(t, strings.HasPrefix(bars[0].Paths[1].D, "M8 "), "0.40 V of 5 V stands at 8 of 100: %s", bars[0].Paths[1].D)
	assert.True(t, strings.HasPrefix(bars[0].Paths[2].D, "M4 "), "0.20 V of 5 V stands at 4 of 100: %s", bars[0].Paths[2].D)
	assert.True(t, strings.HasPrefix(bars[1].Paths[2].D, "M101 "), "6.20 V is an arrowhead behind the end: %s", bars[1].Paths[2].D)
	assert.Len(t, bars[8].Paths, 1, "without a limit there is the mark alone")
	assert.Contains(t, page, "<strong>outside</strong>")
	assert.Contains(t, page, "<h3>Drive margin</h3>")
	assert.Contains(t, page, "<td>≤ 0.40 V</td><td>5.24 of 16 mA</td>")
}

// Every report prints the whole table of grades with the chip's own marked.
func TestCriteria(t *testing.T) {
	for _, c := range []struct {
		grade      verdict.Grade
		text, html string
	}{
		{verdict.Sound, "\n  sound (this chip)    every vector right, and every level inside", `<dt>sound (this chip)</dt>`},
		{verdict.Reject, "\n  reject (this chip)   a vector is wrong\n", `<dt>reject (this chip)</dt>`},
		{verdict.None, "\n  reject               a vector is wrong\n", "<dt>reject</dt>"},
	} {
		s := measured(t)
		s.Grade = c.grade
		text, page := textOf(t, s), string(written(t, s.WriteHTML))
		assert.Contains(t, text, c.text)
		assert.Contains(t, page, c.html)
		own := 1
		if c.grade == verdict.None {
			own = 0
		}
		assert.Equal(t, own, strings.Count(text, "(this chip)"))
		assert.Equal(t, own, strings.Count(page, "(this chip)"))
		for _, grade := range []string{"strong", "sound", "function only", "doubtful", "reject"} {
			assert.Contains(t, text, "\n  "+grade)
			assert.Contains(t, page, "<dt>"+grade)
		}
		assert.Contains(t, text, "\n  tester's uncertainty two steps of the 10-bit converter")
		assert.Contains(t, page, "two steps of the 10-bit converter")
	}
}

func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		x      float64
		digits int
		fixed  string
		exact  string
	}{
		{0.4, 2, "0.40", "0.40"}, {-0.0004, 3, "0.000", "-0.0004"}, {-0.12, 2, "-0.12", "-0.12"}, {0.0001, 3, "0.000", "0.0001"},
		{16, 0, "16", "16"}, {0.36, 0, "0", "0.36"}, {3.2000000000000006, 0, "3", "3.2"}, {0.1 + 0.2, 2, "0.30", "0.30"},
	} {
		assert.Equal(t, c.fixed, fixed(c.x, c.digits), "%v", c.x)
		assert.Equal(t, c.exact, decimal(c.x, c.digits), "%v", c.x)
	}
}

// A definition of one's own names pins, and the names reach the table.
func TestHostileLevels(t *testing.T) {
	r := measuredResult(t)
	const hostile = "<script>alert(1)</script>\x1b[2J"
	r.Type.Variant.Pins[5].Name = hostile
	r.Levels.Unmeasured, r.Levels.Family = []string{hostile}, hostile
	r.GradeReasons = []string{hostile}
	s := Of(r, "", "", nil, "")
	assert.NotContains(t, textOf(t, s), "\x1b")
	page := string(written(t, s.WriteHTML))
	assert.NotContains(t, page, "<script")
	assert.Contains(t, page, "&lt;script&gt;")
}

// A limit between two rated loads is interpolated; a person reads volts in hundredths, and
// in thousandths only where the reading is outside by less than that.
func TestLimitsInHundredthsOfAVolt(t *testing.T) {
	for _, c := range []struct {
		unit, standing string
		value, limit   float64
		want           string
	}{
		{"V", "well inside", 0.23, 0.429247, "0.43"},
		{"V", "well inside", 4.72, 4.509825, "4.51"},
		{"V", "outside", 0.64, 0.429247, "0.43"},
		{"V", "outside", 0.4335, 0.429247, "0.429"},
		{"V", "well inside", 0.2, 0.4, "0.40"},
		{"mA", "not judged", 0, 0.0003, "0.0003"},
		{"mA", "well inside", 1, 1.6, "1.600"},
	} {
		if got := limitText(Level{Unit: c.unit, Standing: c.standing, Value: c.value, Limit: &c.limit}); got != c.want {
			t.Errorf("%+v: %s", c, got)
		}
	}
}
