package virtual

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// A modelled chip is one that there is a transistor-level model of, with the variety that
// stands for the same maker's circuit.
type modelled struct {
	number  string // in the library; a family's name for a quad NAND of it
	file    string
	chip    string // its subcircuit
	vary    func(corner, *Variety)
	params  func(corner) string
	noLoads bool // 1 kΩ is never asked of it
	before  bool // it differs from the one above before power alone
	corners []corner
}

// A corner is a supply, and how a process came out.
type corner struct {
	usb                     float64 // V at the port
	beta, resistors, strong float64
}

func (c corner) String() string {
	return fmt.Sprintf("%g V, gain %g, resistors %g, strength %g", c.usb, c.beta, c.resistors, c.strong)
}

// The corners of design.md: 4.5 to 5.25 V at the board, chip resistors -25 to +30 %, gains of 15 to
// 100. A 74LS part whose gain is 15 does not keep its data sheet; 30 does.
var (
	corners   = []corner{{5, 40, 1, 1}, {4.57, 15, 1.3, 0.6}, {5.3, 100, 0.75, 1.7}}
	cornersLS = []corner{{5, 80, 1, 1}, {4.57, 30, 1.3, 0.6}, {5.3, 100, 0.75, 1.7}}
)

var modelledChips = []modelled{
	{number: "7400", file: "7400", chip: "ttl_7400", params: bipolarParams, vary: bipolar, corners: corners},
	{number: "7400", file: "7400", chip: "ttl_7400_bare", params: bipolarParams, before: true, corners: corners,
		vary: func(c corner, v *Variety) { bipolar(c, v); v.Clamps = false }},
	{number: "7403", file: "7403", chip: "ttl_7403", params: bipolarParams, vary: bipolar, corners: corners},
	{number: "74LS00", file: "74ls00", chip: "ls_74ls00", params: bipolarParams, vary: bipolar, corners: cornersLS},
	{number: "74LS125", file: "74ls125", chip: "ls_74ls125", params: bipolarParams, corners: cornersLS,
		vary: func(c corner, v *Variety) { bipolar(c, v); v.Supply = 4.6 / c.resistors }}, // ICC is 11 mA, not the 2.4 of a quad gate
	{number: "4011UB", file: "4011", chip: "cmos_4011ub", params: func(c corner) string { return fmt.Sprintf("strength=%g before=2.5k behind=10", c.strong) },
		vary: func(c corner, v *Variety) { v.Strength, v.Before = c.strong*1.136, 2500 }, noLoads: true, corners: corners},
	{number: "4011B", file: "4011", chip: "cmos_4011b", params: func(c corner) string { return fmt.Sprintf("strength=%g", c.strong) },
		vary: func(c corner, v *Variety) { v.Strength = c.strong * 1.136 }, noLoads: true, corners: corners[:1]},
	{number: "4049UB", file: "4049", chip: "cmos_4049ub", params: func(c corner) string { return fmt.Sprintf("strength=%g", c.strong) },
		vary: func(c corner, v *Variety) { v.Strength = c.strong }, noLoads: true, corners: corners},
	{number: "74HC00", file: "74hc00", chip: "hc_74hc00", params: func(c corner) string { return fmt.Sprintf("strength=%g", c.strong) },
		vary: func(c corner, v *Variety) { v.Strength, v.Before = c.strong, 100 }, corners: corners},
	{number: "NMOS", file: "nmos", chip: "nmos_quad", params: func(c corner) string { return fmt.Sprintf("strength=%g", c.strong) },
		vary: func(c corner, v *Variety) { v.Strength, v.PullUpVolts, v.Before = c.strong, 1.9, 200 }, corners: corners},
	{number: "NMOS", file: "nmos", chip: "nmos_quad_pumped", params: func(c corner) string { return fmt.Sprintf("strength=%g", c.strong) },
		vary: func(c corner, v *Variety) { v.Strength, v.PullUpVolts, v.Substrate = c.strong, 1.9, Pumped }, corners: corners},
}

func bipolarParams(c corner) string { return fmt.Sprintf("beta=%g res=%g", c.beta, c.resistors) }

func bipolar(c corner, v *Variety) { v.Beta, v.Resistors = c.beta, c.resistors }

