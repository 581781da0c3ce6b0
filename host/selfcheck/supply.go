package selfcheck

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

const (
	limitMA    = 50   // what the check may take, mA: far from the fuse, and twice what one line can pass
	leastVolts = 4.75 // V on a closed high-side switch, with 5.5 mA through it
	mostVolts  = 0.2  // V on a closed low-side switch
	idleMA     = 0.3  // most that the monitor may read when nothing flows, mA
	monitorOff = 0.10 // share by which it may be off without a calibration: shunt 1 %, load and bias 1 %, supply 5 %
)

// supplied is what was seen of the supply.
type supplied struct {
	*check
	bad       part.Pins // positions at which a switch was found faulty or held
	drawn     []float64 // what the monitor read with the rails as the load, as a share of what flowed
	idle      []float64 // mA with nothing on
	highs     int       // switches that worked
	lows      part.Pins
	stopped   string // why no more is powered
	noMonitor bool
}

// supply closes every switch once, one high side with one low side.
func (c *check) supply() error {
	switch {
	case !c.biasWorks.both() || !c.loadWorks.both():
		c.leave("the rails are their load: repair the rails first", highSwitches, lowSwitches, monitor)
		return nil
	case c.bridged != 0:
		c.leave("positions touch: repair that first", highSwitches, lowSwitches, monitor)
		return nil
	}
	s := &supplied{check: c, bad: c.heldLow | c.heldHigh | c.unseen}
	highs, lows := slices.Sorted(c.adapter.Capabilities.SupplyHigh.Positions()), slices.Sorted(c.adapter.Capabilities.SupplyLow.Positions())
	worked := 0
	for _, high := range highs {
		if low := s.partner(lows, high); low != 0 && !s.bad.Has(high) {
			if err := s.pair(high, low); err != nil {
				return err
			}
			if !s.bad.Has(high) && s.stopped == "" {
				s.highs++
				worked = high
			}
		}
	}
	for _, low := range lows {
		high := worked
		if high == low {
			high = s.partner(highs, low)
		}
		if high == 0 || s.lows.Has(low) || s.bad.Has(low) {
			continue
		}
		if err := s.pair(high, low); err != nil {
			return err
		}
	}
	s.conclude(len(highs), len(lows), worked != 0)
	return nil
}

// partner is the first of some positions whose switch may be closed along with another's.
func (s *supplied) partner(of []int, other int) int {
	for _, p := range of {
		if p != other && !s.bad.Has(p) {
			return p
		}
	}
	return 0
}

// pair supplies the socket by two switches and looks at every position, with the
// rails pulling against the one switch and against the other.
func (s *supplied) pair(high, low int) error {
	if s.stopped != "" {
		return nil
	}
	seat, err := s.adapter.Seat(adapter.Positions, high, low)
	if err != nil {
		return err
	}
	_, err = seat.PowerOn(s.ctx, limitMA)
	if err == nil {
		err = s.measure(seat, high, low)
	}
	var fault *adapter.FaultError
	switch {
	case errors.As(err, &fault) && fault.Positions == 0:
		s.noMonitor, s.stopped = true, "the current monitor fell silent"
		return nil
	case errors.As(err, &fault):
		s.refused(fault.Positions, high, low)
		return nil
	case errors.Is(err, adapter.ErrOverCurrent):
		s.stopped = fmt.Sprintf("over %d mA flowed from position %d to position %d", limitMA, high, low)
		s.fault(highSwitches, high, "supply of "+line(high), s.stopped, "a short from the switched supply to ground, and the monitor's shunt")
		return nil
	case err != nil:
		return err
	}
	return seat.PowerOff(s.ctx)
}

func (s *supplied) refused(positions adapter.Word, high, low int) {
	if positions.Has(high) {
		s.highFault(high, "does not bring the supply to the position")
	}
	if positions.Has(low) {
		s.lowFault(low, "does not bring ground to the position")
	}
}

