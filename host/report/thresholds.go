package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"chipassay/host/assay"
	"chipassay/host/assay/thresholds"
	"chipassay/host/quantity"
)

// A Threshold is what was measured of the voltages at which an input switches.
type Threshold struct {
	Pin         int              `json:"pin"`
	Name        string           `json:"name"`
	Output      int              `json:"output"` // the pin that showed it
	OutputName  string           `json:"output_name"`
	Schmitt     bool             `json:"schmitt"`
	Inverts     bool             `json:"inverts"`      // the output falls as the input rises
	Capacitor   float64          `json:"capacitor_f"`  // F, as it was measured
	SupplyVolts float64          `json:"supply_volts"` // V, of the chip
	Ramps       int              `json:"ramps"`        // each way; their median counts
	Rising      *float64         `json:"rising_volts"` // V at the input as the output followed; null where it does not as the input rises
	Falling     *float64         `json:"falling_volts"`
	Values      []ThresholdValue `json:"values"`
}

// A ThresholdValue is one of its values against the limits.
type ThresholdValue struct {
	Symbol      string   `json:"symbol"` // VT+ VT- VH, or VT of an ordinary input
	Title       string   `json:"title"`
	Value       float64  `json:"value"`
	Unit        string   `json:"unit"`        // V
	Uncertainty float64  `json:"uncertainty"` // the tester's own, either way
	Min         *float64 `json:"min"`         // null where the data sheet gives none
	Max         *float64 `json:"max"`
	Standing    string   `json:"standing"`
}

func thresholdsOf(r *assay.Result) (all []Threshold) {
	v := r.Type.Variant
	limit := func(x float64) *float64 {
		if x == 0 {
			return nil
		}
		return new(Rounded(x))
	}
	for _, in := range r.Thresholds {
		t := Threshold{
			Pin: in.Pin, Name: v.Pins[in.Pin-1].Name, Output: in.Output, OutputName: v.Pins[in.Output-1].Name, Schmitt: in.Schmitt, Inverts: in.Inverts,
			Capacitor: in.Farads, SupplyVolts: Rounded(in.SupplyVolts), Ramps: in.Ramps,
		}
		if in.Only != thresholds.OnlyFalling {
			t.Rising = new(Rounded(in.Rising.Volts))
		}
		if in.Only != thresholds.OnlyRising {
			t.Falling = new(Rounded(in.Falling.Volts))
		}
		for _, j := range in.Judge(r.Type.Family) {
			t.Values = append(t.Values, ThresholdValue{
				j.Symbol, j.Title, Rounded(j.Value.Volts), "V", Rounded(j.Value.Uncertainty), limit(j.Min), limit(j.Max), j.Standing.String(),
			})
		}
		all = append(all, t)
	}
	return all
}

// Limits are a value's limits in words.
func (v ThresholdValue) Limits() string {
	switch {
	case v.Min != nil && v.Max != nil:
		return fmt.Sprintf("%.2f to %.2f V", *v.Min, *v.Max)
	case v.Min != nil:
		return fmt.Sprintf("≥ %.2f V", *v.Min)
	case v.Max != nil:
		return fmt.Sprintf("≤ %.2f V", *v.Max)
	}
	return "none"
}

// Measured is a value without its unit.
func (v ThresholdValue) Measured() string {
	return fixed(v.Value, 2) + " ± " + fixed(v.Uncertainty, 2)
}

// ThresholdNote says how thresholds were measured.
func (d Document) ThresholdNote() string {
	if len(d.Thresholds) == 0 {
		return ""
	}
	t := d.Thresholds[0]
	return fmt.Sprintf("Measured with %s at the input, %d ramps each way; the median counts. Voltages are those over the chip's own ground, at a supply of %.2f V.",
		quantity.Farads(t.Capacitor), t.Ramps, t.SupplyVolts)
}

