package board

import "fmt"

// A hole of a footprint, before the part is placed.
type footprintPad struct {
	Number        string
	At            Point
	Width, Height int // µm of the oval
	Drill         int // µm
}

func (h footprintPad) placed(p Placement) Capsule {
	w, h2 := h.Width, h.Height
	half := Point{(w - min(w, h2)) / 2, (h2 - min(w, h2)) / 2}
	at := h.At.turn(p.Rotation).plus(p.At)
	half = half.turn(p.Rotation)
	return Capsule{Point{at.X - half.X, at.Y - half.Y}, at.plus(half), min(w, h2) / 2}
}

// A footprint is the holes of a part and the room that it takes, seen from the
// top, pin 1 at the origin.
type footprint struct {
	Pads  []footprintPad
	Extra map[string]bool // pads that carry no pin of the netlist
	Body  []Rect          // no two parts' bodies overlap
	Round bool            // drawn as a circle
}

// row is pads in a line from the origin.
func row(count int, step Point, width, height, drill int) []footprintPad {
	var pads []footprintPad
	for i := range count {
		pads = append(pads, footprintPad{fmt.Sprint(i + 1), Point{i * step.X, i * step.Y}, width, height, drill})
	}
	return pads
}

func box(x0, y0, x1, y1 int) []Rect { return []Rect{{Point{x0, y0}, Point{x1, y1}}} }

const pitch = 2540 // µm: 0.1 inch

// footprints by the netlist's names. Sizes after the footprint library of an open
// board editor (Debian's kicad-footprints 6.0); pads are ovals, so that a track
// fits between two, and the capacitor's and resistor's bodies are as large as the
// parts' names say.
var footprints = map[string]footprint{
	"Resistor_THT:R_Axial_DIN0207_L6.3mm_D2.5mm_P7.62mm_Horizontal": {
		Pads: row(2, Point{7620, 0}, 1900, 1350, 800), Body: box(-950, -1250, 8570, 1250),
	},
	"Capacitor_THT:C_Disc_D5.0mm_W2.5mm_P5.00mm": {
		Pads: row(2, Point{5000, 0}, 1600, 1600, 800), Body: box(-800, -1250, 5800, 1250),
	},
	"Capacitor_THT:CP_Radial_D5.0mm_P2.50mm": {
		Pads: row(2, Point{2500, 0}, 1500, 1500, 800), Body: box(-1300, -2550, 3800, 2550), Round: true,
	},
	"Package_DIP:DIP-16_W7.62mm_Socket": {Pads: dip(16, 7620, 1900, 1350, 800), Body: box(-1500, -1270, 9120, 19050)},
	"Package_TO_SOT_THT:TO-92_Inline": {
		Pads: row(3, Point{1270, 0}, 1020, 1500, 700), Body: box(-1360, -2550, 3900, 1800),
	},
	"LED_THT:LED_D3.0mm": {Pads: row(2, Point{2540, 0}, 1800, 1800, 900), Body: box(-1150, -2000, 3690, 2000), Round: true},
	"Button_Switch_THT:SW_PUSH_6mm": {
		Pads: []footprintPad{
			{"1", Point{0, 0}, 2000, 2000, 1100}, {"1", Point{6500, 0}, 2000, 2000, 1100},
			{"2", Point{0, 4500}, 2000, 2000, 1100}, {"2", Point{6500, 4500}, 2000, 2000, 1100},
		},
		Body: box(-1250, -1250, 7750, 5750),
	},
	"Connector_PinHeader_2.54mm:PinHeader_1x03_P2.54mm_Vertical": {
		Pads: row(3, Point{0, pitch}, 1900, 1500, 1000), Body: box(-1270, -1270, 1270, 2*pitch+1270),
	},
	"Connector_PinHeader_2.54mm:PinHeader_1x15_P2.54mm_Vertical": {
		Pads: row(15, Point{0, pitch}, 1900, 1500, 1000), Body: box(-1270, -1270, 1270, 14*pitch+1270),
	},
	"carrier:Fuse_Radial_P5.08mm": {Pads: row(2, Point{5080, 0}, 1800, 1800, 900), Body: box(-1500, -1600, 6580, 1600)},
	// The usual module of this monitor: 25.5 x 22.3 mm, its header 2 mm from an edge. From memory.
	"carrier:Monitor_1x06_P2.54mm":  {Pads: row(6, Point{pitch, 0}, 1600, 1900, 1000), Body: box(-6500, -2000, 19200, 20500)},
	"carrier:ZIF_28_W7.62_W15.24mm": zif(),
	"carrier:ATmega2560_Board":      mcuBoard(),
}

