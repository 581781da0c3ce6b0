package board

import (
	"math"
	"slices"
	"strings"
	"testing"

	"chipassay/firmware/carrier"
)

func TestBoardHasNoFaults(t *testing.T) {
	for _, fault := range committed(t).Faults() {
		t.Error(fault)
	}
}

// A track that is not there must be missed, whichever it is.
func TestMissingTrackIsNoticed(t *testing.T) {
	for i := 0; i < len(committed(t).Tracks); i += 150 {
		b := committed(t)
		gone := b.Tracks[i]
		b.Tracks = slices.Delete(b.Tracks, i, i+1)
		if !slices.ContainsFunc(b.Differences(), func(d string) bool { return strings.HasPrefix(d, gone.Net+" is in ") }) {
			t.Errorf("track %d of %s may be missing: %v", i, gone.Net, b.Differences())
		}
	}
}

func TestOtherNetlistIsNoticed(t *testing.T) {
	n := carrier.New()
	u, v := n.Part("R305").Pin("1"), n.Part("R306").Pin("1")
	u.Net, v.Net = v.Net, u.Net
	b, err := Committed(n)
	if err != nil {
		t.Fatal(err)
	}
	for _, pad := range []string{"R305.1", "R306.1"} {
		if !slices.ContainsFunc(b.Differences(), func(d string) bool { return strings.HasPrefix(d, pad) }) {
			t.Errorf("%s is on another net and nobody says so", pad)
		}
	}
}

func TestPartsOfTheNetlistArePlaced(t *testing.T) {
	n := carrier.New()
	n.Parts = append(n.Parts, carrier.Part{Ref: "R999"})
	if _, err := Committed(n); err == nil || !strings.Contains(err.Error(), "R999 is not placed") {
		t.Error(err)
	}
	n = carrier.New()
	n.Part("U21").Pins = n.Part("U21").Pins[1:]
	if _, err := Committed(n); err == nil || !strings.Contains(err.Error(), "U21: the netlist has no pin 1") {
		t.Error(err)
	}
	n = carrier.New()
	n.Part("U21").Pins[0].Number = "17"
	if _, err := Committed(n); err == nil {
		t.Error("a pin without a pad is placed")
	}
}

func TestReadRefuses(t *testing.T) {
	for _, text := range []string{"track L1 top 0.25 1 2 3", "track L1 middle 0.25 1 2 3 4", "via L1", "place R1 1 2", "vai L1 2 3"} {
		if err := new(Board).read(text); err == nil {
			t.Errorf("%q is taken", text)
		}
	}
}

