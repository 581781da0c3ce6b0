package carrier

import "fmt"

// addLowSide adds the lane's switch to ground, if it has one. Its gate is held low
// while the register's outputs are off.
func (n *Netlist) addLowSide(l Lane) {
	if l.Low == "" {
		return
	}
	g := l.switches(false)
	r := plainResistor(fmt.Sprintf("R5%02d", l.Position), gateDown, g, l.GateNet(), netGround)
	r.Position = l.Position
	n.add(Part{
		Ref: fmt.Sprintf("Q1%02d", l.Position), Kind: NMOS, Value: "logic-level NMOS", Ohms: 0.45, Group: g, Position: l.Position,
		Rating:      "0.45 Ω or less at 5 V on the gate, 20 V, 1 A",
		Description: "N-channel MOSFET, logic level, 0.45 Ω or less at VGS 5 V, in-line package with drain, gate, source in this order",
		Footprint:   "Package_TO_SOT_THT:TO-92_Inline",
		Pins:        []Pin{{"1", "D", l.Name, Passive}, {"2", "G", l.GateNet(), Input}, {"3", "S", netGround, Passive}},
	}, r)
}

// addHighSide adds the lane's switch to the supply, if it has one, with the
// capacitors at its emitter, 15 mm from the socket pin at most.
func (n *Netlist) addHighSide(l Lane) {
	if l.High == "" {
		return
	}
	g, at := l.switches(true), l.Position
	parts := []Part{
		{
			Ref: fmt.Sprintf("Q2%02d", at), Kind: PNP, Value: "low-saturation PNP", Group: g,
			Rating:      "0.15 V at 0.5 A class, current gain 200 or more at 0.3 A, 20 V, 1 A",
			Description: "PNP transistor, low saturation, current gain 200 or more at 0.3 A, in-line package with collector, base, emitter in this order",
			Footprint:   "Package_TO_SOT_THT:TO-92_Inline",
			Pins:        []Pin{{"1", "C", l.Name, Passive}, {"2", "B", l.BaseNet(), Input}, {"3", "E", netSupply, Passive}},
		},
		plainResistor(fmt.Sprintf("R6%02d", at), base, g, l.High, l.BaseNet()),
		plainResistor(fmt.Sprintf("R7%02d", at), baseUp, g, netSupply, l.BaseNet()),
		decoupling(fmt.Sprintf("C1%02d", at), g, netSupply),
		capacitor(fmt.Sprintf("C2%02d", at), "10 µF", 10e-6, g, netSupply, netGround),
	}
	for i := range parts {
		parts[i].Position = at
	}
	n.add(parts...)
}

// addSupply adds what is between the board's 5 V and the emitters.
func (n *Netlist) addSupply() {
	n.add(
		Part{
			Ref: "F1", Kind: Fuse, Value: "0.9 A hold", Rating: "0.9 A hold, 1.8 A trip, 6 V or more",
			Ohms:        0.1, // when cold; 0.07 to 0.18 in the data sheets, from memory
			Description: "fuse, resettable (polymer), 0.9 A hold, radial", Footprint: "carrier:Fuse_Radial_P5.08mm",
			Pins: []Pin{{"1", "1", netRail, Passive}, {"2", "2", netFused, PowerOut}},
		},
		Part{
			Ref: "U51", Kind: Monitor, Value: "current monitor, 0.1 Ω", Ohms: 0.1, TolerancePercent: 1,
			Rating:      "0.4 A full scale",
			Description: "I2C current monitor module, INA219, shunt 0.1 Ω, address 0x40, with the bus's pull-ups and its capacitor on it",
			Footprint:   "carrier:Monitor_1x06_P2.54mm",
			Pins: []Pin{
				{"1", "VCC", netRail, PowerIn},
				{"2", "GND", netGround, PowerIn},
				{"3", "SCL", lineMonitorClock, OpenDrain},
				{"4", "SDA", lineMonitorData, OpenDrain},
				{"5", "VIN-", netSupply, PowerOut},
				{"6", "VIN+", netFused, PowerIn},
			},
		},
	)
}

