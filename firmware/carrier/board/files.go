package board

import (
	"cmp"
	"fmt"
	"maps"
	"slices"

	"chipassay/firmware/carrier"
)

func sortedKeys[K cmp.Ordered, V any](m map[K]V) []K { return slices.Sorted(maps.Keys(m)) }

// Faults gives all that forbids to order the board: broken design rules, and
// differences between its copper and the netlist.
func (b *Board) Faults() []string { return append(b.Violations(), b.Differences()...) }

// Files gives the files of the committed board for a netlist.
func Files(n *carrier.Netlist) (map[string][]byte, error) {
	b, err := Committed(n)
	if err != nil {
		return nil, err
	}
	texts, err := b.Files()
	files := map[string][]byte{}
	for name, text := range texts {
		files[name] = []byte(text)
	}
	return files, err
}

// Files gives what a board house and a person need, by file name: Gerber and drill
// files, pictures, and the board in the form of an open board editor. A board with
// a fault has no files.
func (b *Board) Files() (map[string]string, error) {
	if faults := b.Faults(); len(faults) > 0 {
		return nil, fmt.Errorf("the board is not ready to order: %d faults, the first: %s", len(faults), faults[0])
	}
	plated, screws := []drilled{}, []drilled{}
	for _, d := range b.drills() {
		if d.plated {
			plated = append(plated, d)
		} else {
			screws = append(screws, d)
		}
	}
	return map[string]string{
		"carrier-top.gbr":         b.gerber("Copper,L1,Top", false, b.copper(Top)),
		"carrier-inner1-gnd.gbr":  b.gerber("Copper,L2,Inr", false, b.copper(Inner1)),
		"carrier-inner2-5v.gbr":   b.gerber("Copper,L3,Inr", false, b.copper(Inner2)),
		"carrier-bottom.gbr":      b.gerber("Copper,L4,Bot", false, b.copper(Bottom)),
		"carrier-mask-top.gbr":    b.gerber("Soldermask,Top", true, b.mask()),
		"carrier-mask-bottom.gbr": b.gerber("Soldermask,Bot", true, b.mask()),
		"carrier-silk-top.gbr":    b.gerber("Legend,Top", false, b.silk(Top)),
		"carrier-silk-bottom.gbr": b.gerber("Legend,Bot", false, b.silk(Bottom)),
		"carrier-edge.gbr":        b.gerber("Profile,NP", false, b.edge()),
		"carrier-plated.drl":      b.excellon("Plated,1,4,PTH", plated),
		"carrier-not-plated.drl":  b.excellon("NonPlated,1,4,NPTH", screws),
		"carrier-top.svg":         b.picture(Top, false),
		"carrier-bottom.svg":      b.picture(Bottom, true),
		"carrier-silk.svg":        b.assembly(),
		"carrier.kicad_pcb":       b.editor(),
	}, nil
}

// edge is the outline along which the board is cut.
func (b *Board) edge() []mark {
	corners := []Point{{0, 0}, {b.Size.X, 0}, b.Size, {0, b.Size.Y}}
	var marks []mark
	for i, p := range corners {
		marks = append(marks, mark{shape: Capsule{p, corners[(i+1)%4], 50}})
	}
	return marks
}
