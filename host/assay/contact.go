package assay

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"chipassay/host/adapter"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A Prober probes a socket whose supply is off. Steps, readbacks and voltages
// are by the socket's positions, 1 to 28, as if they were the pins of a 28-pin
// package: a chip may lie elsewhere than it should. *adapter.Seat is one.
type Prober interface {
	// Probe applies steps with both rails at a level and gives the positions that read high.
	Probe(ctx context.Context, steps []stimulus.Step, bias, load adapter.Pull) ([]part.Pins, error)
}

// A Voltmeter is a Prober that measures too. Without one, pins that touch a
// supply are not found, nor is a standard TTL chip that is put in backwards for certain.
type Voltmeter interface {
	// ProbeMeasure applies steps, each with its own rails, and gives the positions
	// that read high and the voltages asked for, V; NaN where none is sensed.
	ProbeMeasure(ctx context.Context, steps []adapter.MeasureStep) ([]adapter.Measured, error)
}

// A Seating is how a chip lies in the socket, found without power through the
// junctions that every die has between ground and its pins.
type Seating struct {
	Found  string // "pins 3 and 11 make no contact"; empty where the chip lies as it should
	Advice string // what to do with the chip
	Pins   []int  // that it is about, ascending

	open      bool // they make no contact
	misplaced bool // it lies elsewhere than it should
}

// Misplaced tells whether the chip is put in backwards or shifted: nothing was
// learned of the chip itself.
func (s Seating) Misplaced() bool { return s.misplaced }

// EmptySocket is what is found where there is no chip.
const EmptySocket = "empty socket"

// powerable tells whether the one thing wrong is a signal pin without contact, an
// open bond or dirt: then the supply does no harm, and the vectors say what of the chip is sound.
func (s Seating) powerable(v *part.Variant) bool {
	return s.open && len(s.Pins) == 1 && s.Pins[0] != v.VCC() && s.Pins[0] != v.GND()
}

// ofAnother tells whether the pins without contact are just those that another
// part has no connection at: then the vectors tell which it is, and the supply
// does it no more harm than any wrong part.
func (s Seating) ofAnother(p Plan) bool {
	if !s.open || p.Others == nil {
		return false
	}
	others, err := p.Others()
	return err == nil && slices.ContainsFunc(others, func(o *logic.Circuit) bool {
		v := p.Type.Variant
		if o.Variant == v || len(o.Variant.Pins) != len(v.Pins) || o.Variant.VCC() != v.VCC() || o.Variant.GND() != v.GND() {
			return false
		}
		var unconnected []int
		for i, pin := range o.Variant.Pins {
			if pin.Role == part.NoConnect && v.Pins[i].Role != part.NoConnect {
				unconnected = append(unconnected, pin.Number)
			}
		}
		return slices.Equal(unconnected, s.Pins)
	})
}

// Good tells whether nothing speaks against power.
func (s Seating) Good() bool { return s.Found == "" }

func (s Seating) String() string { return s.Found + ": " + s.Advice }

// Electrical values of the adapter, revision A (firmware/README.md).
const (
	railVolts = 5.0
	driveOhms = 205 // resistor and the microcontroller's output
	loadOhms  = 1_000
)

// A placement is where a chip may lie: off the lever end by some positions, and turned.
type placement struct {
	shift  int
	turned bool
}

// position is the socket position of pin p of an n-pin package placed so.
func (l placement) position(p, n int) int {
	if l.turned {
		p = (p+n/2-1)%n + 1
	}
	if p > n/2 {
		return adapter.PositionOf(p, n) - l.shift
	}
	return adapter.PositionOf(p, n) + l.shift
}

// contact is the test of one chip's seating.
type contact struct {
	ctx    context.Context
	prober Prober
	meter  Voltmeter // nil where there is none
	v      *part.Variant
	n      int
	cmos   bool
	nmos   bool // all junctions hang on the ground pin
}

