package sheet

import (
	"bytes"
	"fmt"
	"slices"

	"chipassay/firmware/carrier"
	"chipassay/firmware/carrier/draw"
)

// Schematic draws all sheets of the whole adapter, in the order in which one builds it.
func Schematic(n *carrier.Netlist) []*Sheet {
	s := func(group carrier.Group, name, title string) *Sheet { return newSheet(n, group, name, title) }
	sheets := []*Sheet{
		board(s(carrier.Starter, "starter-1", "Microcontroller board")),
		socket(s(carrier.Starter, "starter-2", "Socket, drive and sense")),
		registers(s(carrier.Starter, "starter-3", "Bias of the near half"), bias, "U21", "U22"),
		lowSide(s(carrier.Starter, "starter-4", "Low side")),
		supplies(s(carrier.Starter, "starter-5", "Supply and operator")),
		registers(s(carrier.Load, "load-1", "Load of the near half"), load, "U31", "U32"),
		farDrive(registers(s(carrier.FarHalf, "far-1", "Drive and bias of the far half"), bias, "U23", "U24")),
		registers(s(carrier.FarHalf, "far-2", "Load of the far half"), load, "U33", "U34"),
		moreLowSide(s(carrier.Switches, "switches-1", "Other low-side switches")),
		moreHighSide(s(carrier.Switches, "switches-2", "Other high-side switches")),
		converters(s(carrier.Converters, "converters-1", "Converters and reference")),
	}
	for i, sheet := range sheets {
		sheet.finish(i+1, len(sheets), func(net string) []int {
			var others []int
			for j, other := range sheets {
				if j != i && net != "GND" && net != "+5V" && slices.ContainsFunc(other.names, func(n netName) bool { return n.net == net }) {
					others = append(others, j+1)
				}
			}
			return others
		})
	}
	return sheets
}

// Files gives what one prints or looks at: an SVG a sheet, and a PDF of all.
func Files(n *carrier.Netlist) (map[string][]byte, error) {
	files := map[string][]byte{}
	var pages []*draw.Page
	for _, s := range Schematic(n) {
		files["schematic-"+s.Name+".svg"] = s.Page.SVG()
		pages = append(pages, s.Page)
	}
	var document bytes.Buffer
	if err := draw.PDF(&document, "chipassay adapter, revision B: schematic", pages...); err != nil {
		return nil, err
	}
	files["schematic.pdf"] = document.Bytes()
	return files, nil
}

// purposes says in words what the lines are for that do not belong to one position each.
var purposes = map[string]string{
	"PC6": "shift data", "PC7": "shift clock", "PJ0": "select converters",
	"PD7": "store low side", "PG0": "store bias", "PG1": "store load",
	"PB6": "enable low side", "PG2": "enable bias", "PG5": "enable load",
	"PJ1": "read back low side", "PD2": "read back bias", "PD3": "read back load",
	"PD0": "monitor clock", "PD1": "monitor data",
	"PE3": "lamp: ready", "PE4": "button", "PE5": "lamp: busy", "PB7": "lamp: power",
	"PE0": "serial line, to USB", "PE1": "serial line, to USB",
}

// purpose says what a line of the microcontroller is for.
func purpose(pin string) string {
	for _, l := range carrier.Lanes() {
		switch pin {
		case l.Drive:
			return "drive " + l.Name
		case l.Sense:
			return "sense " + l.Name
		case l.High:
			return "high side " + l.Name
		}
	}
	return purposes[pin]
}

