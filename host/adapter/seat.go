package adapter

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"chipassay/firmware/carrier"
	"chipassay/protocol"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// DefaultSettle is what a step waits between driving and sampling: ten time
// constants of an undriven position, 10 kΩ with some 50 pF of socket and pin, and
// more than the slowest gate's delay.
const DefaultSettle = 5 * time.Microsecond

// longestSettle is what the field of a request holds, 16 bits of µs.
const longestSettle = 65_535 * time.Microsecond

// A Seat is a chip's place in the socket: which position each pin touches, and
// by which positions it is supplied.
type Seat struct {
	Pins     int
	VCC, GND int // pin numbers
	Settle   time.Duration
	// Load is what the load resistors do in Apply, Sweep and Walk: off, as a rule.
	Load Pull
	// Progress, where it is set, is called during Apply with the number of steps applied so far.
	Progress func(steps int)

	// unsupplied: the chip needs no supply. The ground switch is closed and no supply
	// switch; the pin VCC takes no current, and is driven high in every step.
	unsupplied  bool
	adapter     *Adapter
	supplyVolts float64              // V that the chip got when it was powered; 0 where that is not known
	bit         [Positions + 1]uint8 // of each pin's position in a socket word
}

// Abilities are what an adapter can do at a seat.
type Abilities struct {
	Reach   part.Pins // positions that are there, counted as pins of a 28-pin package
	Ground  part.Pins // those with a low-side switch
	Measure part.Pins // those whose voltage is measured
	Sense   part.Pins // pins of the chip whose true level is read even while they are driven
	Load    bool      // the load resistors, 1 kΩ, are fitted
	Sweep   bool      // it has the engine for Seat.Sweep
	Walk    bool      // it has the engine for Seat.Walk
	Watch   bool      // it has the engine for Seat.Watch
}

// Can gives what the adapter can do at this seat.
func (s *Seat) Can() Abilities {
	c := &s.adapter.Capabilities
	return Abilities{
		Reach: positionsOf(c.Positions), Ground: positionsOf(c.SupplyLow), Measure: positionsOf(c.Measured),
		// these two engines run with the supply on
		Sense: s.pins(c.Sense), Load: c.Load != 0, Sweep: c.Sweep && !s.unsupplied, Walk: c.Pattern && !s.unsupplied, Watch: c.Watch,
	}
}

// SeatOf places a part's package; nil for a part that must not be powered here.
func (a *Adapter) SeatOf(v *part.Variant) (*Seat, error) {
	if v.Refusal != "" {
		return nil, nil
	}
	return a.seat(len(v.Pins), v.VCC(), v.GND(), v.Unsupplied)
}

// Seat places a package of a number of pins, supplied at the pins vcc and gnd,
// at the lever end of the socket. It refuses what the adapter cannot hold or
// supply, with ErrCannot and the reason in words.
func (a *Adapter) Seat(pins, vcc, gnd int) (*Seat, error) { return a.seat(pins, vcc, gnd, false) }

// seat is Seat, or the place of a chip that needs no supply: its pin vcc needs no switch.
func (a *Adapter) seat(pins, vcc, gnd int, unsupplied bool) (*Seat, error) {
	c := a.Capabilities
	switch {
	case pins < 2 || pins%2 != 0:
		return nil, fmt.Errorf("%w seat a package of %d pins: packages have two rows", ErrCannot, pins)
	case pins > Positions:
		return nil, fmt.Errorf("%w seat a package of %d pins: the socket has %d positions", ErrCannot, pins, Positions)
	case !c.holds(pins):
		return nil, fmt.Errorf("%w seat a package of %d pins: positions 9 to 20 are not fitted; add the far half (firmware/carrier/README.md), or if it is there, run chipassay adapter check", ErrCannot, pins)
	case vcc < 1 || vcc > pins || gnd < 1 || gnd > pins || vcc == gnd:
		return nil, fmt.Errorf("%w supply a %d-pin package at pins %d and %d", ErrCannot, pins, vcc, gnd)
	}
	for _, s := range []struct {
		name      string
		pin       int
		positions Word
		wired     func(carrier.Lane) string // what controls the carrier's switch there
	}{
		{"the supply", vcc, c.SupplyHigh, func(l carrier.Lane) string { return l.High }},
		{"ground", gnd, c.SupplyLow, func(l carrier.Lane) string { return l.Low }},
	} {
		if p := PositionOf(s.pin, pins); !s.positions.Has(p) && !(unsupplied && s.pin == vcc) {
			return nil, fmt.Errorf("%w switch %s to pin %d of a %d-pin package, which is at socket position %d: it has switches at %s%s",
				ErrCannot, s.name, s.pin, pins, p, list(s.positions), missingSwitch(s.wired(carrier.LaneAt(p))))
		}
	}
	seat := &Seat{Pins: pins, VCC: vcc, GND: gnd, Settle: DefaultSettle, unsupplied: unsupplied, adapter: a}
	for pin := 1; pin <= pins; pin++ {
		seat.bit[pin] = uint8(bit(PositionOf(pin, pins)))
	}
	return seat, nil
}

