package virtual

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
)

// carrierVectors are what is compared with ngspice: the positions, and the board's 5 V.
func carrierVectors() (vectors []string) {
	for p := 1; p <= adapter.Positions; p++ {
		vectors = append(vectors, "v("+strings.ToLower(carrier.LaneAt(p).Name)+")")
	}
	return append(vectors, "v(rail)", "v(supply)")
}

// With a resistor for a chip the socket is the carrier as ngspice solves it, at its corners and
// from ports of 4.75 to 5.25 V: driven, released, biased, loaded, supplied.
func TestSocketAgainstTheCarrierInNgspice(t *testing.T) {
	const supply, ground = 28, 8
	settings := []setting{
		{what: "nothing drives", State: carrier.State{BiasOn: true, BiasUp: 0x15552AAA}},
		{what: "both groups", State: carrier.State{BiasOn: true, BiasUp: 0x15552AAA, LoadOn: true, LoadUp: 0x33330F0F}},
		{what: "driven against loads", State: carrier.State{
			Driven: carrier.Word(1, 2, 13, 15, 28), Level: carrier.Word(1, 13, 28), BiasOn: true, BiasUp: carrier.Word(2), LoadOn: true, LoadUp: carrier.Word(2, 20)}},
		{what: "through the resistor", State: carrier.State{Driven: carrier.Word(28, 8), Level: carrier.Word(28), BiasOn: true}},
		{what: "against the ground switch", State: carrier.State{Driven: carrier.Word(28, 9), Level: carrier.Word(28, 9), Low: carrier.Word(8), BiasOn: true}},
		{what: "supplied", State: carrier.State{High: carrier.Word(28), Low: carrier.Word(8), Driven: carrier.Word(1, 2), Level: carrier.Word(1), BiasOn: true, BiasUp: carrier.AllPositions}},
		{what: "supplied elsewhere", State: carrier.State{High: carrier.Word(5), Low: carrier.Word(9), BiasOn: true}},
	}
	for _, c := range []struct {
		usb    float64
		corner int
		ohms   float64
		within float64
	}{
		{5, 0, 50, 0.01}, {5, 0, 23, 0.012}, {4.75, 0, 50, 0.01}, {4.75, -1, 23, 0.015}, {5.25, 1, 23, 0.015}, {5, -1, 1000, 0.01},
	} {
		var deck strings.Builder
		if err := carrier.New().WriteDeck(&deck, settings[0].State, carrier.Operating{USB: c.usb, Corner: c.corner}); err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&deck, "Rchip %s %s %g\n", carrier.LaneAt(supply).Name, carrier.LaneAt(ground).Name, c.ohms)
		points := operate(t, deck.String(), spiceStates(settings), carrierVectors())
		board := NewBoard()
		board.USB(c.usb)
		board.Corner(c.corner)
		s := board.SocketWith(Resistor{c.ohms, supply, ground}, 1)
		for i, set := range settings {
			apply(s, set.State)
			what := fmt.Sprintf("%g V, corner %d, %g Ω, %s", c.usb, c.corner, c.ohms, set.what)
			for p := 1; p <= adapter.Positions; p++ {
				if !s.of[p].floating {
					about(t, fmt.Sprintf("%s: position %d", what, p), s.of[p].volts, points[i]["v("+strings.ToLower(carrier.LaneAt(p).Name)+")"], c.within)
				}
			}
			about(t, what+": the board's 5 V", s.RailVolts(), points[i]["v(rail)"], c.within)
			about(t, what+": behind the shunt", float64(s.Convert(23))/4096*s.RailVolts(), min(points[i]["v(supply)"], s.RailVolts()*4095/4096), c.within)
			rail, behind := points[i]["v(rail)"], points[i]["v(supply)"]
			seen := float64(s.CurrentMicroamps()) / 1e6
			if amps := (rail - behind) / 0.2; math.Abs(seen-amps) > 0.002+0.01*amps { // fuse and shunt, 0.1 Ω each
				t.Errorf("%s: the monitor shows %.4f A, ngspice has %.4f A", what, seen, amps)
			}
		}
	}
}