// board is the microcontroller's board, pins in the order of its headers.
func board(s *Sheet) *Sheet {
	var lefts, rights side
	for i, pin := range s.part("A1").Pins {
		switch {
		case i < 22 || i >= 54 && i < 70 || pin.Name == "RESET": // 0 to 21, A0 to A15
			lefts = append(lefts, "#"+pin.Number)
		default:
			rights = append(rights, "#"+pin.Number)
		}
	}
	at := draw.Point{X: 106, Y: 17}
	s.caption("A1", at.Plus(0, -2.2), draw.Start)
	ends := s.circuit("A1", at, 85, 4.15, lefts, rights, nil, nil)
	for _, name := range lefts {
		s.boardLine(find(s.part("A1"), name), ends[name], false)
	}
	for _, name := range rights {
		s.boardLine(find(s.part("A1"), name), ends[name], true)
	}
	s.hint(draw.Point{X: 14, Y: 18}, draw.Start, "Numbers at the leads are the labels printed on the board.")
	s.hint(draw.Point{X: 14, Y: 21.2}, draw.Start, "Numbers behind flags: the other sheets of this net.")
	return s
}

func (s *Sheet) boardLine(pin *carrier.Pin, end draw.Point, rightward bool) {
	hint, anchor := end.Plus(22, 0.7), draw.Start
	if rightward {
		hint, anchor = end.Plus(-22, 0.7), draw.End
	}
	if pin.Net == "" {
		s.open(end)
	} else {
		s.flag(pin.Net, end, rightward)
	}
	s.hint(hint, anchor, purpose(pin.Name))
}

// socket is the socket with the headers beside it, and drive and sense of the near half.
func socket(s *Sheet) *Sheet {
	var lefts, rights side
	y := map[string]float64{}
	at := draw.Point{X: 132, Y: 20}
	for row := 1; row <= 14; row++ {
		lefts, rights = append(lefts, fmt.Sprintf("L%d", row)), append(rights, fmt.Sprintf("R%d", row))
		if row <= 8 { // two rows each, for drive and sense
			lefts, rights = append(lefts, ""), append(rights, "")
		}
	}
	s.caption("X1", at.Plus(16.5, -2), draw.Middle)
	ends := s.circuit("X1", at, 33, 7.2, lefts, rights, nil, nil)
	s.Page.Circle(draw.Style{Stroke: "#000000", Width: 0.5}, at.Plus(16.5, 6), 3) // the lever
	s.hint(at.Plus(16.5, 11.6), draw.Middle, "lever end")
	for name, end := range ends {
		y[name] = end.Y
	}
	for _, l := range carrier.Lanes() {
		if l.Near() {
			s.lane(l, ends[l.Name], 7.2)
		} else {
			s.flag(l.Name, ends[l.Name], !l.Left())
		}
	}
	s.sideHeader("X2", draw.Point{X: 22, Y: 30}, true)
	s.sideHeader("X3", draw.Point{X: 257, Y: 30}, false)
	return s
}

// lane is drive and sense of one position, to the left or to the right of the socket.
func (s *Sheet) lane(l carrier.Lane, pin draw.Point, pitch float64) {
	drive, sense := fmt.Sprintf("R1%02d", l.Position), fmt.Sprintf("R2%02d", l.Position)
	d := right
	if !l.Left() {
		d = left
	}
	out := func(far, side float64) draw.Point { return pin.Plus(-d.x*far, side) }
	s.flag(s.net(drive, "1"), out(36, 0), !l.Left())
	end := s.resistor(drive, out(36, 0), d)
	node := out(12, 0)
	s.wire(end, node, pin)
	s.name(l.Name, out(6, 0))
	s.flag(s.net(sense, "2"), out(36, pitch), !l.Left())
	back := direction{-d.x, 0}
	s.resistor(sense, out(22, pitch), back)
	s.wire(node, node.Plus(0, pitch), out(22, pitch))
}

// sideHeader is a column's pin header.
func (s *Sheet) sideHeader(ref string, at draw.Point, rightward bool) {
	var pins side
	for _, pin := range s.part(ref).Pins {
		pins = append(pins, pin.Name)
	}
	s.caption(ref, at.Plus(7, -2), draw.Middle)
	var ends map[string]draw.Point
	if rightward {
		ends = s.circuit(ref, at, 14, 7, nil, pins, nil, nil)
	} else {
		ends = s.circuit(ref, at, 14, 7, pins, nil, nil, nil)
	}
	for _, name := range pins {
		s.flag(s.part(ref).Net(name), ends[name], rightward)
	}
}
