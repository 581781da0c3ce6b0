package sheet

import (
	"bytes"
	"strings"
	"testing"

	"chipassay/firmware/carrier"
	"chipassay/firmware/carrier/draw"
)

// A node is what the lines of one sheet join: pins, and the names that stand at it.
type node struct {
	sheet string
	pins  []string
	names []string
}

// follow reads the sheet's connections from places alone: what touches is joined,
// wires that only cross are not.
func follow(s *Sheet) []node {
	parent := make([]int, len(s.wires)) // of each wire, towards the first of its node
	for i := range parent {
		parent[i] = i
	}
	root := func(i int) int {
		for parent[i] != i {
			i = parent[i]
		}
		return i
	}
	for i, a := range s.wires {
		for j, b := range s.wires[:i] {
			if on(a[0], b) || on(a[1], b) || on(b[0], a) || on(b[1], a) {
				parent[root(i)] = root(j)
			}
		}
	}
	nodes := map[any]*node{} // by wire, or by place where there is no wire
	var order []any
	at := func(p draw.Point) *node {
		var key any = p
		for i, w := range s.wires {
			if on(p, w) {
				key = root(i)
			}
		}
		if nodes[key] == nil {
			nodes[key] = &node{sheet: s.Name}
			order = append(order, key)
		}
		return nodes[key]
	}
	for _, p := range s.pins {
		n := at(p.at)
		n.pins = append(n.pins, p.ref+"."+p.number)
	}
	for _, name := range s.names {
		n := at(name.at)
		n.names = append(n.names, name.net)
	}
	var found []node
	for _, key := range order {
		found = append(found, *nodes[key])
	}
	return found
}

// Read back from its lines, the schematic is the netlist: each pin is drawn once,
// on its net, and nothing else is drawn.
func TestSchematicIsTheNetlist(t *testing.T) {
	n := carrier.New()
	drawn := map[string]string{}
	for _, s := range Schematic(n) {
		for _, node := range follow(s) {
			name := ""
			for _, other := range node.names {
				if name != "" && other != name {
					t.Errorf("%s: a wire is called %s and %s", s.Name, name, other)
				}
				name = other
			}
			if name == "" && len(node.pins) > 1 {
				t.Errorf("%s: a wire at %v has no name", s.Name, node.pins)
			}
			if len(node.pins) == 0 {
				t.Errorf("%s: %s is at no pin", s.Name, name)
			}
			for _, pin := range node.pins {
				if before, twice := drawn[pin]; twice {
					t.Errorf("%s: %s is drawn again, on %q and on %q", s.Name, pin, before, name)
				}
				drawn[pin] = name
			}
		}
	}
	count := 0
	for _, p := range n.Parts {
		for _, pin := range p.Pins {
			count++
			key := p.Ref + "." + pin.Number
			got, found := drawn[key]
			switch {
			case !found:
				t.Errorf("%s (%s) is on no sheet", key, pin.Name)
			case got != pin.Net:
				t.Errorf("%s (%s) is drawn on %q, the netlist has it on %q", key, pin.Name, got, pin.Net)
			}
			delete(drawn, key)
		}
	}
	for pin := range drawn {
		t.Errorf("%s is drawn and not in the netlist", pin)
	}
	t.Logf("%d pins of %d parts", count, len(n.Parts))
}

// A sheet holds parts of its own group alone.
func TestSheetsByGroup(t *testing.T) {
	n := carrier.New()
	for _, s := range Schematic(n) {
		for _, ref := range s.refs() {
			if g := n.Part(ref).Group; g != s.Group {
				t.Errorf("%s has %s of group %v", s.Name, ref, g)
			}
		}
	}
}

// No words lie over other words, and all lie within the frame.
func TestWordsAreLegible(t *testing.T) {
	for _, s := range Schematic(carrier.New()) {
		checkWords(t, s.Page)
	}
}

func checkWords(t *testing.T, p *draw.Page) {
	t.Helper()
	texts := p.Texts()
	for i, a := range texts {
		a1, a2 := a.Bounds()
		if a1.X < margin || a1.Y < margin || a2.X > width-margin || a2.Y > height-margin {
			t.Errorf("%s: %q at %.1f, %.1f is outside the frame", p.Title, a.Words, a.At.X, a.At.Y)
		}
		for _, b := range texts[:i] {
			b1, b2 := b.Bounds()
			if a1.X < b2.X && b1.X < a2.X && a1.Y < b2.Y && b1.Y < a2.Y {
				t.Errorf("%s: %q at %.1f, %.1f lies over %q at %.1f, %.1f", p.Title, a.Words, a.At.X, a.At.Y, b.Words, b.At.X, b.At.Y)
			}
		}
	}
}

// No wire runs through words.
func TestWiresKeepClearOfWords(t *testing.T) {
	for _, s := range Schematic(carrier.New()) {
		for _, text := range s.Page.Texts() {
			a, b := text.Bounds()
			for _, w := range s.wires {
				if min(w[0].X, w[1].X) < b.X && max(w[0].X, w[1].X) > a.X && min(w[0].Y, w[1].Y) < b.Y && max(w[0].Y, w[1].Y) > a.Y {
					t.Errorf("%s: a wire %v runs through %q", s.Name, w, text.Words)
				}
			}
		}
	}
}

// Every line of the board that something hangs on has its purpose in words.
func TestPurposes(t *testing.T) {
	for _, pin := range carrier.New().Part("A1").Pins {
		if strings.HasPrefix(pin.Name, "P") && purpose(pin.Name) == "" && len(carrier.New().Terminals(pin.Net)) > 1 {
			t.Errorf("%s has no purpose", pin.Name)
		}
	}
}

func TestRanges(t *testing.T) {
	got := strings.Join(ranges([]string{"R103", "C11", "R101", "R102", "R110", "C12", "R111", "U1"}), " ")
	if want := "C11 C12 R101–R103 R110 R111 U1"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// The files are the same each time, and there is one for each sheet and one for all.
func TestFiles(t *testing.T) {
	first, err := Files(carrier.New())
	if err != nil {
		t.Fatal(err)
	}
	second, err := Files(carrier.New())
	if err != nil {
		t.Fatal(err)
	}
	if want := len(Schematic(carrier.New())) + 1; len(first) != want {
		t.Errorf("%d files, want %d", len(first), want)
	}
	for name, content := range first {
		if !bytes.Equal(content, second[name]) {
			t.Errorf("%s differs when made again", name)
		}
	}
}
