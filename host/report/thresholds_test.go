package report

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/assay/function"
	"chipassay/host/assay/thresholds"
	"chipassay/vectors/part"
)

// A good 7410's result with thresholds that were made up: a Schmitt trigger's at pin 1 with limits, whose
// hysteresis is too small, and the switching point of pin 2.
func thresholdDocument(t testing.TB) Document {
	r := goodResult(t)
	value := func(volts float64) thresholds.Value { return thresholds.Value{Volts: volts, Uncertainty: 0.0123456789} }
	r.Thresholds = []thresholds.Input{
		{Pin: 1, Output: 12, Schmitt: true, Inverts: true, Farads: 1.02e-6, SupplyVolts: 4.93, Rising: value(1.6), Falling: value(1.3), Ramps: 5,
			Limited: true, Limits: part.SchmittLimits{Rising: part.Band{Min: 1.5, Max: 2}, Falling: part.Band{Min: 0.6, Max: 1.1}, Hysteresis: 0.4}},
		{Pin: 2, Output: 12, Farads: 1.02e-6, SupplyVolts: 4.93, Rising: value(1.36), Falling: value(1.34), Ramps: 5},
		{Pin: 13, Output: 12, Inverts: true, Farads: 1.02e-6, SupplyVolts: 4.93, Only: thresholds.OnlyFalling, Falling: value(1.2), Ramps: 5},
	}
	r.Late = []function.Delay{{Pin: 12, High: true, From: 2 * time.Microsecond, To: 3 * time.Microsecond}, {Pin: 12, From: 4500 * time.Nanosecond, To: 5500 * time.Nanosecond}}
	return Of(r, "7410", "", nil, "")
}

func TestThresholdsText(t *testing.T) {
	assert.Contains(t, textOf(t, thresholdDocument(t)), `
  Thresholds
    pin                 measured        limits          standing
     1 1A       VT+  1.60 ± 0.01 V   1.50 to 2.00 V  inside
     1 1A       VT-  1.30 ± 0.01 V   0.60 to 1.10 V  outside
     1 1A       VH   0.30 ± 0.02 V   ≥ 0.40 V        outside
     2 1B       VT   1.35 ± 0.01 V   0.80 to 2.00 V  inside
    13 1C       VT   1.20 ± 0.01 V   0.80 to 2.00 V  inside
  Measured with 1.02 µF at the input, 5 ramps each way; the median counts.
  Voltages are those over the chip's own ground, at a supply of 4.93 V.
`)
	assert.NotContains(t, textOf(t, Of(goodResult(t), "7410", "", nil, "")), "Thresholds")
}

// In short the value of each quantity that is nearest its limits, or past them: pin 13's 1.2 V are 0.4 V above VIL.
func TestThresholdsInShort(t *testing.T) {
	f := thresholdDocument(t).thresholdFact()
	assert.Equal(t, "VT+ 1.60 V (1.50 to 2.00), VT- 1.30 V (0.60 to 1.10), VH 0.30 V (≥ 0.40), VT 1.20 V (0.80 to 2.00), the worst of 3 inputs", f.Value)
}

// Other programs get the values with their units, uncertainties and limits.
func TestThresholdsJSON(t *testing.T) {
	var o struct {
		Thresholds []struct {
			Pin       int      `json:"pin"`
			Name      string   `json:"name"`
			Output    string   `json:"output_name"`
			Capacitor float64  `json:"capacitor_f"`
			Rising    *float64 `json:"rising_volts"`
			Falling   *float64 `json:"falling_volts"`
			Values    []map[string]any
		}
		Late []map[string]any
	}
	require.NoError(t, json.Unmarshal(written(t, thresholdDocument(t).WriteJSON), &o))
	require.Len(t, o.Thresholds, 3)
	first := o.Thresholds[0]
	assert.Equal(t, "1A", first.Name)
	assert.Equal(t, "1Y", first.Output)
	assert.InDelta(t, 1.02e-6, first.Capacitor, 1e-12)
	assert.Equal(t, 1.6, *first.Rising)
	assert.Nil(t, o.Thresholds[2].Rising)
	assert.Equal(t, 1.2, *o.Thresholds[2].Falling)
	require.Len(t, o.Thresholds[2].Values, 1)
	assert.Equal(t, map[string]any{
		"symbol": "VT-", "title": "threshold as the input falls", "value": 1.3, "unit": "V", "uncertainty": 0.012346, "min": 0.6, "max": 1.1, "standing": "outside",
	}, first.Values[1])
	assert.Nil(t, first.Values[2]["max"])
	assert.Equal(t, []map[string]any{
		{"pin": 12.0, "name": "1Y", "transition": "rise", "delay_us": 2.5, "uncertainty_us": 0.5},
		{"pin": 12.0, "name": "1Y", "transition": "fall", "delay_us": 5.0, "uncertainty_us": 0.5},
	}, o.Late)
}

// The plot's scale is 40 units a volt from 34 on. An inverter is high at first, and falls at 1.6 V: x = 34 + 1.6 × 40.
func TestThresholdsPlot(t *testing.T) {
	d := thresholdDocument(t)
	p := d.Thresholds[0].Plot()
	assert.Equal(t, "M34 25H98V85H234", p.Rising)
	assert.Equal(t, "M234 88H86V28H34", p.Falling)
	p = d.Thresholds[1].Plot() // a buffer
	assert.Equal(t, "M34 85H88.4V25H234", p.Rising)
	p = d.Thresholds[2].Plot() // an inverting one that is seen only as its input falls, through 1.2 V: x = 34 + 48
	assert.Empty(t, p.Rising)
	assert.Equal(t, "M234 88H82V28H34", p.Falling)
	assert.Len(t, p.Arrows, 1)
	assert.Equal(t, "1Y at pin 12 changes as 1C at pin 13 falls through 1.20 V", p.Desc)
	page := string(written(t, d.WriteHTML))
	assert.NotContains(t, page, `d=""`)
	assert.Contains(t, page, "<title>1Y against 1A</title>")
	assert.Contains(t, page, "1Y at pin 12 changes as 1A at pin 1 rises through 1.60 V and as it falls through 1.30 V")
	assert.Equal(t, 3, strings.Count(page, `class="plot"`))
	assert.NotContains(t, page, "ZgotmplZ")
}
