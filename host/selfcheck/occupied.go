package selfcheck

import (
	"fmt"
	"math"

	"chipassay/host/adapter"
)

// follows is by how much a position that follows another moves at least, V: 100 kΩ
// between two make 0.45 V of 5 against the bias.
const follows = 0.25

// mostSuspects is how many positions are looked at more closely.
const mostSuspects = 6

// occupied reports whether positions follow each other in a way that no defect of the
// board explains: then something is in the socket.
//
// A converter behind an open sense line shows what it measured last, as if the
// position followed the one before. So each suspect is measured alone, again and again
// while one position after the other is driven: an open line then shows the same.
func (c *check) occupied() error {
	m := c.model
	deviates := m.deviations(&c.result)
	suspects := 0
	for p := range deviates {
		if !suspicious(m.plan, deviates[p]) || m.circuit.volts[p] == "" {
			continue
		}
		if suspects++; suspects > mostSuspects {
			return nil
		}
		for _, up := range []bool{true, false} {
			q, err := c.followed(p, up)
			if err != nil {
				return err
			}
			if q != 0 && !c.boardCouples(p, q, &deviates) {
				return fmt.Errorf("%w: take it out (%s follows %s). If the socket is empty, look for a solder bridge between their lines", ErrOccupied, at(p), at(q))
			}
		}
	}
	return nil
}

// suspicious reports whether a position left its bias while others were driven or switched.
func suspicious(plan []condition, of []deviation) bool {
	for _, d := range of {
		if d.volts && d.condition >= 0 {
			if k := &plan[d.condition]; k.driven|k.low != 0 && (k.driven|k.low)&bit(d.position) == 0 {
				return true
			}
		}
	}
	return false
}

// followed gives a position that another follows, 0 if there is none: it drives one
// after the other high against the bias, or low.
func (c *check) followed(p int, up bool) (int, error) {
	rest := condition{bias: true, measured: bit(p)}
	if !up {
		rest.biasUp = c.result.looked
	}
	plan, others := []condition{rest, rest}, []int(nil)
	for q := 1; q <= adapter.Positions; q++ {
		if q == p || c.result.looked&bit(q) == 0 {
			continue
		}
		k := rest
		if k.driven = bit(q); up {
			k.level = bit(q)
		}
		plan, others = append(plan, k), append(others, q)
	}
	seen, err := c.probe(plan)
	if err != nil {
		return 0, err
	}
	for i, q := range others {
		if math.Abs(seen[i+2].volts[p]-seen[1].volts[p]) > follows {
			return q, nil
		}
	}
	return 0, nil
}

// boardCouples reports whether a defect of the board explains that one position follows another.
func (c *check) boardCouples(p, q int, deviates *[adapter.Positions + 1][]deviation) bool {
	m := c.model
	for _, i := range m.near[p] {
		for _, other := range m.changes[i] {
			if other != q {
				continue
			}
			if score, _ := m.fits(i, &c.result, deviates); score > 0 {
				return true
			}
		}
	}
	return false
}
