package tied

import (
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
	"chipassay/vectors/twin"
)

// remembering finds the parts with a section, such as one of two flip-flops, that does
// what a section of the page's part does with its ties. It counts only if the tied chip
// answers all that the other's test asks of the section.
func (p *Page) remembering(variants []*part.Variant) error {
	chip := twin.Of(p.Circuit, p.Ties...)
	for j, w := range chip.Units {
		if !w.Remember || !slices.ContainsFunc(p.Outputs, func(o Output) bool {
			return o.Kind == Remembers && o.Changed && slices.ContainsFunc(w.Outputs, func(l logic.Output) bool { return l.Pin == o.Pin })
		}) {
			continue
		}
		for _, v := range variants {
			if v.Part == p.Type.Part() || slices.ContainsFunc(w.Outputs, func(o logic.Output) bool { return slices.Contains(p.Same[o.Pin], v) }) {
				continue
			}
			same, err := p.section(chip, j, v)
			if err != nil {
				return err
			}
			for pin := range same.All() {
				p.Same[pin] = append(p.Same[pin], v)
			}
		}
	}
	return nil
}

// section gives the outputs of a section of the tied chip that are those of one of a variant.
func (p *Page) section(chip *twin.Chip, j int, v *part.Variant) (part.Pins, error) {
	c, err := logic.Compile(v)
	if err != nil {
		return 0, err
	}
	other := twin.Of(c)
	var alike []int
	outputs := 0 // of sections that are alike
	for i, u := range other.Units {
		if other.Alike(i, chip, j) {
			alike, outputs = append(alike, i), outputs+len(u.Outputs)
		}
	}
	if len(alike) == 0 || 2*outputs < len(c.Outputs) {
		return 0, nil // nobody takes a successive approximation register for its one flip-flop
	}
	kept, _, err := proof.Kept(part.Type{Variant: v, Family: v.Families[0]})
	if err != nil || kept == nil || kept.Coverage.BelowFloor(v) != "" {
		return 0, err
	}
	return twin.TestOf(other, kept.Sequence).Same(alike[0], chip, j), nil
}
