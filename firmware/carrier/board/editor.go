package board

import (
	"fmt"
	"strings"
)

// editor writes the board in the form of an open board editor (.kicad_pcb of
// version 6), so that it can be looked at, changed and checked by another program.
func (b *Board) editor() string {
	var s strings.Builder
	s.WriteString("(kicad_pcb (version 20211014) (generator chipassay)\n  (general (thickness 1.6))\n  (layers\n" +
		"    (0 \"F.Cu\" signal) (1 \"In1.Cu\" power) (2 \"In2.Cu\" power) (31 \"B.Cu\" signal)\n" +
		"    (36 \"B.SilkS\" user) (37 \"F.SilkS\" user) (38 \"B.Mask\" user) (39 \"F.Mask\" user)\n" +
		"    (44 \"Edge.Cuts\" user) (46 \"B.CrtYd\" user) (47 \"F.CrtYd\" user) (49 \"F.Fab\" user))\n" +
		"  (setup (pad_to_mask_clearance 0.06))\n  (net 0 \"\")\n")
	numbers := map[string]int{}
	for i, name := range b.NetNames() {
		numbers[name] = i + 1
		fmt.Fprintf(&s, "  (net %d %q)\n", i+1, name)
	}
	for _, place := range b.Placements {
		b.editorPart(&s, place, numbers)
	}
	for _, h := range b.Holes {
		size := mm(h.Diameter)
		fmt.Fprintf(&s, "  (footprint \"screw\" (layer \"F.Cu\") (at %s %s)\n    (pad \"\" np_thru_hole circle (at 0 0) (size %s %s) (drill %s) (layers *.Cu *.Mask)))\n",
			mm(h.At.X), mm(h.At.Y), size, size, size)
	}
	for _, m := range b.edge() {
		fmt.Fprintf(&s, "  (gr_line (start %s %s) (end %s %s) (layer \"Edge.Cuts\") (width 0.1))\n",
			mm(m.shape.A.X), mm(m.shape.A.Y), mm(m.shape.B.X), mm(m.shape.B.Y))
	}
	for _, t := range b.Tracks {
		layer := map[Layer]string{Top: "F.Cu", Bottom: "B.Cu"}[t.Layer]
		fmt.Fprintf(&s, "  (segment (start %s %s) (end %s %s) (width %s) (layer %q) (net %d))\n",
			mm(t.From.X), mm(t.From.Y), mm(t.To.X), mm(t.To.Y), mm(t.Width), layer, numbers[t.Net])
	}
	for _, v := range b.Vias {
		fmt.Fprintf(&s, "  (via (at %s %s) (size %s) (drill %s) (layers \"F.Cu\" \"B.Cu\") (remove_unused_layers) (net %d))\n",
			mm(v.At.X), mm(v.At.Y), mm(ViaDiameter), mm(ViaDrill), numbers[v.Net])
	}
	for i, z := range b.Zones {
		layer := map[Layer]string{Inner1: "In1.Cu", Inner2: "In2.Cu"}[z.Layer]
		fmt.Fprintf(&s, "  (zone (net %d) (net_name %q) (layer %q) (hatch edge 0.5) (priority %d)\n"+
			"    (connect_pads (clearance 0.3)) (min_thickness 0.25)\n"+
			"    (fill yes (thermal_gap 0.3) (thermal_bridge_width 0.5))\n    (polygon (pts", numbers[z.Net], z.Net, layer, i)
		for _, p := range z.Outline {
			fmt.Fprintf(&s, " (xy %s %s)", mm(p.X), mm(p.Y))
		}
		s.WriteString(")))\n")
	}
	s.WriteString(")\n")
	return s.String()
}

func (b *Board) editorPart(s *strings.Builder, place Placement, numbers map[string]int) {
	part, shape := b.parts[place.Ref], b.shapes[place.Ref]
	fmt.Fprintf(s, "  (footprint %q (layer \"F.Cu\") (at %s %s %d)\n", part.Footprint, mm(place.At.X), mm(place.At.Y), place.Rotation)
	fmt.Fprintf(s, "    (fp_text reference %q (at 0 0) (layer \"F.Fab\") (effects (font (size 1 1) (thickness 0.15))))\n", place.Ref)
	fmt.Fprintf(s, "    (fp_text value %q (at 0 0) (layer \"F.Fab\") hide (effects (font (size 1 1) (thickness 0.15))))\n", part.Value)
	if place.Ref != "A1" {
		r := shape.Body[0]
		fmt.Fprintf(s, "    (fp_rect (start %s %s) (end %s %s) (layer \"F.CrtYd\") (width 0.05))\n",
			mm(r.Min.X), mm(r.Min.Y), mm(r.Max.X), mm(r.Max.Y))
	}
	nets := map[string]string{}
	for _, pin := range part.Pins {
		nets[pin.Number] = pin.Net
	}
	for _, p := range shape.Pads {
		fmt.Fprintf(s, "    (pad %q thru_hole oval (at %s %s %d) (size %s %s) (drill %s) (layers *.Cu *.Mask) (remove_unused_layers)",
			p.Number, mm(p.At.X), mm(p.At.Y), place.Rotation, mm(p.Width), mm(p.Height), mm(p.Drill))
		if net := nets[p.Number]; net != "" {
			fmt.Fprintf(s, " (net %d %q)", numbers[net], net)
		}
		s.WriteString(")\n")
	}
	s.WriteString("  )\n")
}
