package levels

import (
	"math"

	"chipassay/host/adapter"
)

// A loading is how the rails load an output: through one resistor or both.
type loading struct {
	ohms       float64
	bias, load bool
}

var loadings = []loading{{BiasOhms, true, false}, {loadOhms, false, true}, {bothOhms, true, true}}

// rails gives the levels of the rails, both the same.
func (l loading) rails(level adapter.Pull) (bias, load adapter.Pull) {
	if l.bias {
		bias = level
	}
	if l.load {
		load = level
	}
	return bias, load
}

// through gives the resistance of a loading, Ω.
func (l loading) through(k adapter.Constants) float64 {
	siemens := 0.0
	if l.bias {
		siemens += 1 / k.BiasOhms
	}
	if l.load {
		siemens += 1 / k.LoadOhms
	}
	return 1 / siemens
}

// loadFor chooses the loading with the current nearest below the rated one, mA,
// across some volts. The weakest is taken where all are above it.
func (m *walk) loadFor(volts, ratedMA float64) loading {
	best := loadings[0]
	for _, l := range loadings {
		if mA := volts / l.ohms * 1000; mA <= ratedMA*1.2 {
			best = l
		}
	}
	if best.load && !m.Loads {
		m.Unloaded = true
		return loadings[0]
	}
	return best
}

// secondLoad is another load for an output than the one it was measured under, where
// that is below the rated one, mA: by both its resistance shows. Over their rating only
// bipolar outputs are loaded.
func (m *walk) secondLoad(first loading, volts, ratedMA float64) (loading, bool) {
	switch {
	case !m.Loads || volts/first.ohms*1000 >= ratedMA:
		return loading{}, false
	case first.load:
		return loadings[0], true
	}
	return loadings[1], m.Type.Family.Technology.Bipolar()
}

// slope gives a reading its output's resistance by that under another load.
func (r Reading) slope(other Reading) Reading {
	mA := r.LoadMA - other.LoadMA
	if math.IsNaN(other.Value) || math.Abs(mA) < leastSlope {
		return r
	}
	drop := r.Value - other.Value // as the load grows
	if r.Quantity == VOH {
		drop = -drop
	}
	r.Ohms, r.OhmsUncertainty = (drop-r.Knee*math.Log(r.LoadMA/other.LoadMA))/mA*1000, 2*ConverterVolts/math.Abs(mA)*1000
	return r
}

// leastSlope is how far two loads are apart, mA, by which a resistance shows: its
// uncertainty is then 20 Ω.
const leastSlope = 1