// What design.md says of the supply, of heavy inputs and of released outputs. A chip's current is a resistor's
// of as many ohms as give it.
func TestFiguresOfTheDesign(t *testing.T) {
	for _, c := range []struct{ usb, mA, volts float64 }{{5, 90, 4.82}, {5, 200, 4.66}, {4.75, 90, 4.57}, {4.75, 200, 4.41}} {
		b := NewBoard()
		b.USB(c.usb)
		ground := 0.3 * c.mA / 1000 // of the low-side switch
		s := b.SocketWith(Resistor{(c.volts - ground) / c.mA * 1000, 28, 8}, 1)
		s.Supply(adapter.At(28), adapter.At(8))
		about(t, fmt.Sprintf("supply at %g mA from %g V", c.mA, c.usb), float64(s.Millivolts(28))/1000, c.volts, 0.035)
	}
	// Four unit loads, 6.4 mA at 0.4 V, are 4.3 V behind 609 Ω: here from a position at 4.95 V that is held high by 145 Ω,
	// through 590 Ω: 6.4 mA at 0.25 V and as little less with the voltage. Driven low through 145 Ω.
	s := NewBoard().SocketWith(Resistor{590, 1, 2}, 1)
	s.Drive(adapter.At(1, 2), adapter.At(2))
	driven := float64(s.Millivolts(1)) / 1000
	about(t, "four unit loads driven low", driven, 4.95*145/(145+735), 0.01)
	s.Pull(LoadPull, true, adapter.At(2)) // low at 1, as design.md has it: a tenth of it less
	about(t, "the same with the load held low", float64(s.Millivolts(1))/1000, driven*0.69/0.77, 0.03)
	// Driven high against the load at 4.5 V: 3.85 V with what is weakest.
	weak := NewBoard()
	weak.USB(4.5 + 0.048)
	weak.Corner(-1)
	s = weak.Socket(nil, 1)
	s.Pull(LoadPull, true, 0)
	s.Drive(adapter.At(3), adapter.At(3))
	if v := float64(s.Millivolts(3)) / 1000; v < 3.80 || v > 4.0 {
		t.Errorf("driven high against the load: %.3f V, want 3.85 V or a little more", v)
	}
	// A released output follows the bias to 4.49 V and 0.01 V, of 4.5 V.
	pull(s, allHigh, allOff)
	s.Drive(0, 0)
	if v := s.Millivolts(5); v < 4490 {
		t.Errorf("released, bias high: %d mV", v)
	}
	pull(s, allLow, allOff)
	if v := s.Millivolts(5); v > 10 {
		t.Errorf("released, bias low: %d mV", v)
	}
}

// A board with faults is the same netlist with the same faults in ngspice: what is open, joined, of
// another value, missing or the wrong way round. Transistors at half measure are first-order here: 60 mV.
func TestFaultsAgainstNgspice(t *testing.T) {
	const supply, ground, ohms = 28, 8, 470
	all := carrier.AllPositions
	settings := []setting{
		{what: "biased both ways", State: carrier.State{BiasOn: true, BiasUp: 0x15552AAA}},
		{what: "biased the other way", State: carrier.State{BiasOn: true, BiasUp: all &^ 0x15552AAA}},
		{what: "loaded against bias", State: carrier.State{BiasOn: true, BiasUp: 0x15552AAA, LoadOn: true, LoadUp: all &^ 0x15552AAA}},
		{what: "driven low", State: carrier.State{Driven: carrier.Word(3, 8, 5), BiasOn: true, BiasUp: all}},
		{what: "driven high", State: carrier.State{Driven: carrier.Word(3, 8, 28), Level: carrier.Word(3, 8, 28), LoadOn: true}},
		{what: "supplied", State: carrier.State{High: carrier.Word(28), Low: carrier.Word(8), Driven: carrier.Word(3, 4), Level: carrier.Word(3), BiasOn: true}},
		{what: "supplied at 5", State: carrier.State{High: carrier.Word(5), Low: carrier.Word(7), BiasOn: true, BiasUp: carrier.Word(7)}},
	}
	for _, c := range []struct {
		defect string
		within float64
	}{
		{"R303 open", 0.01}, {"R303 680 ohms", 0.01}, {"R403 short", 0.01}, {"R103 short", 0.01},
		{"L3 shorted to L4", 0.01}, {"PA2 shorted to PA3", 0.01}, {"PF2 shorted to PF3", 0.01}, {"U21 pin 2 shorted to pin 3", 0.01},
		{"L3 shorted to GND", 0.01}, {"L3 shorted to +5V", 0.01}, {"bias_L3 shorted to load_L3", 0.01},
		{"bias_L3 shorted to gate_L8", 0.02},
		{"Q108 missing", 0.01}, {"Q108 turned", 0.06}, {"Q108 pin 1 shorted to pin 2", 0.06}, {"Q108 pin 2 shorted to pin 3", 0.01}, {"Q108 pin 1 shorted to pin 3", 0.01},
		{"Q228 missing", 0.01}, {"Q228 turned", 0.06}, {"Q228 pin 1 shorted to pin 2", 0.06}, {"Q228 pin 2 shorted to pin 3", 0.01}, {"Q228 pin 1 shorted to pin 3", 0.02},
		{"R628 22000 ohms", 0.05}, {"R728 open", 0.01}, {"F1 2 ohms", 0.015}, {"PH5 shorted to PH6", 0.03}, {"R728 short", 0.01},
	} {
		board := damaged(t, c.defect)
		var deck strings.Builder
		if err := board.netlist.WriteDeck(&deck, settings[0].State, carrier.Operating{USB: 5}); err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&deck, "Rchip %s %s %d\n", carrier.LaneAt(supply).Name, carrier.LaneAt(ground).Name, ohms)
		for from, to := range board.joined { // what drives the one drives the other
			fmt.Fprintf(&deck, "Vjoin_%s %s %s 0\n", from, from, to)
		}
		points := operate(t, deck.String(), spiceStates(settings), carrierVectors())
		s := board.SocketWith(Resistor{ohms, supply, ground}, 1)
		for i, set := range settings {
			apply(s, set.State)
			for p := 1; p <= adapter.Positions; p++ {
				want := points[i]["v("+strings.ToLower(carrier.LaneAt(p).Name)+")"]
				if got := s.of[p].volts; !s.of[p].floating && math.Abs(got-want) > c.within {
					t.Errorf("%s, %s: position %d is at %.3f V, ngspice says %.3f V", c.defect, set.what, p, got, want)
				}
			}
		}
	}
}