// Unreachable says why the adapter with all its switches cannot supply a part's package; empty
// where it can.
func Unreachable(v *part.Variant) string {
	n := len(v.Pins)
	for _, s := range []struct {
		pin   int
		what  string
		wired func(carrier.Lane) string
	}{
		{v.VCC(), "supply", func(l carrier.Lane) string { return l.High }},
		{v.GND(), "ground", func(l carrier.Lane) string { return l.Low }},
	} {
		if p := PositionOf(s.pin, n); s.wired(carrier.LaneAt(p)) == "" {
			return fmt.Sprintf("the adapter cannot power it: the socket has no %s switch at position %d, where pin %d (%s) of this package sits",
				s.what, p, s.pin, v.Pins[s.pin-1].Name)
		}
	}
	return ""
}

// Reseated is a seat for a chip that is not what it was taken for. It refuses what the
// adapter cannot hold or supply.
func (s *Seat) Reseated(pins, vcc, gnd int) (*Seat, error) {
	other, err := s.adapter.Seat(pins, vcc, gnd)
	if err == nil {
		other.Settle, other.Progress = s.Settle, s.Progress
	}
	return other, err
}

// missingSwitch says what would help where the carrier has a switch, controlled by
// that line, and this adapter does not.
func missingSwitch(control string) string {
	if control == "" {
		return ""
	}
	return "; fit the other switches (firmware/carrier/README.md), or if they are there, run chipassay adapter check"
}

// holds reports whether every position that a package touches is there.
func (c *Capabilities) holds(pins int) bool {
	for pin := 1; pin <= pins; pin++ {
		if !c.Positions.Has(PositionOf(pin, pins)) {
			return false
		}
	}
	return true
}

// list writes positions in ascending order.
func list(w Word) string {
	var words []string
	for _, p := range slices.Sorted(w.Positions()) {
		words = append(words, strconv.Itoa(p))
	}
	return strings.Join(words, ", ")
}

// powerSettle is the time from closing the supply switches to the measurement
// of the current: bypass capacitors are charged and the chip has come to rest.
const powerSettle = 20 * time.Millisecond

// baseMA is what the base of the high-side switch takes, which the monitor counts
// with the chip's current, mA: what is left of the supply below a junction, across
// 2.2 kΩ and the microcontroller's output.
func (a *Adapter) baseMA() float64 {
	rail := a.rail
	if rail == 0 {
		rail = nominalRail
	}
	return 1000 * (rail - junctionVolts) / (baseOhms + outputOhms)
}

// What baseMA goes by.
const (
	nominalRail   = 5.0  // V
	junctionVolts = 0.85 // V: base and emitter, shunt and fuse
	baseOhms      = 2200
	outputOhms    = 25
)

// notMeasured stands for a supply current that is not known, mA.
const notMeasured = -1