func TestRules(t *testing.T) {
	via := func(b *Board, net string, at Point) { b.Vias = append(b.Vias, Via{net, at}) }
	pad := func(b *Board, name string) *Pad {
		return &b.Pads[slices.IndexFunc(b.Pads, func(p Pad) bool { return p.Name() == name })]
	}
	move := func(b *Board, ref string, by Point) {
		for i := range b.Placements {
			if b.Placements[i].Ref == ref {
				b.Placements[i].At = b.Placements[i].At.plus(by)
			}
		}
	}
	for name, c := range map[string]struct {
		harm func(*Board)
		want string
	}{
		"clearance": {func(b *Board) { // 1.35 mm wide pad, 0.25 mm wide track: 0.19 mm between them
			at := pad(b, "R301.1").Shape.Centre().plus(Point{0, 675 + 125 + 190})
			b.Tracks = append(b.Tracks, Track{"x", Top, 250, at, at.plus(Point{200, 0})})
		}, "R301.1 (bias_L1) are 0.190 mm apart"},
		"width": {func(b *Board) { b.Tracks[7].Width = 240 }, "track 7 of"},
		"plane": {func(b *Board) { b.Tracks[7].Layer = Inner1 }, "is on a plane"},
		"spokes": {func(b *Board) { // vias to the left and to the right
			at := pad(b, "C31.2").Shape.Centre()
			via(b, "x", at.plus(Point{1500, 0}))
			via(b, "x", at.plus(Point{-1500, 0}))
			via(b, "x", at.plus(Point{0, 1500}))
		}, "C31.2 has 1 spokes"},
		"ring":       {func(b *Board) { pad(b, "U21.3").Drill = 1060 }, "U21.3 has too little copper"},
		"holes":      {func(b *Board) { via(b, "L1", pad(b, "X1.1").Shape.Centre().plus(Point{900, 0})) }, "are 0.200 mm apart"},
		"edge":       {func(b *Board) { via(b, "x", Point{840, 60000}) }, "is 0.490 mm from the edge"},
		"screw":      {func(b *Board) { via(b, "x", b.Holes[0].At.plus(Point{0, 3500})) }, "is under the head of screw 0"},
		"jack":       {func(b *Board) { via(b, "x", Point{4000, 95000}) }, "is over a jack"},
		"bodies":     {func(b *Board) { move(b, "C21", Point{1000, 0}); move(b, "R701", Point{-500, 0}) }, "R701 and C21 are in each other's way"},
		"over edge":  {func(b *Board) { move(b, "R301", Point{-3000, 0}) }, "R301 stands over the edge"},
		"under plug": {func(b *Board) { move(b, "S1", Point{0, -5000}) }, "S1 and A1 are in each other's way"},
		"on a screw": {func(b *Board) { move(b, "S1", Point{3000, -100000}) }, "S1 is in the way of screw 0"},
	} {
		b := committed(t)
		c.harm(b)
		if got := b.Violations(); !slices.ContainsFunc(got, func(v string) bool { return strings.Contains(v, c.want) }) {
			t.Errorf("%s: %q is not among %q", name, c.want, got)
		}
	}
}

// Distances by hand.
func TestGap(t *testing.T) {
	for _, c := range []struct {
		a, b Capsule
		want float64
	}{
		{disc(Point{0, 0}, 1000), disc(Point{3000, 4000}, 2000), 3500},                                           // 5 - 0.5 - 1
		{Capsule{Point{0, 0}, Point{10000, 0}, 100}, Capsule{Point{5000, 300}, Point{5000, 9000}, 100}, 100},     // T
		{Capsule{Point{0, 0}, Point{1000, 1000}, 100}, Capsule{Point{0, 1000}, Point{1000, 0}, 100}, -200},       // X
		{Capsule{Point{0, 0}, Point{1000, 0}, 100}, Capsule{Point{1000, 1000}, Point{2000, 2000}, 200}, 700},     // ends
		{Capsule{Point{0, 0}, Point{2000, 2000}, 0}, Capsule{Point{1000, 0}, Point{3000, 2000}, 0}, 707.1067812}, // slanting, side by side
	} {
		if got := c.a.Gap(c.b); math.Abs(got-c.want) > 1e-6 || got != c.b.Gap(c.a) {
			t.Errorf("%v and %v: %g, want %g", c.a, c.b, got, c.want)
		}
	}
}

// place gives the middle of a pad; of a socket position, of its wide row.
func place(t *testing.T, b *Board, ref, number string) Point {
	t.Helper()
	for _, p := range b.Pads {
		if p.Ref == ref && p.Number == number {
			return p.Shape.Centre()
		}
	}
	t.Fatalf("no pad %s.%s", ref, number)
	return Point{}
}