// Contact finds how the chip in an unpowered socket lies there, as a type. It
// leaves the socket driven; the caller makes it safe.
//
// It relies on what production tests of opens and shorts rely on: with the
// ground pin driven high and a pin pulled low, the pin stands one junction below
// the ground pin, 0.2 to 1.5 V (common practice).
func Contact(ctx context.Context, p Prober, t part.Type) (Seating, error) {
	c := contactOf(ctx, p, t)
	if right, err := c.fits(placement{}); err != nil || !right {
		return c.misplaced(err)
	}
	touches, shorts := c.touchLooks(placement{}), c.shortLooks()
	seen, err := c.look(slices.Concat(touches, shorts, c.supplyLooks()))
	if err != nil {
		return Seating{}, err
	}
	touching, held := c.touchers(placement{}, seen)
	seen = seen[len(touches):]
	if held != 0 {
		return c.unlikeRight()
	}
	if missing := c.judged() &^ touching; missing != 0 {
		if turned, err := c.touching(placement{turned: true}); err != nil || c.meter == nil && turned == c.judged() {
			return c.lies(placement{turned: true}), err
		}
		return noContact(slices.Collect(missing.All())...), nil
	}
	if s, err := c.pinShorts(seen); err != nil || !s.Good() {
		return s, err
	}
	if c.meter == nil {
		return Seating{}, nil
	}
	return c.supplyShorts(seen[len(shorts):]), nil
}

func contactOf(ctx context.Context, p Prober, t part.Type) contact {
	meter, _ := p.(Voltmeter)
	technology := t.Family.Technology
	return contact{
		ctx: ctx, prober: p, meter: meter, v: t.Variant, n: len(t.Variant.Pins),
		cmos: technology == part.CMOS || technology == part.CMOSTTL, nmos: technology == part.NMOS,
	}
}

// Present tells whether there is a chip in an unpowered socket, lying as it should
// or otherwise. It leaves the socket driven, as Contact does, and asks for less.
func Present(ctx context.Context, p Prober, t part.Type) (bool, error) {
	c := contactOf(ctx, p, t)
	if right, err := c.fits(placement{}); err != nil || right {
		return right, err
	}
	s, err := c.misplaced(nil)
	return s.Found != EmptySocket, err
}

// judged are the pins that touch the die for certain, by number: all but those
// for parts outside the chip, those that some makers leave open, the ground pin
// itself, and outputs that only pull high, which need no junction to ground.
func (c *contact) judged() (pins part.Pins) {
	for _, p := range c.v.Pins {
		switch p.Role {
		case part.Input, part.Output, part.Bidirectional, part.Supply:
			pins = pins.With(p.Number, p.Untested == "" && p.Stage != part.OpenEmitter && p.Number != c.v.GND())
		}
	}
	return pins
}

// at gives the positions of pins.
func (c *contact) at(l placement, pins part.Pins) (positions part.Pins) {
	for pin := range pins.All() {
		positions = positions.With(l.position(pin, c.n), true)
	}
	return positions
}

func (c *contact) all() part.Pins { return 1<<c.n - 1 }

// high drives pins high, with the others released.
func high(positions part.Pins) stimulus.Step {
	return stimulus.Step{Driven: positions, Drive: positions}
}

// misplaced says what it means that the inputs do not stand a junction below the
// position where the ground pin should be. An error of finding out is passed on.
func (c *contact) misplaced(err error) (Seating, error) {
	if err != nil {
		return Seating{}, err
	}
	for _, l := range []placement{{0, true}, {1, false}, {2, false}, {1, true}, {2, true}} {
		if c.n+2*l.shift > adapter.Positions {
			continue
		}
		if fits, err := c.fits(l); err != nil || fits {
			return c.lies(l), err
		}
	}
	present, err := c.present()
	if err != nil {
		return Seating{}, err
	}
	if !present {
		advice := "seat the chip with pin 1 at the lever end, close the lever and test again"
		if c.nmos {
			advice += fmt.Sprintf("; if one is there, its ground pin %d makes no contact", c.v.GND())
		}
		return Seating{Found: EmptySocket, Advice: advice}, nil
	}
	return c.unlike()
}

