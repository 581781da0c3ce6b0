// Package contact finds, before power, how a chip is seated in the socket: which way
// round, which pins touch, and what is shorted; and at the end by a soft start whether the
// supply may come. Currents are those of the bias resistors, 0.43 mA a pin, and at the soft
// start 36 mA. Steps and limits are those of the design, solved in ngspice on two sets
// of some fifty chip models at the corners of supply and resistors.
package contact

import (
	"context"
	"fmt"
	"math"
	"slices"

	"chipassay/host/adapter"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
)

// A Seating is how a chip is seated in the socket, found without power through the
// junctions that dies have between ground, their pins and the supply.
type Seating struct {
	Found  string // "pins 3 and 11 make no contact"; empty where nothing speaks against power
	Advice string // what to do with the chip
	Pins   []int  // that it is about, ascending
	Kind   Kind

	Silent   bool    // nothing answered, as of a chip whose substrate hangs on a charge pump: it must be powered at a low limit
	Unjudged []int   // pins whose contact and shorts were not judged, because they are not measured; ascending
	Volts    []Volts // what was measured
}

// A Kind is what is wrong with a seating.
type Kind uint8

// The kinds.
const (
	NoKind    Kind = iota // nothing, or no chip is there
	Open                  // pins make no contact
	Touching              // pins touch each other
	Shorted               // a supply is shorted
	Heavy                 // the supply pin takes far too much current
	Misplaced             // the chip is put in backwards or shifted: nothing was learned of it
	Unlike                // the thresholds do not decide what it is
)

// EmptySocket is what is found where there is no chip.
const EmptySocket = "empty socket"

// OneOpen reports whether the one thing wrong is a signal pin without contact, an open bond
// or dirt: then the supply does no harm, and the vectors say what of the chip is sound.
func (s Seating) OneOpen(v *part.Variant) bool {
	return s.Kind == Open && len(s.Pins) == 1 && s.signals(v)
}

// signals reports whether no supply pin is among the pins.
func (s Seating) signals(v *part.Variant) bool {
	return part.PinSet(s.Pins...)&part.PinSet(v.VCC(), v.GND()) == 0
}

// Anyway reports whether a person may have the chip powered all the same, at a low
// limit: it may be sound as far as the thresholds show.
func (s Seating) Anyway(v *part.Variant) bool {
	return s.Kind == Unlike || s.Kind == Open && s.signals(v)
}

// PoweredAnyway is the caution of a chip that was powered so, its supply limited in mA.
func (s Seating) PoweredAnyway(limitMA int) string {
	return fmt.Sprintf("powered anyway, with at most %d mA: before power %s", limitMA, s.Found)
}

// OfAnother reports whether the pins without contact are just those that another
// part has no connection or no junction at, or those that touch are joined in one: then
// probing shows which it is, and the supply does it no more harm than any wrong part.
func (s Seating) OfAnother(t part.Type, parts []match.Candidate) bool {
	return (s.Kind == Open || s.Kind == Touching) && slices.ContainsFunc(parts, func(c match.Candidate) bool {
		v, o := t.Variant, c.Variant
		switch {
		case o == v || o.Refusal != "" || len(o.Pins) != len(v.Pins) || o.VCC() != v.VCC() || o.GND() != v.GND():
			return false
		case s.Kind == Touching:
			return !slices.ContainsFunc(s.Pins, func(pin int) bool { return o.JoinedWith(pin) == nil })
		}
		for i, pin := range o.Pins {
			open := slices.Contains(s.Pins, pin.Number)
			if open && (Judges(pin) || !Judges(v.Pins[i])) || !open && pin.Role == part.NoConnect && Judges(v.Pins[i]) {
				return false
			}
		}
		return true
	})
}

// Good reports whether nothing speaks against power.
func (s Seating) Good() bool { return s.Found == "" }

func (s Seating) String() string { return s.Found + ": " + s.Advice }

// contact is the test of one chip's seating.
type contact struct {
	ctx    context.Context
	prober Prober
	t      part.Type
	v      *part.Variant
	k      adapter.Constants
	can    adapter.Abilities

	taken    map[Step]int // looks of each step
	volts    []Volts
	answered bool // anything did where it was looked for misplaced
}

// n is the number of the chip's pins.
func (c *contact) n() int { return len(c.v.Pins) }

func contactOf(ctx context.Context, p Prober, t part.Type) *contact {
	return &contact{ctx: ctx, prober: p, t: t, v: t.Variant, can: p.Can(), taken: map[Step]int{}}
}

// Test finds how the chip in an unpowered socket is seated, as a type, by the
// four steps of design.md: supply pair, contact, shorts, soft start. Bias currents and
// drives do it all, 36 mA at most. It leaves the socket driven; the caller powers the
// chip or makes the socket safe.
func Test(ctx context.Context, p Prober, t part.Type) (Seating, error) {
	c := contactOf(ctx, p, t)
	s, err := c.seating()
	s.Volts = c.volts
	return s, err
}