// The microcontroller's board in mils, as its makers' users know it: headers at a
// pitch of 100, 160 between pins 7 and 8, 1900 from the digital to the analog row,
// the double row at 3.7 and 3.8 inch with the even pins inside. From memory; the
// footprint itself is after another source.
func TestMicrocontrollerHeaders(t *testing.T) {
	b := committed(t)
	for _, c := range []struct {
		from, to string
		x, y     int // mil
	}{
		{"13", "8", 500, 0}, {"8", "7", 160, 0}, {"7", "0", 700, 0}, {"0", "14", 200, 0}, {"14", "21", 700, 0},
		{"GND-3", "13", 100, 0}, {"5V-1", "GND-1", 100, 0}, {"GND-1", "GND-2", 100, 0}, {"GND-2", "A0", 300, 0},
		{"A0", "A7", 700, 0}, {"A7", "A8", 200, 0}, {"A8", "A15", 700, 0}, {"7", "A0", 200, 1900},
		{"22", "23", 100, 0}, {"22", "52", 0, 1500}, {"5V-2", "22", 0, 100}, {"52", "GND-4", 0, 100},
		{"5V-2", "5V-3", 100, 0}, {"GND-4", "GND-5", 100, 0}, {"21", "5V-2", 300, 0},
	} {
		p, q := place(t, b, "A1", c.from), place(t, b, "A1", c.to)
		if q.X-p.X != c.x*254/10 || q.Y-p.Y != c.y*254/10 {
			t.Errorf("%s to %s: %g, %g mil; want %d, %d", c.from, c.to, float64(q.X-p.X)/25.4, float64(q.Y-p.Y)/25.4, c.x, c.y)
		}
	}
	if p := place(t, b, "A1", "22"); p.X != 3700*254/10 { // its left edge is the carrier's: the USB plug is free
		t.Errorf("pin 22 is %d µm from the left edge", p.X)
	}
}

// A socket for either width: rows 7.62 and 15.24 mm apart, 0.1 inch a position,
// position 1 at the lever's end on the left, 28 across from it.
func TestSocketRows(t *testing.T) {
	b := committed(t)
	rows := map[string][]Point{}
	for _, p := range b.Pads {
		if p.Ref == "X1" {
			rows[p.Number] = append(rows[p.Number], p.Shape.Centre())
		}
	}
	for i, across := range []int{15240, 7620} {
		for _, c := range []struct {
			from, to string
			x, y     int
		}{{"1", "28", across, 0}, {"1", "14", 0, 13 * 2540}, {"14", "15", across, 0}, {"28", "15", 0, 13 * 2540}} {
			p, q := rows[c.from][i], rows[c.to][i]
			if q.X-p.X != c.x || q.Y-p.Y != c.y {
				t.Errorf("%s to %s: %v", c.from, c.to, Point{q.X - p.X, q.Y - p.Y})
			}
		}
	}
}

// The capacitors at a high-side switch lie within 15 mm of the socket's pin, be it
// wide or narrow, and of the source of the position's low-side switch, or else of
// the nearest.
func TestCapacitorsAreNear(t *testing.T) {
	const limit = 15000 // µm
	b := committed(t)
	far := func(p, q Point) float64 { return math.Hypot(float64(p.X-q.X), float64(p.Y-q.Y)) }
	n := carrier.New()
	for _, l := range carrier.Lanes() {
		if l.High == "" {
			continue
		}
		var sources []Point
		for i := range n.Parts {
			q := &n.Parts[i]
			if q.Kind == carrier.NMOS && (q.Position == l.Position || l.Low == "") {
				sources = append(sources, place(t, b, q.Ref, "3"))
			}
		}
		for i := range n.Parts {
			c := &n.Parts[i]
			if c.Kind != carrier.Capacitor || c.Position != l.Position {
				continue
			}
			plus, minus := place(t, b, c.Ref, "1"), place(t, b, c.Ref, "2")
			for _, p := range b.Pads {
				if p.Ref == "X1" && p.Net == l.Name && far(plus, p.Shape.Centre()) > limit {
					t.Errorf("%s is %.1f mm from position %d", c.Ref, far(plus, p.Shape.Centre())/1000, l.Position)
				}
			}
			if !slices.ContainsFunc(sources, func(s Point) bool { return far(minus, s) <= limit }) {
				t.Errorf("%s is over 15 mm from the low side's source", c.Ref)
			}
		}
	}
}