// converter is an MCP3208 with the nets of its eight channels.
func converter(ref, out string, channels [8]string) Part {
	p := Part{
		Ref: ref, Kind: Converter, Value: "MCP3208", Group: Converters, Rating: "12 bit",
		Description: "MCP3208, 12-bit converter, 8 channels, SPI, DIP-16", Footprint: "Package_DIP:DIP-16_W7.62mm_Socket",
	}
	for i, net := range channels {
		p.Pins = append(p.Pins, Pin{fmt.Sprint(i + 1), fmt.Sprintf("CH%d", i), net, Input})
	}
	p.Pins = append(p.Pins,
		Pin{"9", "DGND", netGround, PowerIn},
		Pin{"10", "/CS", lineSelect, Input},
		Pin{"11", "DIN", lineData, Input},
		Pin{"12", "DOUT", out, TriState},
		Pin{"13", "CLK", lineClock, Input},
		Pin{"14", "AGND", netGround, PowerIn},
		Pin{"15", "VREF", netRail, PowerIn}, // counts are shares of the rail, as those of the microcontroller's converter are
		Pin{"16", "VDD", netRail, PowerIn},
	)
	return p
}

const netReference = "REF2V5"

// addConverters adds the far half's converters: channels 0 to 5 are the column's
// rows 9 to 14, channel 6 the reference, channel 7 of the first the supply.
func (n *Netlist) addConverters() {
	left, right := [8]string{}, [8]string{}
	for _, l := range lanes {
		for i := range 6 {
			switch l.Sense {
			case fmt.Sprintf("U41 CH%d", i):
				left[i] = l.SenseNet()
			case fmt.Sprintf("U42 CH%d", i):
				right[i] = l.SenseNet()
			}
		}
	}
	left[6], left[7] = netReference, netSupply
	right[6], right[7] = netReference, netGround
	n.add(
		converter("U41", lineBackBias, left), decoupling("C41", Converters, netRail),
		converter("U42", lineBackLoad, right), decoupling("C42", Converters, netRail),
		Part{
			Ref: "U43", Kind: Reference, Value: "2.500 V", TolerancePercent: 0.5, Group: Converters, Rating: "0.5 %, 0.4 to 10 mA",
			Description: "2.500 V shunt reference, 0.5 % or better, TO-92 (LM4040-2.5)", Footprint: "Package_TO_SOT_THT:TO-92_Inline",
			Pins: []Pin{{"1", "NC", "", Unused}, {"2", "K", netReference, PowerOut}, {"3", "A", netGround, Passive}},
		},
		plainResistor("R831", shunted, Converters, netRail, netReference),
		decoupling("C43", Converters, netReference),
		plainResistor("R814", pullUp, Converters, netRail, lineSelect),
	)
}

// addOperator adds the button and the lamps.
func (n *Netlist) addOperator() {
	for i, l := range []struct{ line, colour, means string }{
		{lineReady, "green", "ready"}, {lineBusy, "yellow", "busy"}, {linePower, "red", "power on the socket"},
	} {
		net := "lamp_" + l.line
		n.add(
			plainResistor(fmt.Sprintf("R80%d", i+1), lamp, Starter, l.line, net),
			Part{
				Ref: fmt.Sprintf("D%d", i+1), Kind: LED, Value: l.colour + ", " + l.means, Rating: "3 mA",
				Description: "LED, " + l.colour + ", 3 mm, bright at 3 mA", Footprint: "LED_THT:LED_D3.0mm",
				Pins: []Pin{{"1", "K", netGround, Passive}, {"2", "A", net, Passive}},
			})
	}
	n.add(Part{
		Ref: "S1", Kind: Button, Value: "start", Rating: "5 V", Description: "push button, normally open, 6 x 6 mm",
		Footprint: "Button_Switch_THT:SW_PUSH_6mm",
		Pins:      []Pin{{"1", "1", lineButton, Passive}, {"2", "2", netGround, Passive}},
	})
}