// make makes the virtual chip.
func (m *modelled) make(t *testing.T, at corner, defects ...string) *Chip {
	t.Helper()
	var chip *Chip
	if part.FamilyByName(m.number) != nil {
		chip = quadNAND(t, m.number, part.TotemPole, defects...)
		for i := range chip.Type.Variant.Pins { // the outputs of a 2114, as the model has them
			chip.Type.Variant.Pins[i].Drive = part.BufferDrive
		}
	} else {
		typ, err := library.Open(m.number)
		if err != nil {
			t.Fatal(err)
		}
		var parsed []Defect
		for _, text := range defects {
			d, err := ParseDefect(text)
			if err != nil {
				t.Fatal(err)
			}
			parsed = append(parsed, d)
		}
		chip = chipWith(t, typ, parsed...)
	}
	v := Nominal(chip.Type)
	m.vary(at, &v)
	chip.Vary(v)
	return chip
}

// A setting is a state of the assay, and the pins whose voltages it is about: all where there are none.
type setting struct {
	what string
	carrier.State
	pins   []int
	within float64 // V; 0 for 50 mV or 5 %
}

// seated gives what the states of an assay need of a chip: words of its pins.
type seated struct {
	*Chip
	signals, inputs, outputs []int
}

func seat(c *Chip) seated {
	s := seated{Chip: c}
	for i := range c.pads {
		p := &c.pads[i]
		if p.in || p.out {
			s.signals = append(s.signals, p.pin)
		}
		if p.in {
			s.inputs = append(s.inputs, p.pin)
		}
		if p.out {
			s.outputs = append(s.outputs, p.pin)
		}
	}
	return s
}

// at gives the word of where pins lie that a definition calls so: of a turned chip, other pins.
func (s seated) at(pins ...int) (w uint32) {
	for _, p := range pins {
		w |= uint32(adapter.At(adapter.PositionOf(p, len(s.pads))))
	}
	return w
}

// beforePower gives the steps that design.md takes before power ("Before power"), and the
// pins that each of them reads. A turned chip whose supplies are at the corners is one whose
// supplies are swapped.
//
// Left out, as a first order: what a bipolar chip and one with a floating substrate are at with
// their supply pin high and their ground pin free, where the chip's base resistors and the pins' bias
// settle it between them (TestVarietiesBeforePower holds it to the design's margin).
func (s seated) beforePower() (all []setting) {
	v := s.Type.Variant
	vcc, gnd := s.at(v.VCC()), s.at(v.GND())
	add := func(what string, st carrier.State, pins ...int) {
		all = append(all, setting{what: what, State: st, pins: pins})
	}
	f := s.Type.Family
	add("ground high, the rest biased low", carrier.State{Driven: gnd, Level: gnd, BiasOn: true}, v.VCC(), v.GND())
	if !f.Technology.Bipolar() && s.variety.Substrate == Grounded {
		add("supply high, the rest biased low", carrier.State{Driven: vcc, Level: vcc, BiasOn: true}, v.VCC(), v.GND())
	}
	add("soft start", carrier.State{Driven: vcc, Level: vcc, Low: gnd, BiasOn: true}, v.VCC())
	if f.Technology.Bipolar() { // what its stages take at half their supply hangs on how many there are
		all[len(all)-1].within = 0.4
	}
	if low := vcc & uint32(lowSwitches()); low != 0 {
		add("soft start, turned", carrier.State{Driven: gnd, Level: gnd, Low: low, BiasOn: true}, v.GND())
	}
	add("contact: both high, signals biased low", carrier.State{Driven: vcc | gnd, Level: vcc | gnd, BiasOn: true})
	for bit := range 2 {
		var up []int
		for _, p := range s.signals {
			if p>>bit&1 != 0 {
				up = append(up, p)
			}
		}
		low := carrier.State{Low: gnd | vcc&uint32(lowSwitches()), BiasOn: true, BiasUp: s.at(up...)}
		low.Driven = (gnd | vcc) &^ low.Low
		add(fmt.Sprintf("shorts: bit %d of the pin's number biased high", bit), low)
		low.BiasUp = s.at(s.signals...) &^ low.BiasUp
		add(fmt.Sprintf("shorts: bit %d biased low", bit), low)
	}
	return all
}

func lowSwitches() (w adapter.Word) { return adapter.At(SupplyLow...) }

