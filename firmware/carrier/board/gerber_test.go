package board

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// A bitmap is a layer as a plotter would expose it, 50 µm a point.
type bitmap struct {
	wide, high int
	dark       []bool
}

const dot = 50 // µm

// disc exposes all within a radius of the line from a to b; plot coordinates, µm.
func (m *bitmap) stroke(ax, ay, bx, by, radius float64, dark bool) {
	x0, x1 := int((min(ax, bx)-radius)/dot), int((max(ax, bx)+radius)/dot)+1
	y0, y1 := int((min(ay, by)-radius)/dot), int((max(ay, by)+radius)/dot)+1
	length := (bx-ax)*(bx-ax) + (by-ay)*(by-ay)
	for y := max(0, y0); y <= min(m.high-1, y1); y++ {
		for x := max(0, x0); x <= min(m.wide-1, x1); x++ {
			px, py := float64(x*dot), float64(y*dot)
			t := 0.0
			if length > 0 {
				t = max(0, min(1, ((px-ax)*(bx-ax)+(py-ay)*(by-ay))/length))
			}
			if math.Hypot(px-ax-t*(bx-ax), py-ay-t*(by-ay)) <= radius {
				m.dark[y*m.wide+x] = dark
			}
		}
	}
}

// fill exposes a polygon, line by line.
func (m *bitmap) fill(points [][2]float64, dark bool) {
	for y := range m.high {
		in := false
		crossings := map[int]int{}
		for i, a := range points {
			b := points[(i+1)%len(points)]
			at := float64(y*dot) + 0.5
			if (a[1] > at) != (b[1] > at) {
				crossings[int(math.Ceil((a[0]+(at-a[1])/(b[1]-a[1])*(b[0]-a[0]))/dot))]++
			}
		}
		for x := range m.wide {
			if crossings[x]%2 == 1 {
				in = !in
			}
			if in {
				m.dark[y*m.wide+x] = dark
			}
		}
	}
}

// expose reads a file as RS-274X says, as much of it as our files use.
func expose(t *testing.T, text string, wide, high int) *bitmap {
	m := &bitmap{wide: wide, high: high, dark: make([]bool, wide*high)}
	apertures := map[string][]float64{} // µm: width and height
	dark, area := true, false
	var x, y float64
	var tool []float64
	var outline [][2]float64
	for _, line := range strings.Split(text, "\n") {
		line = strings.Trim(line, "%*")
		switch {
		case line == "", strings.HasPrefix(line, "G04"), line == "G01", line == "M02", line == "MOMM", line == "FSLAX46Y46":
		case line == "LPD" || line == "LPC":
			dark = line == "LPD"
		case strings.HasPrefix(line, "ADD"):
			number, sizes, _ := strings.Cut(line[3:], ",")
			var size []float64
			for _, s := range strings.Split(sizes, "X") {
				v, err := strconv.ParseFloat(s, 64)
				if err != nil {
					t.Fatal(line)
				}
				size = append(size, v*1000)
			}
			apertures["D"+number[:len(number)-1]] = append(size, size[0])
		case strings.HasPrefix(line, "D"):
			if tool = apertures[line]; tool == nil {
				t.Fatalf("no aperture %s", line)
			}
		case line == "G36":
			area, outline = true, nil
		case line == "G37":
			m.fill(outline, dark)
			area = false
		case strings.HasPrefix(line, "X"):
			var u, v, code int
			if n, _ := fmt.Sscanf(line, "X%dY%dD%d", &u, &v, &code); n != 3 {
				t.Fatal(line)
			}
			toX, toY := float64(u)/1000, float64(v)/1000
			switch {
			case area:
				outline = append(outline, [2]float64{toX, toY})
			case code == 1:
				m.stroke(x, y, toX, toY, tool[0]/2, dark)
			case code == 3:
				least := min(tool[0], tool[1])
				dx, dy := (tool[0]-least)/2, (tool[1]-least)/2
				m.stroke(toX-dx, toY-dy, toX+dx, toY+dy, least/2, dark)
			}
			x, y = toX, toY
		default:
			t.Fatalf("not understood: %q", line)
		}
	}
	return m
}

// thin takes away what is within a number of points from the edge of the copper,
// so that necks of up to twice as much part; thicken adds as much.
func (m *bitmap) thin(points int)    { m.grow(points, false) }
func (m *bitmap) thicken(points int) { m.grow(points, true) }

func (m *bitmap) grow(points int, dark bool) {
	for _, step := range []int{1, m.wide} {
		for range points {
			old := slices.Clone(m.dark)
			for i := step; i < len(old)-step; i++ {
				if old[i-step] == dark || old[i+step] == dark {
					m.dark[i] = dark
				}
			}
		}
	}
}

