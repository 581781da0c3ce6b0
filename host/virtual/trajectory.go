package virtual

import (
	"math"
	"math/bits"
	"time"
)

// A trajectory is how the capacitors' voltages go for a time in which nothing but time changes: a step, between
// whose ends they are interpolated. So a look at the socket within it solves nothing, and it hangs on no look
// where the steps end.
//
// A step has three implicit stages, of third order, and gives a second solution, of second order, with
// which it is compared (ESDIRK, L-stable and stiffly accurate; after Kennedy and Carpenter, Additive Runge-Kutta schemes,
// 2003, ARK3(2)4L[2]SA, from memory; the figures are worked from the conditions of order: TestStagesOfAStep). Each stage solves the socket with the
// capacitors as voltages behind resistances, as a step of backward Euler does. Between the ends lies the cubic through both
// voltages and slopes (Hermite). It is within 0.5 mV of steps without end, and nearly always within 0.2.
type trajectory struct {
	holds         bool // nothing but time has changed since
	from, to      time.Duration
	volts, slopes [2][]float64 // of each capacitor at both, V and V/s
	stride        float64      // s, what the next step may last
	instant       float64      // s, in which no slope changes
	within        float64      // V, see stepVolts

	next    time.Duration // the next time at which something may read otherwise, or the end
	crosses bool          // the former

	thresholds []threshold
	last, end  []float64 // V, of the nodes when the last threshold was reached, and at the end
	there      []float64 // and where the next one is reached
	probed     [2][]float64

	apart bool         // capacitors that make a ring may not have their voltages in common yet
	k     [4][]float64 // V/s, of the stages
	base  []float64
}

const (
	// stepVolts is how far off the second order of a step may be; its third order is by far less.
	stepVolts = 0.00003
	// longestStride, s, is that of capacitors that stand still.
	longestStride = 1.0
	// firstVolts is how far a capacitor goes in the first step after a change.
	firstVolts = 0.25
	// mostTrials bounds the search for a step, and that for the time at which a threshold is reached.
	mostTrials = 60
	// slopeOhms times the least capacitance is such an instant: far below what any circuit has.
	slopeOhms = 0.01
)

// The stages: each is at its part of the step, by slopes of those before it and its own. The last gives the end.
const ownPart = 0.4358665215084590 // the root of x³ - 3x² + 3x/2 - 1/6 for which the method is L-stable

var (
	stageParts = [4][4]float64{
		{},
		{ownPart, ownPart},
		{0.2576482460664272, -0.0935147675748862, ownPart},
		{0.1876410243467238, -0.5952974735769549, 0.9717899277217721, ownPart},
	}
	otherParts = [4]float64{0.2147402862233891, -0.4851622638849391, 0.8687250025203875, 0.4016969751411624}
)

// at gives a capacitor's voltage at a time within the trajectory.
func (w *trajectory) at(i int, t time.Duration) float64 {
	h := (w.to - w.from).Seconds()
	x := (t - w.from).Seconds() / h
	a, b := w.volts[0][i], w.volts[1][i]
	return a + (b-a)*x*x*(3-2*x) + h*x*(1-x)*(w.slopes[0][i]*(1-x)-w.slopes[1][i]*x)
}

// chart finds the trajectory from the present on.
func (s *Socket) chart() {
	w := &s.clips.way
	if w.holds { // it goes on as it was
		w.from, w.last, w.end = w.to, w.end, w.last
		w.volts[0], w.volts[1] = w.volts[1], w.volts[0]
		w.slopes[0], w.slopes[1] = w.slopes[1], w.slopes[0]
	} else {
		s.begin(w)
	}
	off := w.within
	for trial := 0; ; trial++ {
		h := time.Duration(w.stride * float64(time.Second))
		h = max(1, min(h, time.Second))
		w.to = w.from + h
		was := max(s.step(w, h.Seconds()), w.bump())
		s.slowVolts(w.end)
		if was <= off {
			was = max(was, s.defect(w))
		}
		if was > off && h > 1 && trial < mostTrials {
			w.stride = h.Seconds() * max(0.1, min(0.8, 0.9*math.Cbrt(off/was)))
			continue
		}
		w.stride = min(longestStride, h.Seconds()*min(5, 0.9*math.Cbrt(off/max(was, 1e-12))))
		break
	}
	w.holds = true
	s.findNext()
}

// bump is how far off the cubic may be, V, where a slope at an end is no guide: what decays within a part of a step,
// or turns round in it.
func (w *trajectory) bump() (off float64) {
	h := (w.to - w.from).Seconds()
	for i, a := range w.volts[0] {
		steepest := max(math.Abs(w.slopes[0][i]), math.Abs(w.slopes[1][i]))
		off = max(off, (h*steepest-3*math.Abs(w.volts[1][i]-a))*4/27) // the most of x (1 - x)²
	}
	return off
}