// thresholdFact is the thresholds in short: of each quantity the one that is nearest its limits.
func (d Document) thresholdFact() Fact {
	var symbols []string
	worst, inputs := map[string]ThresholdValue{}, map[string]int{}
	for _, t := range d.Thresholds {
		for _, v := range t.Values {
			w, ok := worst[v.Symbol]
			if !ok {
				symbols = append(symbols, v.Symbol)
			}
			if inputs[v.Symbol]++; !ok || v.inside() < w.inside() {
				worst[v.Symbol] = v
			}
		}
	}
	slices.SortStableFunc(symbols, func(a, b string) int {
		return strings.Index(thresholdOrder, a+" ") - strings.Index(thresholdOrder, b+" ")
	})
	var words []string
	for _, symbol := range symbols {
		v := worst[symbol]
		text := symbol + " " + fixed(v.Value, 2) + " V"
		if v.Min != nil || v.Max != nil {
			text += " (" + strings.TrimSuffix(v.Limits(), " V") + ")"
		}
		words = append(words, text)
	}
	if len(d.Thresholds) > 1 {
		words = append(words, fmt.Sprintf("the worst of %d inputs", len(d.Thresholds)))
	}
	return Fact{Label: "Thresholds", Value: strings.Join(words, ", ")}
}

// thresholdOrder is how the quantities are listed.
const thresholdOrder = "VT+ VT- VH VT "

// inside is how far a value is inside its limits, V; far where there are none.
func (v ThresholdValue) inside() float64 {
	inside := math.Inf(1)
	if v.Min != nil {
		inside = v.Value - *v.Min
	}
	if v.Max != nil {
		inside = min(inside, *v.Max-v.Value)
	}
	return inside
}

// The plot of an output against an input: 0 to 5 V across, low and high up.
const (
	plotLeft, plotRight = 34.0, 234.0
	plotHigh, plotLow   = 26.0, 86.0
	plotSplit           = 3 // by which the two ways are apart where both are at one level
)

// A plot is the output against the input as a drawing.
type plot struct {
	Title, Desc     string
	Rising, Falling string // paths; empty where the output does not follow that way
	Ticks           []plotTick
	Arrows          []string // paths: which way each goes
}

type plotTick struct {
	X     float64
	Volts int
}

// Plot draws the output against the input, each way that was measured.
func (t Threshold) Plot() plot {
	before, after := plotLow, plotHigh
	if t.Inverts {
		before, after = after, before
	}
	p := plot{Title: fmt.Sprintf("%s against %s", t.OutputName, t.Name)}
	var ways []string
	if t.Rising != nil {
		x := plotX(*t.Rising)
		p.Rising = fmt.Sprintf("M%g %gH%gV%gH%g", plotLeft, before-1, x, after-1, plotRight)
		p.Arrows = append(p.Arrows, plotArrow(x, after-before))
		ways = append(ways, fmt.Sprintf("rises through %.2f V", *t.Rising))
	}
	if t.Falling != nil {
		x := plotX(*t.Falling)
		p.Falling = fmt.Sprintf("M%g %gH%gV%gH%g", plotRight, after+plotSplit-1, x, before+plotSplit-1, plotLeft)
		p.Arrows = append(p.Arrows, plotArrow(x, before-after))
		ways = append(ways, fmt.Sprintf("falls through %.2f V", *t.Falling))
	}
	p.Desc = fmt.Sprintf("%s at pin %d changes as %s at pin %d %s", t.OutputName, t.Output, t.Name, t.Pin, strings.Join(ways, " and as it "))
	for volts := range supplyVolts + 1 {
		p.Ticks = append(p.Ticks, plotTick{plotX(float64(volts)), volts})
	}
	return p
}

func plotX(volts float64) float64 {
	return hundredths(plotLeft + (plotRight-plotLeft)*min(max(volts, 0), supplyVolts)/supplyVolts)
}

// plotArrow is an arrow in the middle of an edge, up or down.
func plotArrow(x, towards float64) string {
	middle, tip := (plotHigh+plotLow)/2, 4.0
	if towards < 0 {
		tip = -4
	}
	return fmt.Sprintf("M%g %gl4 %gl4 %g", x-4, middle-tip/2, tip, -tip)
}