// islands numbers what is joined, from 1; 0 is bare.
func (m *bitmap) islands(first int) ([]int32, int) {
	number := make([]int32, len(m.dark))
	var stack []int
	for i := range m.dark {
		if !m.dark[i] || number[i] != 0 {
			continue
		}
		number[i] = int32(first)
		for stack = append(stack[:0], i); len(stack) > 0; {
			at := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			for _, next := range []int{at - 1, at + 1, at - m.wide, at + m.wide} {
				if next >= 0 && next < len(m.dark) && m.dark[next] && number[next] == 0 {
					number[next] = int32(first)
					stack = append(stack, next)
				}
			}
		}
		first++
	}
	return number, first
}

// readDrills gives the holes of a drill file in plot coordinates: x, y, diameter in µm.
func readDrills(t *testing.T, text string) [][3]float64 {
	tools, diameter := map[string]float64{}, 0.0
	var holes [][3]float64
	for _, line := range strings.Split(text, "\n") {
		var x, y float64
		switch tool, size, defines := strings.Cut(line, "C"); {
		case strings.HasPrefix(line, "T") && defines:
			v, err := strconv.ParseFloat(size, 64)
			if err != nil {
				t.Fatal(line)
			}
			tools[tool] = v * 1000
		case strings.HasPrefix(line, "T"):
			diameter = tools[line]
		case strings.HasPrefix(line, "X"):
			if n, _ := fmt.Sscanf(line, "X%fY%f", &x, &y); n != 2 {
				t.Fatal(line)
			}
			holes = append(holes, [3]float64{x * 1000, y * 1000, diameter})
		}
	}
	return holes
}

// joined gives for each hole the lowest-numbered root of what the copper joins.
func joined(layers []*bitmap, holes [][3]float64) groups {
	parent, next := newGroups(len(holes)), len(holes)
	for _, m := range layers {
		number, end := m.islands(next)
		for i := next; i < end; i++ {
			parent = append(parent, i)
		}
		next = end
		for i, h := range holes {
			for step := range 16 { // around the hole's wall
				angle := float64(step) * math.Pi / 8
				x, y := h[0]+math.Cos(angle)*(h[2]/2+25), h[1]+math.Sin(angle)*(h[2]/2+25)
				if island := number[int(math.Round(y/dot))*m.wide+int(math.Round(x/dot))]; island != 0 {
					parent.join(i, int(island))
				}
			}
		}
	}
	return parent
}

// TestFilesAreTheNetlist exposes the files of copper, drills the holes, and asks
// which pads the copper joins: it must be what the netlist joins, with planes that
// have lost 0.1 mm at every edge, and joins nothing else when all copper has
// spilled over its edges by 0.05 mm, and planes by 0.1 mm.
func TestFilesAreTheNetlist(t *testing.T) {
	b := committed(t)
	files, err := b.Files()
	if err != nil {
		t.Fatal(err)
	}
	wide, high := b.Size.X/dot+1, b.Size.Y/dot+1
	holes := readDrills(t, files["carrier-plated.drl"])
	var meagre, fat []*bitmap
	for _, name := range []string{"top", "inner1-gnd", "inner2-5v", "bottom"} {
		thin := expose(t, files["carrier-"+name+".gbr"], wide, high)
		thick := &bitmap{wide, high, slices.Clone(thin.dark)}
		thick.thicken(1)
		if strings.HasPrefix(name, "inner") {
			thin.thin(2)
			thick.thicken(1)
		}
		meagre, fat = append(meagre, thin), append(fat, thick)
	}
	at := map[Point]int{}
	for i, h := range holes {
		at[Point{int(math.Round(h[0])), b.Size.Y - int(math.Round(h[1]))}] = i
	}
	whole, apart := joined(meagre, holes), joined(fat, holes)
	nets, roots := map[int]string{}, map[string]int{}
	for _, p := range b.Pads {
		hole, drilled := at[p.Shape.Centre()]
		if !drilled {
			t.Fatalf("%s has no hole", p.Name())
		}
		net := p.Net
		if net == "" {
			net = p.Name() + ", which stays open"
		}
		root := apart.root(hole)
		if other, taken := nets[root]; taken && other != net {
			t.Errorf("%s (%s) is joined to %s", p.Name(), net, other)
		}
		nets[root] = net
		root = whole.root(hole)
		if other, known := roots[net]; known && other != root {
			t.Errorf("%s is not joined to the rest of %s", p.Name(), net)
		}
		roots[net] = root
	}
}
