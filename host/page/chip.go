package page

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"chipassay/host/bench"
	"chipassay/host/explore"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// An explored chip is drawn from above, notch up, pin 1 top left. Measures are in the
// drawing's own units; at 360 px a unit is a little less than a CSS pixel. From the edge
// to the chip a row has a switch or a lamp, words, and the leg, which bears the level.
const (
	chipWidth  = 372
	chipTop    = 44 // of the first row: above it are the notch and the type
	rowHeight  = 58
	symbolX    = 20
	wordsX     = 104 // where the words end
	legX       = 108 // of the leg's outer edge
	legSize    = 26
	chipBodyX  = legX + legSize
	nameX      = chipBodyX + 7
	lineHeight = 15
	knobTravel = 15 // from H to open, and from open to L
)

// A liveChip is the drawing of an explored chip.
type liveChip struct {
	Width, Height      int
	BodyX, BodyWidth   int
	BodyHeight, Middle int
	Type, Alt          string
	Pins               []livePin
	Lamps              string // the resistors of the lamps; empty where there is none
}

// A livePin is one of its pins.
type livePin struct {
	Number  int
	Name    string
	Control bool // it is a signal
	Fixed   bool // a person does not set it
	Label   string

	Y               int // top of the row
	Hit             int // left edge of what is clicked
	Symbol          int // x of the centre of switch or lamp
	Words           int // x at which the words end, with their anchor
	Leg, LegMiddle  int
	NameX, NameSize int
	Anchor          string // of the words
	Inner           string // anchor of the name

	Switch  string // where it is: H, L, open; empty for none
	Knob    int    // its y in the row
	Lamp    *liveLamp
	Level   string // H L Z, a dash for between, a question mark, + or 0 for supplies
	Class   string // of the level
	Lines   []liveLine
	Differs bool
}

// A liveLine is a line of words at a pin.
type liveLine struct {
	Y      int
	Text   string
	Class  string
	CrossX int // where a mark of a difference is; 0 for none
}

// A liveLamp is the lamp at an output.
type liveLamp struct {
	Word, MA string
	Glow     string // opacity, 0 to 1
	Rays     string // a path
}

// rays are those of a lamp by its brightness in steps.
var rays = [explore.Steps + 1]string{
	"",
	"M-14 0h-3M14 0h3",
	"M-14 0h-4M14 0h4M-10 -10l-2 -2M10 -10l2 -2M-10 10l-2 2M10 10l2 2",
	"M-14 0h-5M14 0h5M-10 -10l-4 -4M10 -10l4 -4M-10 10l-4 4M10 10l4 4",
}

// liveChipOf draws an exploration.
func liveChipOf(e *bench.Explore) liveChip {
	v := e.Type.Variant
	rows := len(v.Pins) / 2
	c := liveChip{Width: chipWidth, BodyX: chipBodyX, BodyWidth: chipWidth - 2*chipBodyX, Middle: chipWidth / 2, Type: e.Type.Name()}
	c.BodyHeight = chipTop + rows*rowHeight + 2
	c.Height = c.BodyHeight + 8
	c.Alt = fmt.Sprintf("%s with %d pins, seen from above, notch at the top", e.Type.Name(), len(v.Pins))
	var ohms []string
	for _, p := range v.Pins {
		one := placed(p.Number, rows)
		one.Name, one.NameSize = p.Name, nameSize(p.Name)
		seen := e.State.Pin(p.Number)
		one.Control = p.Signal() || p.Drivable()
		one.Fixed = !slices.Contains(e.Settable, p.Number)
		switch {
		case !one.Control:
			one.supply(p, e)
		case seen == nil || !e.On:
			one.Label = fmt.Sprintf("Pin %d, %s: the supply is off", p.Number, p.Name)
		default:
			one.show(seen)
			if l := seen.Lamp; l != nil && !seen.Input && !slices.Contains(ohms, fmt.Sprintf("%.0f", l.Ohms)) {
				ohms = append(ohms, fmt.Sprintf("%.0f", l.Ohms))
			}
		}
		c.Pins = append(c.Pins, one)
	}
	c.Lamps = strings.Join(ohms, " or ")
	return c
}

// nameSize is the size of a pin's name, for which there is half of the body.
func nameSize(name string) int {
	switch n := len([]rune(name)); {
	case n <= 4:
		return 15
	case n <= 6:
		return 12
	}
	return 9
}

// placed is where the row of a pin is.
func placed(number, rows int) livePin {
	row, right := number-1, number > rows // down the left, then up the right
	if right {
		row = 2*rows - number
	}
	p := livePin{Number: number, Y: chipTop + row*rowHeight, Symbol: symbolX, Words: wordsX, Leg: legX, NameX: nameX, Anchor: "end", Inner: "start"}
	if right {
		p.Symbol, p.Words, p.Leg, p.NameX = chipWidth-symbolX, chipWidth-wordsX, chipWidth-chipBodyX, chipWidth-nameX
		p.Anchor, p.Inner = p.Inner, p.Anchor
	}
	if p.Hit = 1; right {
		p.Hit += chipWidth / 2
	}
	p.LegMiddle = p.Leg + legSize/2
	return p
}

