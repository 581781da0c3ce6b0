package board

import "math"

// A Capsule is what copper is made of here: all points within Radius of the line
// from A to B. A disc has A = B.
type Capsule struct {
	A, B   Point
	Radius int // µm
}

func (t Track) shape() Capsule { return Capsule{t.From, t.To, t.Width / 2} }
func (v Via) shape() Capsule   { return Capsule{v.At, v.At, ViaDiameter / 2} }

// Centre is the middle of the capsule.
func (c Capsule) Centre() Point { return Point{(c.A.X + c.B.X) / 2, (c.A.Y + c.B.Y) / 2} }

// Gap is the distance between the edges of two capsules, µm; negative if they overlap.
func (c Capsule) Gap(d Capsule) float64 {
	return lineGap(c.A, c.B, d.A, d.B) - float64(c.Radius) - float64(d.Radius)
}

// lineGap is the distance between two straight lines, µm.
func lineGap(a, b, c, d Point) float64 {
	if cross(a, b, c)*cross(a, b, d) < 0 && cross(c, d, a)*cross(c, d, b) < 0 {
		return 0
	}
	return min(pointGap(a, c, d), pointGap(b, c, d), pointGap(c, a, b), pointGap(d, a, b))
}

// pointGap is the distance of p from the line a to b, µm.
func pointGap(p, a, b Point) float64 {
	dx, dy := float64(b.X-a.X), float64(b.Y-a.Y)
	px, py := float64(p.X-a.X), float64(p.Y-a.Y)
	if length := dx*dx + dy*dy; length > 0 {
		t := max(0, min(1, (px*dx+py*dy)/length))
		px, py = px-t*dx, py-t*dy
	}
	return math.Hypot(px, py)
}

// cross gives the side of the line a to b on which the point c is.
func cross(a, b, c Point) float64 {
	return float64(b.X-a.X)*float64(c.Y-a.Y) - float64(b.Y-a.Y)*float64(c.X-a.X)
}

// A Rect is a rectangle along the axes.
type Rect struct{ Min, Max Point }

func (r Rect) overlaps(s Rect) bool {
	return r.Min.X < s.Max.X && s.Min.X < r.Max.X && r.Min.Y < s.Max.Y && s.Min.Y < r.Max.Y
}

// placed turns and moves a rectangle with its part.
func (r Rect) placed(p Placement) Rect {
	a, b := r.Min.turn(p.Rotation), r.Max.turn(p.Rotation)
	return Rect{
		Point{min(a.X, b.X), min(a.Y, b.Y)}.plus(p.At),
		Point{max(a.X, b.X), max(a.Y, b.Y)}.plus(p.At),
	}
}

// inside reports whether a point is in a polygon.
func inside(p Point, outline []Point) bool {
	in := false
	for i, a := range outline {
		b := outline[(i+1)%len(outline)]
		if (a.Y > p.Y) != (b.Y > p.Y) {
			x := float64(a.X) + float64(p.Y-a.Y)*float64(b.X-a.X)/float64(b.Y-a.Y)
			if float64(p.X) < x {
				in = !in
			}
		}
	}
	return in
}