// powered gives the states of a chip with its supply: driven, loaded, released.
func (s seated) powered(loads bool) (all []setting) {
	v := s.Type.Variant
	vcc, gnd, in, out := s.at(v.VCC()), s.at(v.GND()), s.at(s.inputs...), s.at(s.outputs...)
	on := carrier.State{High: vcc, Low: gnd, Driven: in, BiasOn: true}
	for _, level := range []int{0, 1, 3} {
		on.Level = s.at(s.levels(level)...)
		inputs := fmt.Sprintf("inputs driven %02b", level)
		pins := s.signals
		if level == 0 {
			pins = s.outputs // two low inputs of one gate share its base resistor
		}
		add := func(what string, st carrier.State) {
			all = append(all, setting{what: inputs + ", " + what, State: st, pins: pins})
		}
		low, high := on, on
		high.BiasUp = out
		add("outputs biased low", low)
		add("outputs biased high", high)
		if loads {
			low.LoadOn, high.LoadOn, high.LoadUp = true, true, out
			add("outputs and inputs loaded low", low)
			low.Level, high.Level = on.Level, on.Level
			add("outputs loaded high, inputs low", high)
		}
	}
	// Every other gate's inputs high: where two outputs touch, they differ.
	against, highs := on, []int{}
	for i, g := range s.gates() {
		if i%2 == 0 {
			highs = append(highs, g...)
		}
	}
	against.Level = s.at(highs...)
	all = append(all, setting{what: "every other gate high", State: against, pins: s.outputs})
	// The first input of each gate released and the others held high, and no output watched.
	var free []int
	for _, g := range s.gates() {
		free = append(free, g[0])
	}
	st := on
	st.Driven, st.Level = in&^s.at(free...), in&^s.at(free...)
	all = append(all, setting{what: "inputs released and biased low", State: st, pins: free})
	st.BiasUp = in
	all = append(all, setting{what: "inputs released and biased high", State: st, pins: free})
	if loads {
		st.BiasUp, st.LoadOn = 0, true
		all = append(all, setting{what: "inputs released and loaded low", State: st, pins: free})
	}
	return all
}

// levels gives the inputs that are high when bit i of a number is the level of input i of each gate.
func (s seated) levels(bits int) (high []int) {
	for _, g := range s.gates() {
		for i, pin := range g {
			if bits>>i&1 != 0 {
				high = append(high, pin)
			}
		}
	}
	return high
}

// gates gives the inputs of each gate.
func (s seated) gates() (gates [][]int) {
	if len(s.Type.Variant.Gates) == 0 { // quadNAND
		return [][]int{{1, 2}, {4, 5}, {9, 10}, {12, 13}}
	}
	for _, g := range s.Type.Variant.Gates {
		var in []int
		for _, pin := range g.Pins {
			if slices.Contains(s.inputs, pin) {
				in = append(in, pin)
			}
		}
		gates = append(gates, in)
	}
	return gates
}

// apply sets a virtual socket as a state says.
func apply(s *Socket, st carrier.State) {
	s.Pull(BiasPull, st.BiasOn, adapter.Word(st.BiasUp))
	s.Pull(LoadPull, st.LoadOn, adapter.Word(st.LoadUp))
	s.Supply(adapter.Word(st.High), adapter.Word(st.Low))
	s.Drive(adapter.Word(st.Driven), adapter.Word(st.Level))
	s.Convert(0) // lets the supply follow
}

// spiceStates gives the settings as changes to the sources of a deck that is written for the first.
func spiceStates(settings []setting) (states []spiceState) {
	bit := func(is bool) int {
		if is {
			return 1
		}
		return 0
	}
	was := settings[0].Outputs()
	for _, s := range settings {
		var state spiceState
		now := s.Outputs()
		for _, net := range carrier.SpiceNodes() {
			if now[net] == was[net] {
				continue
			}
			state = append(state, fmt.Sprintf("Vdrive_%s=%d", net, bit(now[net] != carrier.Released)),
				fmt.Sprintf("Vlevel_%s=%d", net, bit(now[net] == carrier.HighLevel)))
		}
		was = now
		states = append(states, state)
	}
	return states
}

// nearHalf is the carrier without its far half, to which no chip here reaches.
var nearHalf = carrier.New().Fitted(carrier.Load, carrier.Switches)