// Present reports whether there is a chip in an unpowered socket, lying as it should
// or otherwise. It leaves the socket driven, as Test does, and asks for less.
func Present(ctx context.Context, p Prober, t part.Type) (bool, error) {
	c := contactOf(ctx, p, t)
	_, first, err := c.first()
	if err != nil || first != pairApart {
		return err == nil, err
	}
	s, err := c.elsewhere(first)
	return s.Found != EmptySocket, err
}

// first takes the looks of supply pair and contact in one request.
func (c *contact) first() (seen []adapter.Measured, p pair, err error) {
	s := c.as(placement{})
	pins := part.PinSet(s.vcc, s.gnd)
	if !c.can.Measure.Has(s.gnd) {
		pins = s.all // the ground pin's own voltage is reckoned
	}
	seen, err = c.look(s.groundUp(SupplyPairStep, pins), s.supplyUp(SupplyPairStep, pins), s.bothUp(TouchStep, s.all))
	if err != nil {
		return nil, pairUnclear, err
	}
	if c.k, err = c.prober.Constants(c.ctx); err != nil { // the rail is known by now
		return nil, pairUnclear, err
	}
	return seen, c.pairOf(s, seen[0], seen[1]), nil
}

func (c *contact) seating() (Seating, error) {
	seen, first, err := c.first()
	switch {
	case err != nil:
		return Seating{}, err
	case first == pairShorted:
		return shorted("supply shorted to ground", part.PinSet(c.v.VCC(), c.v.GND())), nil
	case first != pairRight:
		return c.elsewhere(first)
	}
	s := c.as(placement{})
	touching, unjudged := c.touching(s, seen[2])
	missing := noContact(c.pins(s.touching &^ unjudged &^ touching)...)
	unjudged |= c.at(c.shortable()) &^ c.can.Measure
	found, err := c.shorts()
	if err == nil && found.Good() {
		found, err = c.softly(missing)
	}
	found.Unjudged = c.pins(unjudged)
	return found, err
}

// What the soft start shows (design.md, step 4): behind its drive resistance the supply
// pin of a chip that is seated right stands at 1.55 V or more, that of a turned one at 0.68 or less.
const (
	softVolts = 1.0    // V, of junctions, and no share of the rail
	idleAmps  = 0.0005 // A, less than any NMOS memory takes at 4 V: nothing is there
)

// soft drives a supply pin high, with ground at its switch or its drive, and gives its voltage.
func (c *contact) soft(s seated) (float64, error) {
	switched := part.PinSet(s.gnd) & c.can.Ground
	if err := c.prober.Ground(c.ctx, switched); err != nil {
		return 0, err
	}
	seen, err := c.look(look{step: SoftStartStep, up: part.PinSet(s.vcc), down: s.grounds &^ switched, volts: part.PinSet(s.vcc)})
	if err != nil {
		return 0, err
	}
	return seen[0].Volts[s.vcc], nil
}

// softly is what was found, unless the soft start speaks against power.
func (c *contact) softly(found Seating) (Seating, error) {
	v, err := c.soft(c.as(placement{}))
	if err != nil || v >= softVolts {
		return found, err
	}
	return c.heavy(v), nil
}

func (c *contact) heavy(v float64) Seating {
	return Seating{
		Found: fmt.Sprintf("the supply pin is at %.2f V behind %.0f Ω", v, c.k.DriveOhms),
		Advice: "seated right it would be above 1.5 V: the chip may be backwards or broken; " +
			"check its marking and which end pin 1 is at",
		Pins: []int{c.v.VCC()},
		Kind: Heavy,
	}
}

// elsewhere says what it means that the supply pair does not answer where it should.
func (c *contact) elsewhere(first pair) (Seating, error) {
	l, found, err := c.misplaced()
	switch {
	case err != nil:
		return Seating{}, err
	case found:
		return c.seatingAt(l), nil
	}
	s, answers, err := c.supplyOpen(first)
	if err != nil || !s.Good() {
		return s, err
	}
	switch {
	case c.t.Pumped() && answers.ground:
		return c.backwards(), nil
	case c.t.Pumped() && !answers.inputs:
		return c.silent()
	case answers.anything:
		return c.unlike(), nil
	}
	return c.empty(), nil
}

func (c *contact) empty() Seating {
	advice := "seat the chip with pin 1 at the lever end, close the lever and test again"
	if c.t.Family.Technology == part.NMOS {
		advice += fmt.Sprintf("; if a chip is seated, its ground pin %d makes no contact", c.v.GND())
	}
	return Seating{Found: EmptySocket, Advice: advice}
}

// A response is what answered in a socket where no chip is seated as it may be.
type response struct {
	inputs   bool // inputs; outputs may follow a supply pin through their own transistors
	supply   bool // the ground pin follows the supply pin, and not the other way round
	ground   bool // the supply pin follows the ground pin, and not the other way round
	anything bool
}

