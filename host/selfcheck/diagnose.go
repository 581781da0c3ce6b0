package selfcheck

import (
	"fmt"
	"math"
	"slices"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
)

// What a reading may be off, V and mA: from a good board's, by the tolerances of its
// resistors (5 %) and of a converter that is not calibrated; and from a defect's.
const (
	nominalVolts   = 0.11
	drivenVolts    = 0.22 // against a load: the microcontroller's output has 18 to 40 Ω
	suppliedVolts  = 0.35 // with the fuse, the shunt and a switch in the way
	defectVolts    = 0.30
	nominalCurrent = 0.9
	defectCurrent  = 1.5
)

// A deviation is a reading that no good board gives.
type deviation struct {
	position, condition int
	volts               bool // the voltage is off, or else the level
	current             bool
	tripped             bool // more flowed than the limit
	refused             bool // the adapter found its switches not to respond
	want, got           float64
}

// off compares what was seen at a position under a condition with what is expected;
// it gives the readings that do not fit, 0 to 3, and how much of what fits says something.
func off(k *condition, s *seen, p int, e expected, exact bool) (wrong []deviation) {
	b := bit(p)
	if s.tripped && k.high == p || s.refused&b != 0 {
		if exact { // what defects do then is not predicted
			return []deviation{{position: p, tripped: s.tripped, refused: !s.tripped}}
		}
	}
	if !s.looked {
		return nil
	}
	far := p > 8 && p < 21
	if level := e.sample.level(); level >= 0 && !(far && k.driven&b != 0) {
		if got := int(s.sample >> p & 1); got != level {
			wrong = append(wrong, deviation{position: p, want: float64(level), got: float64(got)})
		}
	}
	within, mA := defectVolts, defectCurrent+0.2*e.current.high
	if exact {
		within, mA = nominalVolts, nominalCurrent
		switch {
		case k.high != 0 || k.low != 0:
			within = suppliedVolts
		case k.load && k.driven&b != 0:
			within = drivenVolts
		}
	}
	if v := s.volts[p]; k.measured&b != 0 && !math.IsNaN(v) && (v < e.volts.low-within || v > e.volts.high+within) {
		wrong = append(wrong, deviation{position: p, volts: true, want: (e.volts.low + e.volts.high) / 2, got: v})
	}
	if k.high == p && s.current >= 0 && (s.current < e.current.low-mA || s.current > e.current.high+mA) {
		wrong = append(wrong, deviation{position: p, current: true, want: e.current.low, got: s.current})
	}
	return wrong
}

// A result is all that was seen.
type result struct {
	seen       []seen // by condition
	high, low  uint32 // positions whose switches the adapter found
	looked     uint32 // positions of which anything is known
	chainOfLow bool
	unmetered  bool        // the monitor's currents are not to be gone by
	found      fitted      // by the adapter itself
	blamed     [fields]int // what else it may have found by a fault that was named
}

// switchFound predicts whether the adapter, when it starts, finds the switch of a
// position: 1 or 0, -1 if it may be either way. It closes it against the bias.
func (m *model) switchFound(c *circuit, l carrier.Lane, high bool) int {
	rest, closed := condition{bias: true}, condition{bias: true}
	if all := uint32(math.MaxUint32); !high {
		rest.biasUp, closed.biasUp, closed.low = all, all, bit(l.Position)
	} else {
		closed.high = l.Position
	}
	e := c.expect(l, []condition{rest, closed})
	before, after := e[0].sample.level(), e[1].sample.level()
	want := 1
	if high {
		want = 0
	}
	switch {
	case before == 1-want || after == want:
		return 0
	case before < 0 || after < 0:
		return -1
	}
	return 1
}

// finds reports whether what an adapter finds of itself goes with what was found.
func (r *result) finds(f fitted) bool {
	p, seen := f.fields(), r.found.fields()
	for i := range p {
		if i != lowField && p[i] != seen[i] && p[i] != r.blamed[i] || i == lowField && f.low != r.chainOfLow && r.low != 0 {
			return false
		}
	}
	return true
}

// switched reports whether a position has a switch to the supply, or to ground.
func (m *model) switched(p int, high bool) bool {
	ref := "Q1%02d"
	if high {
		ref = "Q2%02d"
	}
	return m.good.Part(fmt.Sprintf(ref, p)) != nil
}

// An explanation is a defect that would give what was seen.
type explanation struct {
	defect int
	score  float64
	at     []int
}