// socketDeck is the carrier with a chip of transistors in its socket.
func (m *modelled) socketDeck(t *testing.T, c *Chip, at corner, st carrier.State) string {
	t.Helper()
	var b strings.Builder
	if err := nearHalf.WriteDeck(&b, st, carrier.Operating{USB: at.usb}); err != nil {
		t.Fatal(err)
	}
	name := func(pin int) string { return carrier.LaneAt(c.position(pin)).Name }
	deck := unsensed(b.String())
	b.Reset()
	b.WriteString(deck + include(t, m.file) + "Xchip")
	for pin := range c.pads {
		if c.pads[pin].bonded || c.role(pin+1) == part.NoConnect {
			fmt.Fprintf(&b, " %s", name(pin+1))
		} else {
			fmt.Fprintf(&b, " bond%d", pin+1)
		}
	}
	fmt.Fprintf(&b, " %s %s\n", m.chip, m.params(at))
	for i, d := range c.Defects {
		switch d.Kind {
		case ResistiveShort:
			fmt.Fprintf(&b, "Rdefect%d %s %s %g\n", i, name(d.Pin), name(d.Other), d.Amount)
		case Shorted:
			fmt.Fprintf(&b, "Rdefect%d %s %s 1m\n", i, name(d.Pin), name(d.Other))
		case Leaky:
			fmt.Fprintf(&b, "Rdefect%d %s %s %g\n", i, name(d.Pin), name(c.Type.Variant.GND()), 5000/d.Amount)
		}
	}
	return b.String()
}

// unsensed leaves out what the deck has at the lines that only read: 50 MΩ behind 4.7 kΩ, and a quarter of its time.
func unsensed(deck string) string {
	var b strings.Builder
	for line := range strings.Lines(deck) {
		if !sensing.MatchString(line) {
			b.WriteString(line)
		}
	}
	return b.String()
}

var sensing = regexp.MustCompile(`^(Xpin|Vdrive|Vlevel)_P[FK]\d `)

// With each chip in its socket the virtual adapter is at every pin within 50 mV or 5 % of what ngspice
// finds for transistors on the carrier's netlist, in every state of the assay and at its corners. What is
// left out is stated beside it.
func TestVirtualSocketAgainstTransistors(t *testing.T) {
	for _, m := range modelledChips {
		t.Run(m.chip, func(t *testing.T) {
			t.Parallel()
			for _, at := range m.corners {
				m.follow(t, at)
			}
		})
	}
}

// positionVectors are ngspice's names of the socket's positions.
func positionVectors() (vectors []string) {
	for p := 1; p <= adapter.Positions; p++ {
		vectors = append(vectors, "v("+strings.ToLower(carrier.LaneAt(p).Name)+")")
	}
	return vectors
}

// follow takes a chip through the states of an assay in the virtual socket and in ngspice.
func (m *modelled) follow(t *testing.T, at corner, defects ...string) {
	chip := m.make(t, at, defects...)
	s := seat(chip)
	settings := s.beforePower()
	if !m.before {
		settings = append(settings, s.powered(!m.noLoads)...)
	}
	board := NewBoard()
	board.USB(at.usb)
	if which := slices.Index(m.corners, at); which > 0 { // every other state, at the other corner the rest
		var half []setting
		for i := which % 2; i < len(settings); i += 2 {
			half = append(half, settings[i])
		}
		settings = half
	}
	socket := board.Socket(chip, 1)
	points := operate(t, m.socketDeck(t, chip, at, settings[0].State), spiceStates(settings), positionVectors())
	for i, set := range settings {
		apply(socket, set.State)
		m.compare(t, fmt.Sprintf("%v %v: %s", at, defects, set.what), socket, set, points[i])
		if set.High != 0 { // off again before the next
			apply(socket, carrier.State{})
		}
	}
}

// Chips with broken wires, leaks and shorts likewise. A first order, and left out: a bipolar
// chip whose ground is open, or a 74LS00's supply, and one that feeds back to an input between the levels.
func TestDefectsAgainstTransistors(t *testing.T) {
	for chip, defects := range map[string][]string{
		"ttl_7400":  {"3 shorted to 6 220 ohms", "14 open"},
		"ls_74ls00": {"2 leaks 2 mA"},
		"hc_74hc00": {"7 open"},
	} {
		m := &modelledChips[slices.IndexFunc(modelledChips, func(m modelled) bool { return m.chip == chip })]
		t.Run(chip, func(t *testing.T) {
			t.Parallel()
			for _, defect := range defects {
				m.follow(t, m.corners[0], defect)
			}
		})
	}
}

func (m *modelled) compare(t *testing.T, what string, s *Socket, set setting, want map[string]float64) {
	for pin := 1; pin <= len(s.chip.pads); pin++ {
		if set.pins != nil && !slices.Contains(set.pins, pin) {
			continue
		}
		position := s.chip.position(pin)
		got, want := s.of[position].volts, want["v("+strings.ToLower(carrier.LaneAt(position).Name)+")"]
		if math.Abs(got-want) > max(0.05, 0.05*math.Abs(want), set.within) {
			t.Errorf("%s: pin %d is at %.3f V, ngspice says %.3f V", what, pin, got, want)
		}
	}
}
