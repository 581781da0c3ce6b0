package selfcheck

import (
	"math"
	"slices"

	"chipassay/firmware/carrier"
)

// How the value of a resistor is searched for: from a thirtieth of what it should have
// to thirty times that, in quarters of a decade and then finer. What is farther off is as
// good as open, or a short.
const (
	quarters   = 6
	halvings   = 4
	valueVolts = 0.05 // V, as the root of the mean square of all readings, that a value may leave unexplained
	openVolts  = 0.5  // V that a reading counts which a defect says nothing of
)

// A valued is a resistor of another value that would give what was read at a position.
type valued struct {
	defect Defect
	misfit float64 // V, the mean of what it leaves
}

// values finds the resistors at a position of which one with another value explains what
// was read there, the best first; several where they explain it about as well.
func (m *model) values(p int, r *result) (found []valued) {
	var fits []valued
	for i := range m.good.Parts {
		part := &m.good.Parts[i]
		if part.Kind != carrier.Resistor || part.Position != p || !slices.Contains([]string{"drive ", "bias ", "load ", "base "}, resistorRole(part)) {
			continue // the others' values change nothing
		}
		if v := m.value(part, p, r); v.misfit < valueVolts {
			fits = append(fits, v)
		}
	}
	slices.SortStableFunc(fits, func(x, y valued) int {
		if x.misfit < y.misfit {
			return -1
		}
		return 1
	})
	for _, v := range fits {
		if v.misfit < 1.5*fits[0].misfit+0.005 {
			found = append(found, v)
		}
	}
	return found
}

// value finds the value of a part at which what it predicts misses least.
func (m *model) value(part *carrier.Part, p int, r *result) valued {
	best := valued{misfit: math.Inf(1)}
	try := func(exponent float64) {
		d := Defect{kind: wrongValue, Ref: part.Ref, Ohms: part.Ohms * math.Pow(10, exponent)}
		if misfit := m.misfit(d, p, r); misfit < best.misfit {
			best = valued{d, misfit}
		}
	}
	for k := -quarters; k <= quarters; k++ {
		try(float64(k) / 4)
	}
	if math.IsInf(best.misfit, 1) {
		return best
	}
	for k := range halvings {
		step := 0.125 / float64(int(1)<<k)
		at := math.Log10(best.defect.Ohms / part.Ohms)
		try(at - step)
		try(at + step)
	}
	return best
}

// misfit is by how much a defect's predictions miss what was read at a position, V: the
// root of the mean square; a level that is not the one predicted rules it out.
func (m *model) misfit(d Defect, p int, r *result) float64 {
	n := m.around(d, []int{p})
	d.apply(n)
	c := newCircuit(n, func(p *carrier.Part) bool { return !works(p, m.good) || !strobed(n, m.good, p.Ref) })
	sum, readings := 0.0, 0
	for k, e := range c.expect(laneAt[p], m.plan) {
		s := &r.seen[k]
		for _, wrong := range off(&m.plan[k], s, p, e, false) {
			if !wrong.volts && !(wrong.current && r.unmetered) {
				return math.Inf(1)
			}
		}
		v := s.volts[p]
		switch {
		case !s.looked || m.plan[k].measured&bit(p) == 0 || math.IsNaN(v):
			continue
		case e.volts.known():
			sum += (v - e.volts.low) * (v - e.volts.low)
		default:
			sum += openVolts * openVolts
		}
		readings++
	}
	if readings == 0 {
		return math.Inf(1)
	}
	return math.Sqrt(sum / float64(readings))
}

// better gives what explains the readings at a position better than a defect does: a
// resistor of another value, if it leaves less, and says of more readings what they are.
func (m *model) better(d Defect, p int, r *result) (found []Defect) {
	const crisp, less = 0.03, 0.02 // V
	misfit := m.misfit(d, p, r)
	if misfit < crisp {
		return nil
	}
	for _, v := range m.values(p, r) {
		if v.misfit+less < misfit {
			found = append(found, v.defect)
		}
	}
	return found
}
