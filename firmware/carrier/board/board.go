// Package board is the printed board of the carrier: where each part of the
// netlist is placed, and the copper that joins the pins. placement.txt is written by
// hand, and ./route makes routes.txt from it; both are committed. The package
// compares the copper with the netlist, checks the design rules, and writes what
// a board house needs (RS-274X, Excellon) and pictures.
//
// Four layers: signals on top and bottom, between them a plane of ground and a
// plane of +5V with an island of SUPPLY around the socket. A supply pin needs no
// track: it connects to its plane in the hole.
//
// The microcontroller's board hangs below, its headers' pins through the carrier,
// and its USB and supply jacks at the left edge.
//
// All lengths are whole micrometres; x goes right and y down from the top left
// corner, seen from the top.
package board

import (
	_ "embed"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"chipassay/firmware/carrier"
)

// A Point is a place on the board, µm.
type Point struct{ X, Y int }

func (p Point) plus(q Point) Point { return Point{p.X + q.X, p.Y + q.Y} }

// turn turns a point about the origin, counter-clockwise as one sees it.
func (p Point) turn(degrees int) Point {
	switch degrees {
	case 90:
		return Point{p.Y, -p.X}
	case 180:
		return Point{-p.X, -p.Y}
	case 270:
		return Point{-p.Y, p.X}
	}
	return p
}

// A Layer is one of the four of copper, from the top.
type Layer int

const (
	Top Layer = iota
	Inner1
	Inner2
	Bottom
)

var layerNames = [...]string{"top", "inner1", "inner2", "bottom"}

func (l Layer) String() string { return layerNames[l] }

// A Placement says where pin 1 of a part is and how far the part is turned.
type Placement struct {
	Ref      string
	At       Point
	Rotation int // degrees, counter-clockwise: 0, 90, 180, 270
}

// A Track is a straight piece of copper with round ends.
type Track struct {
	Net      string
	Layer    Layer
	Width    int // µm
	From, To Point
}

// A Via joins top and bottom.
type Via struct {
	Net string
	At  Point
}

// A Zone is an area of an inner layer that is filled with one net's copper.
type Zone struct {
	Net     string
	Layer   Layer
	Outline []Point
}

// A Hole is drilled and not plated, for a screw.
type Hole struct {
	At       Point
	Diameter int // µm
}

// A Board is all that is on it.
type Board struct {
	Size       Point // µm
	Holes      []Hole
	Placements []Placement
	Zones      []Zone
	Tracks     []Track
	Vias       []Via
	Pads       []Pad // of the placed parts, with the netlist's nets

	parts  map[string]*carrier.Part // by reference
	shapes map[string]footprint     // likewise
}

// A Pad is a plated hole of a placed part.
type Pad struct {
	Ref, Number string
	Net         string // empty: joined to nothing
	Shape       Capsule
	Drill       int // µm
}

// Name is the pad as a person writes it.
func (p Pad) Name() string { return p.Ref + "." + p.Number }

//go:embed placement.txt
var placementText string

//go:embed routes.txt
var routesText string

// Committed gives the board as committed, with the pads that the netlist asks for.
func Committed(n *carrier.Netlist) (*Board, error) {
	b, err := Placed(n)
	if err != nil {
		return nil, err
	}
	if err := b.read(routesText); err != nil {
		return nil, fmt.Errorf("routes.txt: %w", err)
	}
	return b, nil
}

// Placed gives the committed board without its tracks and vias.
func Placed(n *carrier.Netlist) (*Board, error) {
	b := &Board{}
	if err := b.read(placementText); err != nil {
		return nil, fmt.Errorf("placement.txt: %w", err)
	}
	return b, b.addPads(n)
}

// read adds what a text says: one thing a line, in millimetres; # begins a comment.
func (b *Board) read(text string) error {
	for i, line := range strings.Split(text, "\n") {
		line, _, _ = strings.Cut(line, "#")
		words := strings.Fields(line)
		if len(words) == 0 {
			continue
		}
		if err := b.readLine(words); err != nil {
			return fmt.Errorf("line %d: %w", i+1, err)
		}
	}
	return nil
}

