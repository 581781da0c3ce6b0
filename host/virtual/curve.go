package virtual

import "math"

// thermalVolts is kT/q at 27 °C, V, SPICE's default temperature.
const thermalVolts = 0.025865

// A point is a current into a node, A, at a voltage of the node, V.
type point struct{ volts, amps float64 }

// A curve is a stage's characteristic at its pin: the current into the node over the
// node's voltage relative to one of the die's supply nodes. It falls, and is sampled
// every curveStep, so that a look-up needs no exponential.
type curve struct {
	first float64 // V, of amps[0]
	amps  []float64
}

// curveStep, V, is below the thermal voltage: between two points a junction's
// exponential is 7 % off at most, which is 2 mV of its drop.
const curveStep = 0.02

// at gives the current at v volts, A, and by how much it falls with the voltage, S.
// Beyond its ends a curve is extrapolated.
func (c *curve) at(v float64) (amps, slope float64) {
	x := (v - c.first) / curveStep
	i := int(max(0, min(x, float64(len(c.amps)-2))))
	slope = (c.amps[i] - c.amps[i+1]) / curveStep
	return c.amps[i] - slope*(v-c.first-float64(i)*curveStep), slope
}

// through draws the curve through points, whose voltages rise and currents fall.
// Beyond the points the current is constant.
func through(points []point) *curve {
	first := math.Floor(points[0].volts/curveStep) - 1
	last := math.Ceil(points[len(points)-1].volts/curveStep) + 1
	c := &curve{first: first * curveStep}
	c.amps = make([]float64, 0, int(last-first)+1)
	i := 0 // of the first point at v or above
	for n := first; n <= last; n++ {
		v := n * curveStep
		for i < len(points) && points[i].volts < v {
			i++
		}
		switch {
		case i == 0:
			c.amps = append(c.amps, points[0].amps)
		case i == len(points):
			c.amps = append(c.amps, points[i-1].amps)
		default:
			a, b := points[i-1], points[i]
			c.amps = append(c.amps, a.amps+(b.amps-a.amps)*(v-a.volts)/(b.volts-a.volts))
		}
	}
	return c
}

// behind is the curve behind a series resistance, Ω.
func (c *curve) behind(ohms float64) *curve {
	if c == nil || ohms == 0 {
		return c
	}
	points := make([]point, len(c.amps))
	for i, amps := range c.amps {
		points[i] = point{c.first + float64(i)*curveStep - amps*ohms, amps}
	}
	return through(points)
}

// decades gives currents from nanoamperes to most, ten a decade.
func decades(most float64) (amps []float64) {
	for i := most; i > 1e-9; i /= 1.2589 {
		amps = append(amps, i)
	}
	return amps
}

// drop is the voltage over a junction of a saturation current, A, at a current, A.
func drop(amps, saturation float64) float64 { return thermalVolts * math.Log1p(amps/saturation) }

// junctionBelow is a diode whose anode is at a supply node of the die: it keeps
// the pin from going below. Mirrored, it is junctionAbove.
func junctionBelow(saturation, ohms float64) *curve {
	var points []point
	for _, i := range decades(0.2) {
		points = append(points, point{-drop(i, saturation) - i*ohms, i})
	}
	return through(append(points, point{0, 0}, point{0.1, 0}))
}

// junctionAbove is a diode whose cathode is at a supply node of the die.
func junctionAbove(saturation, ohms float64) *curve { return turned(junctionBelow(saturation, ohms)) }

// turned is the curve with both axes reversed.
func turned(c *curve) *curve {
	t := &curve{first: -c.first - float64(len(c.amps)-1)*curveStep, amps: make([]float64, len(c.amps))}
	for i, amps := range c.amps {
		t.amps[len(c.amps)-1-i] = -amps
	}
	return t
}