// defect is how far off the end is, V, if the slope in the middle of the cubic is not what flows there: a bend of an
// input's characteristic that lies between the stages shows in it alone. The weight is Simpson's.
func (s *Socket) defect(w *trajectory) (off float64) {
	h := w.to - w.from
	for i := range w.base {
		w.base[i] = w.at(i, w.from+h/2)
	}
	s.stage(w.base, w.k[1], w.k[2], w.instant)
	for i := range w.base {
		slope := 1.5*(w.volts[1][i]-w.volts[0][i])/h.Seconds() - (w.slopes[0][i]+w.slopes[1][i])/4
		off = max(off, math.Abs(slope-w.k[1][i])*h.Seconds()*2/3)
	}
	return off
}

// begin starts a trajectory after a change.
func (s *Socket) begin(w *trajectory) {
	if w.base == nil {
		for _, v := range []*[]float64{&w.volts[0], &w.volts[1], &w.slopes[0], &w.slopes[1], &w.base, &w.k[0], &w.k[1], &w.k[2], &w.k[3]} {
			*v = make([]float64, len(s.clips.capacitors))
		}
		for _, v := range []*[]float64{&w.last, &w.end, &w.there, &w.probed[0], &w.probed[1]} {
			*v = make([]float64, len(s.nodes))
		}
	}
	if s.dark() {
		s.gatherUnpowered()
	} else {
		s.gather(&s.clips.moving)
		for i, n := range s.clips.moving.nodes {
			s.clips.moving.volts[i] = n.volts
			s.clips.moving.ends[i].siemens += stillSiemens // of a node that floats
		}
	}
	s.findThresholds()
	least := math.Inf(1)
	for i := range s.clips.capacitors {
		c := &s.clips.capacitors[i]
		w.volts[0][i] = c.volts
		least = min(least, c.Farads)
	}
	w.instant = slopeOhms * least
	if w.apart {
		s.stage(w.volts[0], w.base, w.volts[0], w.instant)
		w.apart = false
	}
	for i := range s.nodes {
		w.last[i] = s.nodes[i].volts
	}
	s.stage(w.volts[0], w.slopes[0], w.volts[1], w.instant)
	steepest := 0.0
	for _, slope := range w.slopes[0] {
		steepest = max(steepest, math.Abs(slope))
	}
	w.from, w.stride = s.passed, min(longestStride, firstVolts/max(steepest, firstVolts))
}

// step makes a step of so many seconds, and gives how far off it may be, V.
func (s *Socket) step(w *trajectory, seconds float64) (off float64) {
	copy(w.k[0], w.slopes[0])
	for n := 1; n < 4; n++ {
		for i, v := range w.volts[0] {
			for m := range n {
				v += seconds * stageParts[n][m] * w.k[m][i]
			}
			w.base[i] = v
		}
		s.stage(w.base, w.k[n], w.volts[1], seconds*ownPart)
	}
	copy(w.slopes[1], w.k[3])
	for i := range w.base {
		by := 0.0
		for n := range w.k {
			by += (stageParts[3][n] - otherParts[n]) * w.k[n][i]
		}
		off = max(off, math.Abs(seconds*by))
	}
	return off
}

// stage finds the slopes, V/s, and voltages of the capacitors at the end of a time with that slope, s, which begins at
// a base.
func (s *Socket) stage(base, slopes, volts []float64, h float64) {
	for i := range s.clips.capacitors {
		c := &s.clips.capacitors[i]
		s.solvedAs(c, base[i], s.farads(c)/h)
	}
	s.solveSlow()
	for i := range s.clips.capacitors {
		v := s.across(&s.clips.capacitors[i])
		slopes[i] = (v - base[i]) / h
		volts[i] = v
	}
}

// solveSlow solves the nodes that capacitors slow down, and leaves the nodes' own voltages as they are.
func (s *Socket) solveSlow() {
	if s.dark() {
		s.holdUnpowered()
		s.solveNetwork()
		return
	}
	g := &s.clips.moving
	for i, n := range g.nodes {
		e := &g.ends[i]
		e.heldAmps, e.heldSiemens = s.fromCapacitors(n)
	}
	for i, k := range g.between {
		g.couplings[i].siemens = s.couplings[k].siemens
	}
	if len(g.nodes) == 1 {
		e := &g.ends[0]
		g.volts[0] = solve(e.amps+e.heldAmps, e.siemens+e.heldSiemens, e.elements)
		return
	}
	g.solve()
}