func (b *Board) readLine(words []string) error {
	kind, names, numbers := words[0], []string{}, []int{}
	for _, w := range words[1:] {
		mm, err := strconv.ParseFloat(w, 64)
		if err != nil {
			names = append(names, w)
			continue
		}
		numbers = append(numbers, int(math.Round(mm*1000)))
	}
	points := func(from int) []Point {
		var all []Point
		for i := from; i+1 < len(numbers); i += 2 {
			all = append(all, Point{numbers[i], numbers[i+1]})
		}
		return all
	}
	var layer Layer
	if len(names) > 1 {
		at := slices.Index(layerNames[:], names[1])
		if at < 0 {
			return fmt.Errorf("no layer %q", names[1])
		}
		layer = Layer(at)
	}
	switch {
	case kind == "size" && len(numbers) == 2:
		b.Size = points(0)[0]
	case kind == "hole" && len(numbers) == 3:
		b.Holes = append(b.Holes, Hole{points(0)[0], numbers[2]})
	case kind == "place" && len(names) == 1 && len(numbers) == 3:
		b.Placements = append(b.Placements, Placement{names[0], points(0)[0], numbers[2] / 1000})
	case kind == "zone" && len(names) == 2 && len(numbers) >= 6:
		b.Zones = append(b.Zones, Zone{names[0], layer, points(0)})
	case kind == "track" && len(names) == 2 && len(numbers) == 5:
		p := points(1)
		b.Tracks = append(b.Tracks, Track{names[0], layer, numbers[0], p[0], p[1]})
	case kind == "via" && len(names) == 1 && len(numbers) == 2:
		b.Vias = append(b.Vias, Via{names[0], points(0)[0]})
	default:
		return fmt.Errorf("%q is not understood", strings.Join(words, " "))
	}
	return nil
}

// addPads puts the pads of every part of the netlist where the part is placed.
func (b *Board) addPads(n *carrier.Netlist) error {
	placed := map[string]bool{}
	b.parts, b.shapes = map[string]*carrier.Part{}, map[string]footprint{}
	for _, place := range b.Placements {
		part := n.Part(place.Ref)
		if part == nil || placed[place.Ref] {
			return fmt.Errorf("%s is placed twice or is not in the netlist", place.Ref)
		}
		placed[place.Ref] = true
		shape, ok := footprints[part.Footprint]
		if !ok {
			return fmt.Errorf("%s: no footprint %q", place.Ref, part.Footprint)
		}
		b.parts[place.Ref], b.shapes[place.Ref] = part, shape
		pins, used := map[string]string{}, map[string]bool{}
		for _, pin := range part.Pins {
			pins[pin.Number] = pin.Net
		}
		for _, hole := range shape.Pads {
			net, listed := pins[hole.Number]
			if !listed && !shape.Extra[hole.Number] {
				return fmt.Errorf("%s: the netlist has no pin %s", place.Ref, hole.Number)
			}
			used[hole.Number] = true
			b.Pads = append(b.Pads, Pad{place.Ref, hole.Number, net, hole.placed(place), hole.Drill})
		}
		for _, pin := range part.Pins {
			if !used[pin.Number] {
				return fmt.Errorf("%s: the footprint has no pad %s", place.Ref, pin.Number)
			}
		}
	}
	for _, part := range n.Parts {
		if !placed[part.Ref] {
			return fmt.Errorf("%s is not placed", part.Ref)
		}
	}
	return nil
}

func mm(um int) string { return strconv.FormatFloat(float64(um)/1000, 'f', 3, 64) }

// Routes writes tracks and vias as routes.txt has them.
func (b *Board) Routes() string {
	var s strings.Builder
	s.WriteString("# Made by ./route from placement.txt and the netlist; mm.\n" +
		"# track NET LAYER WIDTH FROM TO; via NET AT\n")
	for _, t := range b.Tracks {
		fmt.Fprintf(&s, "track %s %s %s %s %s %s %s\n", t.Net, t.Layer, mm(t.Width), mm(t.From.X), mm(t.From.Y), mm(t.To.X), mm(t.To.Y))
	}
	for _, v := range b.Vias {
		fmt.Fprintf(&s, "via %s %s %s\n", v.Net, mm(v.At.X), mm(v.At.Y))
	}
	return s.String()
}