// dip is a dual in-line package: pins down the left, up the right.
func dip(count, across, width, height, drill int) []footprintPad {
	var pads []footprintPad
	for i := range count {
		at := Point{0, i * pitch}
		if i >= count/2 {
			at = Point{across, (count - 1 - i) * pitch}
		}
		pads = append(pads, footprintPad{fmt.Sprint(i + 1), at, width, height, drill})
	}
	return pads
}

// zif is the socket. Those for both widths of chip come with their own pins 7.62
// or 15.24 mm apart (common practice), so each position has a hole for either.
// The origin is position 1 of the wide one. The body and the lever beyond its end
// follow the library's 15.24 mm socket, widened to 24.4 mm; the lever hangs over
// the edge of the board.
func zif() footprint {
	wide, narrow := dip(28, 15240, 1900, 1500, 1050), dip(28, 7620, 1900, 1500, 1050)
	for i := range narrow {
		narrow[i].At.X += (15240 - 7620) / 2
	}
	return footprint{
		Pads: append(wide, narrow...),
		Body: []Rect{{Point{-4580, -11100}, Point{19820, 40400}}, {Point{-5500, -23400}, Point{100, -11100}}},
	}
}

// mcuBoard is the headers of the common ATmega2560 board, from the template of
// that shape in Debian's kicad-templates 6.0. The origin is its top left corner.
// Its bodies are its headers, and its USB and supply jacks, which reach up to the
// carrier: nothing may be soldered over them.
func mcuBoard() footprint {
	f := footprint{Extra: map[string]bool{}}
	header := func(at, step Point, labels ...string) {
		for i, label := range labels {
			if label == "" {
				label = fmt.Sprintf("NC-%d", len(f.Extra)+1)
				f.Extra[label] = true
			}
			f.Pads = append(f.Pads, footprintPad{label, Point{at.X + i*step.X, at.Y + i*step.Y}, 1600, 1600, 1000})
		}
		end := Point{at.X + (len(labels)-1)*step.X, at.Y + (len(labels)-1)*step.Y}
		f.Body = append(f.Body, box(min(at.X, end.X)-1270, min(at.Y, end.Y)-1270, max(at.X, end.X)+1270, max(at.Y, end.Y)+1270)...)
	}
	right, down := Point{pitch, 0}, Point{0, pitch}
	header(Point{18796, 2540}, right, "", "", "", "GND-3", "13", "12", "11", "10", "9", "8") // clock, data and AREF first
	header(Point{45720, 2540}, right, "7", "6", "5", "4", "3", "2", "1", "0")                // 160 mil from its neighbour
	header(Point{68580, 2540}, right, "14", "15", "16", "17", "18", "19", "20", "21")
	header(Point{27940, 50800}, right, "", "", "RESET", "", "5V-1", "GND-1", "GND-2", "") // not used: IOREF, 3.3 V, VIN
	header(Point{50800, 50800}, right, "A0", "A1", "A2", "A3", "A4", "A5", "A6", "A7")
	header(Point{73660, 50800}, right, "A8", "A9", "A10", "A11", "A12", "A13", "A14", "A15")
	even, odd := []string{"5V-2"}, []string{"5V-3"}
	for pin := 22; pin < 54; pin += 2 {
		even, odd = append(even, fmt.Sprint(pin)), append(odd, fmt.Sprint(pin+1))
	}
	header(Point{93980, 2540}, down, append(even, "GND-4")...)
	header(Point{96520, 2540}, down, append(odd, "GND-5")...)
	f.Body = append(f.Body, mcuJacks...)
	return f
}

// mcuJacks are the USB and the supply jack of the microcontroller's board.
var mcuJacks = []Rect{
	{Point{-6350, 9525}, Point{9525, 20955}},
	{Point{-1905, 41275}, Point{11430, 50165}},
}