// deviations gives what no good board of the model reads, by position.
func (m *model) deviations(r *result) (of [adapter.Positions + 1][]deviation) {
	for p := range m.nominal {
		if r.looked&bit(p) == 0 || m.nominal[p] == nil {
			continue
		}
		for i := range m.plan {
			for _, d := range off(&m.plan[i], &r.seen[i], p, m.nominal[p][i], true) {
				d.condition = i
				of[p] = append(of[p], d)
			}
		}
		if m.switched(p, true) && r.high&bit(p) == 0 || m.switched(p, false) && r.chainOfLow && r.low&bit(p) == 0 {
			of[p] = append(of[p], deviation{position: p, condition: -1, want: 1})
		}
	}
	return of
}

// fits scores a defect by what it explains: NaN if it contradicts what was seen.
func (m *model) fits(i int, r *result, deviates *[adapter.Positions + 1][]deviation) (score float64, at []int) {
	if m.defects[i].controls(m.good) && !r.finds(m.fittedWith(i)) {
		return math.NaN(), nil
	}
	at, circuit := m.changes[i], m.with(i)
	for _, p := range at {
		if r.looked&bit(p) == 0 {
			continue
		}
		expectations := circuit.expect(laneAt[p], m.plan)
		for k := range m.plan {
			wrong := off(&m.plan[k], &r.seen[k], p, expectations[k], false)
			if len(wrong) > 1 || len(wrong) == 1 && !(wrong[0].current && r.unmetered) {
				return math.NaN(), at
			}
		}
		if len(deviates[p]) == 0 && unlike(expectations, m.nominal[p]) {
			score -= 5 // it would have been by chance that nothing was seen here
		}
		for _, d := range deviates[p] {
			if d.condition < 0 {
				continue
			}
			score += d.weight(expectations[d.condition], m.nominal[p][d.condition])
		}
		l := laneAt[p]
		for _, side := range []struct {
			high  bool
			found uint32
			has   bool
		}{{true, r.high, m.switched(p, true)}, {false, r.low, r.chainOfLow && m.switched(p, false)}} {
			if !side.has {
				continue
			}
			found := side.found&bit(p) != 0
			switch m.switchFound(circuit, l, side.high) {
			case 0:
				if found {
					return math.NaN(), at
				}
				score += 10
			case 1:
				if !found {
					return math.NaN(), at
				}
			default:
				if !found {
					score += 4
				}
			}
		}
	}
	return score, at
}

// unlike reports whether expectations leave open what others say.
func unlike(of, nominal []expected) bool {
	for i := range of {
		if !of[i].volts.known() && nominal[i].volts.known() || !of[i].sample.known() && nominal[i].sample.known() {
			return true
		}
	}
	return false
}

// weight is how much it counts that a defect which makes a reading e, where a good board
// makes it nominal, would give the deviation.
func (d *deviation) weight(e, nominal expected) float64 {
	switch {
	case d.volts && e.volts.known() && nominal.volts.known() && math.Abs(e.volts.low-nominal.volts.low) < nominalVolts,
		d.current && math.Abs(e.current.low-nominal.current.low) < nominalCurrent/2:
		return 0 // it would not have shown so: a little off for another reason
	case d.current, d.tripped, d.refused:
		return 1
	case d.volts:
		return e.volts.says()
	case e.sample.level() >= 0: // a level is all that is read of it
		return 1
	}
	return e.sample.says()
}

// says is how much it counts that a voltage within the interval was read.
func (i interval) says() float64 {
	if i.known() {
		return 1
	}
	return 0.4
}

// explain names the defects that explain what was seen at the positions, the best
// first: each time those that explain most, as many as do so equally well. What no
// single defect explains is left.
func (m *model) explain(r *result, left [adapter.Positions + 1][]deviation) (found [][]int, _ [adapter.Positions + 1][]deviation) {
	for range adapter.Positions {
		var best []explanation
		tried := map[int]bool{}
		for p := range left {
			if len(left[p]) == 0 {
				continue
			}
			for _, i := range m.near[p] {
				if tried[i] {
					continue
				}
				tried[i] = true
				if score, at := m.fits(i, r, &left); score > 0 {
					best = append(best, explanation{i, score, at})
				}
			}
		}
		if len(best) == 0 {
			break
		}
		slices.SortStableFunc(best, func(x, y explanation) int {
			if x.score != y.score {
				if x.score > y.score {
					return -1
				}
				return 1
			}
			return x.defect - y.defect
		})
		var equal []int
		of := deviating(&left, best[0].at)
		for _, e := range best {
			if e.score > best[0].score*0.97-0.01 && slices.Equal(deviating(&left, e.at), of) {
				equal = append(equal, e.defect)
			}
		}
		for _, p := range of {
			left[p] = nil
		}
		found = append(found, equal)
	}
	return found, left
}

// deviating are those of some positions where something deviates, in order.
func deviating(of *[adapter.Positions + 1][]deviation, at []int) (positions []int) {
	for _, p := range at {
		if len(of[p]) > 0 {
			positions = append(positions, p)
		}
	}
	slices.Sort(positions)
	return positions
}