// unlikeRight says how a chip lies whose pins are held up by something other than
// junctions to its ground: in a chip put in backwards, by the resistors of its inputs.
func (c *contact) unlikeRight() (Seating, error) {
	turned, err := c.touching(placement{turned: true})
	if err != nil {
		return Seating{}, err
	}
	if turned == c.judged() {
		return c.lies(placement{turned: true}), nil
	}
	return c.unlike()
}

// unlike says what a chip is that fits nowhere: its ground pin is open where no
// pin follows it, its inputs are where the supply pin does, through the
// substrate, and else it is something other.
func (c *contact) unlike() (Seating, error) {
	touching, err := c.touching(placement{})
	if err != nil {
		return Seating{}, err
	}
	follow, err := c.followGround()
	switch missing := c.judged() &^ touching; {
	case err != nil:
		return Seating{}, err
	case !follow, touching.With(c.v.VCC(), false) == 0: // the supply pin is lifted by the signals of a CMOS part
		return noContact(c.v.GND()), nil
	case touching.Has(c.v.VCC()) && missing != 0:
		return noContact(slices.Collect(missing.All())...), nil
	}
	return Seating{
		Found:  fmt.Sprintf("the pins do not answer as those of a %s do, either way round", c.v.Part.Number),
		Advice: "look whether the marking is read rightly and which end pin 1 is at; it may be another part, or broken",
	}, nil
}

// followGround tells whether any pin rises with the ground pin alone; without a
// voltmeter it supposes so.
func (c *contact) followGround() (bool, error) {
	if c.meter == nil {
		return true, nil
	}
	volts, _, err := c.belowGround(placement{})
	for pin := range c.judged().All() {
		if volts[adapter.PositionOf(pin, c.n)] > leastVolts {
			return true, err
		}
	}
	return false, err
}

// lies says where a chip lies that should lie elsewhere.
func (c *contact) lies(l placement) Seating {
	if l.shift > 0 {
		return Seating{
			Found:  "shifted by " + [...]string{1: "one", 2: "two"}[l.shift],
			Advice: "take the chip out, seat it with pin 1 at the lever end and test again",

			misplaced: true,
		}
	}
	advice := "take the chip out and turn it, the notch and pin 1 towards the lever end; " +
		"it has had no supply and came to no harm here"
	if c.meter == nil {
		advice += fmt.Sprintf("; if it lay right already, its ground pin %d makes no contact: clean it", c.v.GND())
	}
	return Seating{Found: "put in backwards", Advice: advice, misplaced: true}
}

func (c *contact) inputs() (pins part.Pins) {
	for _, p := range c.v.Pins {
		pins = pins.With(p.Number, p.Role == part.Input || p.Role == part.Bidirectional)
	}
	return pins
}

func noContact(pins ...int) Seating {
	if len(pins) == 0 {
		return Seating{}
	}
	verb := "makes"
	if len(pins) > 1 {
		verb = "make"
	}
	return Seating{
		Found: fmt.Sprintf("%s %s no contact", pinList(pins), verb),
		Advice: "take the chip out, look for bent or tarnished pins, straighten and clean them, and test again; " +
			"if it stays so, the bond wire inside is broken and the chip is for the scrap box",
		Pins: pins,
		open: true,
	}
}

// pinList writes "pin 3", "pins 3 and 11", "pins 3, 4 and 11".
func pinList(pins []int) string {
	words := make([]string, len(pins))
	for i, p := range pins {
		words[i] = fmt.Sprint(p)
	}
	if last := len(words) - 1; last > 0 {
		return "pins " + strings.Join(words[:last], ", ") + " and " + words[last]
	}
	return "pin " + words[0]
}