// PowerOn closes the supply switches of the chip, with every position released,
// and measures the supply current, mA; it is negative where the adapter has no
// monitor, and where the chip needs no supply and has ground alone switched. Over the
// limit, mA, the adapter switches off and the error is ErrOverCurrent.
func (s *Seat) PowerOn(ctx context.Context, limitMA int) (float64, error) {
	if most := s.adapter.Capabilities.MaxCurrentMA; limitMA < 1 || limitMA > most {
		return notMeasured, fmt.Errorf("%w limit the supply current to %d mA: it can from 1 to %d mA", ErrCannot, limitMA, most)
	}
	// no MOS input may float while the supply comes: it would draw current of its own
	if s.adapter.Capabilities.Bias != 0 {
		if err := s.adapter.setPulls(ctx, protocol.Pulls{Bias: s.pulled(Low)}); err != nil {
			return notMeasured, err
		}
	}
	if s.unsupplied {
		return notMeasured, s.adapter.call(ctx, &protocol.Power{Low: uint32(At(PositionOf(s.GND, s.Pins)))}, &protocol.PowerReply{}, 0)
	}
	request := &protocol.Power{
		High:     uint8(PositionOf(s.VCC, s.Pins)),
		LimitMA:  uint16(limitMA),
		SettleMS: uint16(powerSettle.Milliseconds()),
		Low:      uint32(At(PositionOf(s.GND, s.Pins))),
	}
	var reply protocol.PowerReply
	if err := s.adapter.call(ctx, request, &reply, powerSettle); err != nil {
		return notMeasured, err
	}
	mA := s.adapter.chipMA(reply.Current)
	if s.adapter.Capabilities.Measured == 0 || s.adapter.Capabilities.Bias == 0 {
		return mA, nil
	}
	fed, err := s.fed(ctx)
	if err != nil || mA < 0 {
		return mA, err
	}
	return max(0, mA-fed), nil
}

// driven, V, is what a pin stands at by itself under a bias that pulls it low: no
// input rises so far, a TTL one stands at its own 1.6 V or less.
const driven = 1.8

// fed gives what the pins of a chip that has just been powered feed into the bias
// that pulls them low, mA: outputs that are high. It also measures the chip's supply.
func (s *Seat) fed(ctx context.Context) (mA float64, err error) {
	k, err := s.Constants(ctx)
	if err != nil {
		return 0, err
	}
	step := MeasureStep{Bias: Low, Settle: supplySettle, Pins: 1<<s.Pins - 1}
	measured, err := s.Measure(ctx, []MeasureStep{step})
	if err != nil {
		return 0, err
	}
	m := measured[0]
	s.supplyVolts = m.Volts[s.VCC] - m.Volts[s.GND]
	for pin := 1; pin <= s.Pins; pin++ {
		v := m.Volts[pin]
		if math.IsNaN(v) && m.High.Has(pin) {
			v = s.supplyVolts
		}
		if pin != s.VCC && pin != s.GND && v > driven {
			mA += 1000 * v / k.BiasOhms
		}
	}
	return mA, nil
}

// Ground closes the low-side switches at some positions, 1 to 28, and supplies
// nothing: an unpowered chip's pins there are held at 0 V. It releases what is driven.
func (s *Seat) Ground(ctx context.Context, positions part.Pins) error {
	low := wordOf(positions)
	if missing := low &^ s.adapter.Capabilities.SupplyLow; missing != 0 {
		return s.adapter.fail(fmt.Errorf("%w ground socket positions %s: it has switches at %s", ErrCannot, list(missing), list(s.adapter.Capabilities.SupplyLow)))
	}
	return s.adapter.call(ctx, &protocol.Power{Low: uint32(low)}, &protocol.PowerReply{}, 0)
}

// HoldLoad sets Load.
func (s *Seat) HoldLoad(load Pull) { s.Load = load }

// Spent is the adapter's time that was asked for so far: Adapter.Spent.
func (s *Seat) Spent() time.Duration { return s.adapter.Spent() }

// PowerOff makes the socket safe: positions released, bias and load off, supply open.
func (s *Seat) PowerOff(ctx context.Context) error { return s.adapter.safe(ctx) }

// ApplyPulls is Apply with the load resistors set too.
func (s *Seat) ApplyPulls(ctx context.Context, steps []stimulus.Step, bias, load Pull) ([]part.Pins, error) {
	return s.apply(ctx, steps, protocol.Pulls{Bias: s.pulled(bias), Load: s.pulled(load)})
}