// say adds a line of words.
func (p *livePin) say(class, format string, values ...any) {
	p.Lines = append(p.Lines, liveLine{Y: 20 + lineHeight*len(p.Lines), Class: class, Text: fmt.Sprintf(format, values...)})
}

// supply shows a pin that is no signal.
func (p *livePin) supply(of part.Pin, e *bench.Explore) {
	p.Label = fmt.Sprintf("Pin %d, %s", of.Number, of.Name)
	switch {
	case of.Role == part.Supply:
		p.Level, p.Class = "+", "supply"
		if e.On {
			p.say("volts", "%s", volts(e.State.SupplyVolts))
		}
		p.say("", "supply")
	case of.Role == part.Ground:
		p.Level, p.Class = "0", "supply"
		p.say("", "ground")
	default:
		p.Class = "none"
		p.say("", "%s", map[bool]string{true: "not used", false: "outside"}[of.Role == part.NoConnect])
	}
}

// levels are how a level is written on a leg, and its class.
var levels = map[explore.Level][2]string{
	explore.StandsHigh: {"H", "high"}, explore.StandsLow: {"L", "low"}, explore.Released: {"Z", "released"},
	explore.Between: {"–", "between"}, explore.Undefined: {"?", "undefined"},
}

// show shows what was seen at a signal pin.
func (p *livePin) show(s *explore.Pin) {
	p.Level, p.Class, p.Differs = levels[s.Seen][0], levels[s.Seen][1], s.Differs()
	p.say("volts", "%s", volts(s.Volts))
	switch s.Seen {
	case explore.Between, explore.Undefined:
		p.say("", "%v", s.Seen)
	case explore.Released:
		p.say("", "released")
	}
	if s.Input {
		p.input(s)
	} else {
		p.output(s)
	}
	p.Label = label(s, p.Fixed)
}

func (p *livePin) input(s *explore.Pin) {
	p.Switch = s.Drive.String()
	p.Knob = map[explore.Drive]int{explore.High: 0, explore.Open: knobTravel, explore.Low: 2 * knobTravel}[s.Drive]
	switch {
	case p.Fixed:
		p.say("", "held")
	case s.Takes != logic.X:
		p.say("strong", "acts as %s", explore.Letter(s.Takes))
	}
}

func (p *livePin) output(s *explore.Pin) {
	switch {
	case s.Differs():
		p.say("differs", "sheet %s", explore.Letter(s.Expected))
		const cross = 51 // beyond the words
		p.Lines[len(p.Lines)-1].CrossX = p.Words - cross
		if p.Anchor == "start" {
			p.Lines[len(p.Lines)-1].CrossX = p.Words + cross
		}
	case s.Compared:
		p.say("", "sheet %s", explore.Letter(s.Expected))
	default:
		p.say("", "sheet ?")
	}
	if l := s.Lamp; l != nil {
		p.Lamp = &liveLamp{Word: l.Words(), MA: fmt.Sprintf("%.1f mA", l.MA), Glow: fmt.Sprintf("%.1f", l.Share), Rays: rays[l.Step()]}
	}
}

// label says all that is shown of a pin.
func label(s *explore.Pin, fixed bool) string {
	words := fmt.Sprintf("Pin %d, %s, ", s.Number, s.Name)
	seen := s.Seen.String() // as it stands
	if !math.IsNaN(s.Volts) {
		seen += ", " + volts(s.Volts)
	}
	switch {
	case !s.Input:
		words += "output: " + seen
		if s.Compared {
			words += "; the data sheet gives " + explore.Letter(s.Expected)
		} else {
			words += "; the data sheet's level is not known now"
		}
		if s.Differs() {
			words += ": a difference"
		}
		if s.Lamp != nil {
			words += fmt.Sprintf("; lamp %s, %.1f mA", s.Lamp.Words(), s.Lamp.MA)
		}
		return words
	case fixed:
		words += "input, held " + s.Drive.String() + ": " + seen
	case s.Drive == explore.Open:
		words += "input, open: " + seen
	default:
		words += "input, driven " + s.Drive.String() + ": " + seen
	}
	if s.Takes != logic.X {
		words += "; acts as " + explore.Letter(s.Takes)
	}
	return words
}

// volts prints V; a dash for what was not measured.
func volts(v float64) string {
	if math.IsNaN(v) {
		return "–"
	}
	return fmt.Sprintf("%.2f V", max(0, v))
}