// present tells whether anything lies in the socket though no pin sees its
// ground: the supply pin follows the signals of a CMOS part, and the pins of a
// bipolar part follow its supply pin.
func (c *contact) present() (bool, error) {
	vcc := c.at(placement{}, part.PinSet(c.v.VCC()))
	signals := c.at(placement{}, c.judged()) &^ vcc
	onVCC := look{Step: high(vcc), bias: adapter.Low}
	seen, err := c.look([]look{{Step: high(signals), bias: adapter.Low}, onVCC, onVCC, onVCC, {onVCC.Step, adapter.Low, adapter.Off, everywhere}})
	if err != nil || seen[0].High&vcc != 0 || (seen[1].High|seen[2].High|seen[3].High)&signals != 0 {
		return true, err
	}
	if c.meter == nil {
		return false, nil
	}
	volts := seen[4].Volts
	for position := range signals.All() {
		if volts[position] > leastVolts {
			return true, nil
		}
	}
	return false, nil
}

// Limits of voltages in an unpowered socket.
const (
	leastVolts    = 0.5  // V: a position that nothing holds up stays below it
	leastFollow   = 3.5  // V: what follows the ground pin through one junction stands at 4.1 V
	leastJunction = 0.2  // V, across a junction; less is a short (common practice)
	mostJunction  = 0.95 // V at 1 mA; an input of a chip put in backwards stands lower
	leastDie      = 0.75 // V, across a die at 0.5 mA; less is a short
)

// fits tells whether half of the inputs at least stand one junction below the
// ground pin of a chip placed so, when that alone is driven high. Inputs decide:
// in a chip put in backwards they hang on resistors or on nothing, while outputs
// may look right. Outputs are asked where no input is sensed.
func (c *contact) fits(l placement) (bool, error) {
	if c.meter == nil {
		touching, err := c.touching(l)
		return 2*touching.Len() > c.judged().Len(), err
	}
	volts, ground, err := c.belowGround(l)
	if err != nil {
		return false, err
	}
	for _, pins := range []part.Pins{c.judged() & c.inputs(), c.judged() &^ c.inputs()} {
		fit, sensed := 0, 0
		for pin := range pins.All() {
			v := volts[l.position(pin, c.n)]
			if math.IsNaN(v) {
				continue
			}
			sensed++
			if drop := ground - v; drop > 0 && drop < mostJunction && v > leastVolts {
				fit++
			}
		}
		if sensed > 0 {
			return fit > 0 && 2*fit >= sensed, nil
		}
	}
	return false, nil
}

// belowGround gives the voltages with the ground pin of a chip placed so driven
// high against the load rail, and that of the ground pin.
func (c *contact) belowGround(l placement) (volts [adapter.Positions + 1]float64, ground float64, err error) {
	seen, err := c.look([]look{c.groundUp(l)})
	if err != nil {
		return volts, 0, err
	}
	return seen[0].Volts, c.groundVolts(l, seen[0].Volts), nil
}

// groundUp looks at a chip placed so with its ground pin driven high against the load rail.
func (c *contact) groundUp(l placement) look {
	return look{high(part.PinSet(l.position(c.v.GND(), c.n))), adapter.Off, adapter.Low, everywhere}
}

// groundVolts is the voltage of the ground pin that is driven high, by what groundUp
// saw. Where the adapter does not sense it, the currents through the load
// resistors tell what its drive resistance takes.
func (c *contact) groundVolts(l placement, volts [adapter.Positions + 1]float64) float64 {
	if ground := volts[l.position(c.v.GND(), c.n)]; !math.IsNaN(ground) {
		return ground
	}
	sum, sensed, pins := 0.0, 0.0, 0.0
	for _, p := range c.v.Pins {
		if p.Role == part.NoConnect || p.Number == c.v.GND() {
			continue
		}
		pins++
		if v := volts[l.position(p.Number, c.n)]; !math.IsNaN(v) {
			sum += v
			sensed++
		}
	}
	amps := sum / max(sensed, 1) * pins / loadOhms
	// the ground pin has a load resistor too: (rail - ground) / drive = ground / load + amps
	return (railVolts/driveOhms - amps) / (1.0/driveOhms + 1.0/loadOhms)
}