// Apply sets the bias, applies steps in order, each with a wait of Settle
// before it is read, and gives for each step the pins that read high. Pins that
// are driven at positions without a sense line read as driven. When it fails
// the socket has been made safe, and the readbacks are those of the steps
// applied before; a reset or a silence in the middle is ErrReset or ErrSilence.
func (s *Seat) Apply(ctx context.Context, steps []stimulus.Step, bias Pull) ([]part.Pins, error) {
	return s.ApplyPulls(ctx, steps, bias, s.Load)
}

// ApplySettling is Apply with another wait than Settle, in whole µs.
func (s *Seat) ApplySettling(ctx context.Context, steps []stimulus.Step, bias Pull, settle time.Duration) ([]part.Pins, error) {
	usual := s.Settle
	defer func() { s.Settle = usual }()
	s.Settle = settle
	return s.Apply(ctx, steps, bias)
}

func (s *Seat) apply(ctx context.Context, steps []stimulus.Step, pulls protocol.Pulls) ([]part.Pins, error) {
	if s.Settle < 0 || s.Settle > longestSettle {
		return nil, s.adapter.fail(fmt.Errorf("%w wait %v in a step: it can up to %v", ErrCannot, s.Settle, longestSettle))
	}
	if err := s.adapter.setPulls(ctx, pulls); err != nil {
		return nil, err
	}
	fixed, turning := s.stepsPerRequest()
	read := make([]part.Pins, 0, len(steps))
	for rest := steps; len(rest) > 0; {
		var b batch
		b, rest = cut(rest, fixed, turning)
		samples, err := s.adapter.request(ctx, s.drives(b), s.Settle, s.unsupplied)
		if err != nil {
			return read, err
		}
		for _, w := range samples {
			read = append(read, s.pins(Word(w)))
		}
		if s.Progress != nil {
			s.Progress(len(read))
		}
	}
	return read, nil
}

// stepsPerRequest gives how many steps fit a request, with one direction for
// all of them and with one for each.
func (s *Seat) stepsPerRequest() (fixed, turning int) {
	c := s.adapter.Capabilities
	most := max(1, min(c.MaxSteps, int(c.MaxBusy/max(s.Settle, time.Microsecond))))
	return min(most, protocol.ApplySteps(c.MaxPayload, false)), min(most, protocol.ApplySteps(c.MaxPayload, true))
}

// drives are the steps of one batch in socket words.
func (s *Seat) drives(steps batch) []protocol.Drive {
	var drives []protocol.Drive
	for _, step := range steps {
		step = s.held(step)
		drives = append(drives, protocol.Drive{Direction: uint32(s.word(step.Driven)), Level: uint32(s.word(step.Drive))})
	}
	return drives
}

// held is a step that drives the supply pin of a chip that needs no supply high.
func (s *Seat) held(step stimulus.Step) stimulus.Step {
	if s.unsupplied {
		step.Driven, step.Drive = step.Driven.With(s.VCC, true), step.Drive.With(s.VCC, true)
	}
	return step
}

// request applies a few steps and gives their samples.
func (a *Adapter) request(ctx context.Context, steps []protocol.Drive, settle time.Duration, unpowered bool) ([]uint32, error) {
	request := protocol.Apply{Unpowered: unpowered, SettleUS: uint16(settle.Microseconds()), Steps: steps}
	var reply protocol.ApplyReply
	// beside settling, driving and sampling take a few microseconds
	work := time.Duration(len(steps)) * (settle + 10*time.Microsecond)
	if err := a.call(ctx, &request, &reply, work); err != nil {
		return nil, err
	}
	a.worked += work
	if len(reply.Samples) != len(steps) {
		return nil, a.fail(fmt.Errorf("%w: %d samples for %d steps", protocol.ErrPayload, len(reply.Samples), len(steps)))
	}
	return reply.Samples, nil
}

// word gives the socket word of a set of pins.
func (s *Seat) word(pins part.Pins) (w Word) {
	for pin := range pins.All() {
		w |= 1 << s.bit[pin]
	}
	return w
}

// pins gives the set of pins of a socket word.
func (s *Seat) pins(w Word) (set part.Pins) {
	for pin := 1; pin <= s.Pins; pin++ {
		set |= part.Pins(w>>s.bit[pin]&1) << (pin - 1)
	}
	return set
}
