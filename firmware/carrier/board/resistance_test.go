package board

import (
	"math"
	"strings"
	"testing"
)

// The least resistance between two pads of a net along its pieces, ohms: an upper
// bound, for the pieces beside the path carry current too. 0.5 milliohms a square
// of 35 µm copper, 1 milliohm a via (common practice).
func (b *Board) resistance(from, to string) float64 {
	var net string
	for _, p := range b.Pads {
		if p.Name() == from {
			net = p.Net
		}
	}
	var own []piece
	for _, p := range b.pieces() {
		if p.net == net {
			own = append(own, p)
		}
	}
	ohms, done := make([]float64, len(own)), make([]bool, len(own))
	for i, p := range own {
		if p.name != from {
			ohms[i] = math.Inf(1)
		}
	}
	for {
		at := -1
		for i := range own {
			if !done[i] && !math.IsInf(ohms[i], 1) && (at < 0 || ohms[i] < ohms[at]) {
				at = i
			}
		}
		if at < 0 {
			return math.Inf(1)
		}
		if own[at].name == to {
			return ohms[at]
		}
		done[at] = true
		for i, p := range own {
			shared := p.layers[0] && own[at].layers[0] || p.layers[1] && own[at].layers[1]
			if !done[i] && shared && p.shape.Gap(own[at].shape) < -joint {
				ohms[i] = min(ohms[i], ohms[at]+p.ohms())
			}
		}
	}
}

func (p piece) ohms() float64 {
	switch {
	case strings.HasPrefix(p.name, "track"):
		return 0.5e-3 * 2 * length(p.shape) / float64(2*p.shape.Radius)
	case strings.HasPrefix(p.name, "via"):
		return 1e-3
	}
	return 0
}

// From a switch to the socket's pin, and from the fuse to the monitor, there may be
// 0.04 ohms of copper: 8 mV at 200 mA, little beside the switch's own drop.
func TestCopperOfTheSupply(t *testing.T) {
	b := committed(t)
	ends := map[string]string{"F1.2": "U51.6"}
	for _, place := range b.Placements {
		if place.Ref[0] == 'Q' {
			ends[place.Ref+".1"] = "X1." + strings.TrimPrefix(place.Ref[2:], "0")
		}
	}
	if len(ends) != 20 { // 13 and 6 switches
		t.Fatalf("%d paths", len(ends))
	}
	for from, to := range ends {
		if ohms := b.resistance(from, to); ohms > 0.04 {
			t.Errorf("%s to %s: %.3f ohms", from, to, ohms)
		} else {
			t.Logf("%s to %s: %.3f ohms", from, to, ohms)
		}
	}
}