// supplyOpen finds a supply pin without contact. Ground touches where the pins follow
// it. Ground does not where the pins of a bipolar chip follow its supply pin, through
// their base resistors, or where the supply pin of a CMOS chip follows its inputs.
func (c *contact) supplyOpen(first pair) (Seating, response, error) {
	s := c.as(placement{})
	inputsUp := look{step: PlacementStep, up: s.touching, volts: s.all}
	seen, err := c.look(s.groundUp(PlacementStep, s.all), s.supplyUp(PlacementStep, s.all), inputsUp)
	if err != nil {
		return Seating{}, response{}, err
	}
	follow := func(m adapter.Measured, of part.Pins, volts float64) (following, measured int) {
		for position := range (of & c.can.Measure).All() {
			measured++
			if m.Volts[position] > volts {
				following++
			}
		}
		return following, measured
	}
	inputs := part.Pins(0) // an open collector follows nothing
	for _, p := range c.v.Pins {
		inputs = inputs.With(adapter.PositionOf(p.Number, c.n()), p.Role == part.Input)
	}
	if inputs &= s.touching; inputs == 0 {
		inputs = s.touching
	}
	most := func(following, measured int) bool { return following > 0 && 2*following >= measured }
	r := response{anything: c.answered}
	for i, up := range []part.Pins{part.PinSet(s.gnd), part.PinSet(s.vcc), s.touching} {
		r.anything = r.anything || c.rises(seen[i], up)
		for _, p := range c.v.Pins {
			v := seen[i].Volts[adapter.PositionOf(p.Number, c.n())]
			r.inputs = r.inputs || i < 2 && p.Role == part.Input && v > idleVolts
		}
	}
	r.ground = seen[0].Volts[s.vcc] > idleVolts && !(seen[1].Volts[s.gnd] > idleVolts)
	r.supply = seen[1].Volts[s.gnd] > idleVolts && !(seen[0].Volts[s.vcc] > idleVolts)
	switch {
	case first != pairApart:
	case most(follow(seen[0], s.touching, touchVolts*c.k.SupplyVolts)):
		return noContact(c.v.VCC()), r, nil
	case most(follow(seen[1], inputs, idleVolts)), seen[2].Volts[s.vcc] > touchVolts*c.k.SupplyVolts:
		return noContact(c.v.GND()), r, nil
	}
	return Seating{}, r, nil
}

// silent is a chip whose pins show nothing, because its substrate may hang on a charge
// pump. One that takes no current is not there.
func (c *contact) silent() (Seating, error) {
	v, err := c.soft(c.as(placement{}))
	switch {
	case err != nil:
		return Seating{}, err
	case v < softVolts:
		return c.heavy(v), nil
	case (c.k.SupplyVolts-v)/c.k.DriveOhms < idleAmps:
		return c.empty(), nil
	}
	return Seating{Silent: true}, nil
}

// backwards is a chip without junctions that leads from its ground pin to its supply pin
// and not back: a die leads from supply to ground, whatever its substrate hangs on.
func (c *contact) backwards() Seating {
	s := c.unlike()
	s.Found = "the supply pins answer as those of a chip put in backwards"
	return s
}

// unlike is a chip that answers as none does that is seated in some known way.
func (c *contact) unlike() Seating {
	return Seating{
		Found: fmt.Sprintf("the pins do not behave like those of a %s, either way round", c.v.Part.Number),
		Advice: "check the marking and which end pin 1 is at; it may be another part, or broken, " +
			"or have unusual input protection: then --power-anyway powers it at a low limit. If other chips do the same, run chipassay adapter check",
		Kind: Unlike,
	}
}

// at gives the positions of pins of a chip that is seated right.
func (c *contact) at(pins part.Pins) (positions part.Pins) {
	for pin := range pins.All() {
		positions = positions.With(adapter.PositionOf(pin, c.n()), true)
	}
	return positions
}

// pins gives the pins at positions of a chip that is seated right, ascending.
func (c *contact) pins(positions part.Pins) (pins []int) {
	for pin := 1; pin <= c.n(); pin++ {
		if positions.Has(adapter.PositionOf(pin, c.n())) {
			pins = append(pins, pin)
		}
	}
	return pins
}

// groundVolts is the voltage of the ground pin that is driven high.
func (c *contact) groundVolts(s seated, m adapter.Measured) float64 {
	if v := m.Volts[s.gnd]; !math.IsNaN(v) {
		return v
	}
	return c.reckoned(s, m)
}

// orAdapter ends advice on what the adapter's own resistors, registers and joints may show as well.
const orAdapter = ", or the adapter: take the chip out and run chipassay adapter check"

func noContact(pins ...int) Seating {
	if len(pins) == 0 {
		return Seating{}
	}
	verb := " makes no contact"
	if len(pins) > 1 {
		verb = " make no contact"
	}
	return Seating{
		Found:  part.PinSet(pins...).Words() + verb,
		Advice: "straighten bent pins, clean tarnished ones and test again. If it stays so and is the right part, a bond wire is broken" + orAdapter,
		Pins:   pins,
		Kind:   Open,
	}
}