func (s *supplied) highFault(p int, found string) {
	s.bad = s.bad.With(p, true)
	s.fault(highSwitches, p, "high-side switch of "+line(p), found, lookAtHighSwitch(p))
}

func (s *supplied) lowFault(p int, found string) {
	s.bad = s.bad.With(p, true)
	s.fault(lowSwitches, p, "low-side switch of "+line(p), found, lookAtLowSwitch(p))
}

func (s *supplied) measure(seat *adapter.Seat, high, low int) error {
	down := s.step(0, 0, adapter.Low, adapter.Low)
	up := s.step(0, 0, adapter.High, adapter.High)
	none := s.step(0, 0, adapter.Off, adapter.Off)
	down.Settle, up.Settle, none.Settle = adapter.CurrentSettle, adapter.CurrentSettle, adapter.CurrentSettle
	m, err := seat.Measure(s.ctx, []adapter.MeasureStep{down, up, none})
	if err != nil {
		return err
	}
	m = s.scaled(m)
	if v := m[0].Volts[high]; v < leastVolts {
		s.highFault(high, fmt.Sprintf("drops too much: %.2f V at the position with 5.5 mA", v))
	}
	if v := m[1].Volts[low]; m[1].High.Has(low) || v > mostVolts {
		s.lowFault(low, "does not bring ground to the position")
	} else {
		s.lows = s.lows.With(low, true)
	}
	known := s.heldLow | s.heldHigh | s.unseen
	for p := range (m[0].High &^ known &^ part.PinSet(high)).All() {
		s.highFault(p, fmt.Sprintf("closes along with that of position %d", high))
	}
	for p := range (all &^ m[1].High &^ known &^ part.PinSet(low)).All() {
		s.lowFault(p, fmt.Sprintf("closes along with that of position %d", low))
	}
	if mA := m[0].CurrentMA; mA >= 0 && (s.loadHolds & s.biasHolds &^ s.offValue).Has(high) {
		s.drawn = append(s.drawn, mA*s.scale/(1000*m[0].Volts[high]*(1/loadOhms+1/biasOhms)))
		s.idle = append(s.idle, m[2].CurrentMA)
	}
	return nil
}

// conclude says what worked, and judges the monitor by the middle of its readings.
func (s *supplied) conclude(highs, lows int, powered bool) {
	s.out[highSwitches].good = fmt.Sprintf("%d bring the supply to their positions and let go", highs)
	s.out[lowSwitches].good = fmt.Sprintf("%d bring ground to their positions and let go", lows)
	switch {
	case s.stopped != "":
		s.leave(s.stopped+": the rest was left", highSwitches, lowSwitches)
	case !powered:
		s.leave("no high-side switch works to look at the others with", lowSwitches, monitor)
	}
	switch {
	case s.noMonitor || !s.adapter.Capabilities.Monitor:
		s.fault(monitor, 0, "current monitor", "does not answer: no current limit is kept", lookAtMonitor)
	case s.heldHigh&adapterPins(s.adapter.Capabilities.SupplyHigh) != 0:
		s.leave("a position is held high, which may draw current of its own", monitor)
	case len(s.drawn) == 0:
		s.leave("no position can be powered whose resistors are as they should be", monitor)
	default:
		s.judgeMonitor()
	}
}

func (s *supplied) judgeMonitor() {
	slices.Sort(s.drawn)
	slices.Sort(s.idle)
	share, idle := s.drawn[len(s.drawn)/2], s.idle[len(s.idle)/2]
	const flows = 1000 * supplyVolts * (1/loadOhms + 1/biasOhms) // mA
	reads := fmt.Sprintf("reads %.2f mA where %.2f flow, and %.2f where nothing does", share*flows, flows, idle)
	if math.Abs(share-1) > monitorOff || idle > idleMA {
		s.fault(monitor, 0, "current monitor", reads, lookAtMonitor)
	}
	s.out[monitor].good = reads
}

func adapterPins(w adapter.Word) (pins part.Pins) {
	for p := range w.Positions() {
		pins = pins.With(p, true)
	}
	return pins
}