// slowVolt is a node's voltage as it was solved last.
func (s *Socket) slowVolt(node int) float64 {
	switch {
	case s.dark():
		return s.network.volts[node]
	case s.clips.slow>>node&1 != 0:
		return s.clips.moving.volts[s.clips.moving.number[node]]
	}
	return s.nodes[node].volts
}

func (s *Socket) slowVolts(to []float64) {
	for i := range s.nodes {
		to[i] = s.slowVolt(i)
	}
}

// across is the voltage across a capacitor as it was solved last.
func (s *Socket) across(c *capacitor) float64 {
	v := s.slowVolt(c.from)
	if c.to >= 0 {
		v -= s.slowVolt(c.to)
	}
	return v
}

// present brings the nodes to where time has passed to.
func (s *Socket) present() {
	if !s.clips.behind {
		return
	}
	s.clips.behind = false
	s.solveAt(s.passed)
	if s.dark() {
		s.takeUnpowered()
		return
	}
	for i, n := range s.clips.moving.nodes {
		if !n.floating {
			n.volts = s.clips.moving.volts[i]
		}
		n.flow = s.tally(n)
	}
}

// solveAt solves the slow nodes as they are at a time of the trajectory.
func (s *Socket) solveAt(t time.Duration) {
	for i := range s.clips.capacitors {
		s.clips.capacitors[i].volts = s.clips.way.at(i, t)
	}
	s.hold()
	s.solveSlow()
}

// A threshold is a voltage at a node at which something may change, or between two.
type threshold struct {
	node, other int // other is -1 for ground
	volts       float64
}

// findThresholds finds those of the nodes that move.
func (s *Socket) findThresholds() {
	w := &s.clips.way
	w.thresholds = w.thresholds[:0]
	nodes := s.clips.slow
	if s.dark() {
		nodes = s.every()
	}
	add := func(node, other int, volts float64) {
		w.thresholds = append(w.thresholds, threshold{node, other, volts})
	}
	for rest := nodes; rest != 0; rest &= rest - 1 {
		i := bits.TrailingZeros64(rest)
		add(i, -1, readLow*s.supply.rail)
		add(i, -1, readHigh*s.supply.rail)
		if !s.powered {
			continue
		}
		for _, p := range s.nodes[i].pads {
			switch {
			case p.in && p.receiver.schmitt:
				add(i, -1, p.receiver.vil)
				add(i, -1, p.receiver.vih)
			case p.in:
				add(i, -1, p.receiver.middle)
			}
			if q := s.opposite(p); p.in && q != nil && q.bonded {
				other := s.number(s.chip.position(q.pin))
				add(i, other, leastDifference)
				add(i, other, -leastDifference)
			}
			if p.timing {
				for _, v := range s.timer.thresholds(p.pin) {
					add(i, -1, v)
				}
			}
		}
	}
}

// reached gives the part of the way from some voltages of the nodes to others after which the first threshold is
// reached; 1 if none is.
func (w *trajectory) reached(from, to []float64) float64 {
	first := 1.0
	for _, t := range w.thresholds {
		a, b := from[t.node], to[t.node]
		if t.other >= 0 {
			a, b = a-from[t.other], b-to[t.other]
		}
		if a != b && (a < t.volts) != (b < t.volts) {
			first = min(first, max(0, (t.volts-a)/(b-a)), 1-1e-9)
		}
	}
	return first
}

// findNext finds, to a nanosecond, when the trajectory reaches the next threshold: by solving there.
func (s *Socket) findNext() {
	w := &s.clips.way
	low, high := max(w.from, s.passed), w.to
	w.next, w.crosses = high, s.gated // a switch that a position controls is looked at after each step
	part := w.reached(w.last, w.end)
	if part == 1 {
		return
	}
	w.crosses = true
	from, to := w.last, w.end
	last, side := high-low, time.Duration(0)
	for trial := 0; high-low > 1; trial++ {
		t := low + time.Duration(part*float64(high-low)) + side*(1+(high-low)>>10)
		if trial%3 == 2 && high-low > last/2 {
			t = low + (high-low)/2
		}
		last = high - low
		t = max(low+1, min(t, high-1))
		s.solveAt(t)
		s.slowVolts(w.probed[0])
		if w.reached(from, w.probed[0]) < 1 {
			copy(w.there, w.probed[0])
			high, to, side = t, w.there, -1
		} else {
			w.probed[0], w.probed[1] = w.probed[1], w.probed[0]
			low, from, side = t, w.probed[1], 1
		}
		part = w.reached(from, to)
	}
	copy(w.there, to)
	w.next = high
	s.clips.behind = true // the capacitors are solved as they will be
}
