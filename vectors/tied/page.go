package tied

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"chipassay/vectors/part"
)

// A Page is what a part becomes with inputs tied, for people and for programs.
type Page struct {
	Type part.Type
	*Use
	Outputs []Output
	Advice  []Advice
	// Same lists by output the parts with such a gate or section, the plainest first. It
	// names variants: a 74LS54 has a gate that a 7454 has not.
	Same map[int][]*part.Variant
}

// PageOf works out the page of a type with inputs tied; the catalogue gives the parts
// that do the same.
func PageOf(t part.Type, ties []Tie, c *Catalogue) (*Page, error) {
	u, err := Of(t.Variant, ties)
	if err != nil {
		return nil, err
	}
	p := &Page{Type: t, Use: u, Outputs: u.Outputs(), Advice: u.Advise(t.Family), Same: map[int][]*part.Variant{}}
	for _, o := range p.Outputs {
		if o.Kind != Combines || o.Driven != nil || !o.Changed {
			continue
		}
		for _, g := range c.Same(o.Function) {
			if g.Variant.Part != t.Part() && stageRank(g.Stage) == stageRank(o.Stage) {
				p.Same[o.Pin] = append(p.Same[o.Pin], g.Variant)
			}
		}
	}
	if err := p.remembering(c.remember); err != nil {
		return nil, err
	}
	for pin, same := range p.Same {
		slices.SortStableFunc(same, func(a, b *part.Variant) int { return p.familyRank(a) - p.familyRank(b) })
		p.Same[pin] = onePerPart(same)
	}
	return p, nil
}

// onePerPart keeps the first variant of each part.
func onePerPart(all []*part.Variant) (kept []*part.Variant) {
	for _, v := range all {
		if !hasPart(kept, v.Part) {
			kept = append(kept, v)
		}
	}
	return kept
}

func hasPart(all []*part.Variant, p *part.Part) bool {
	return slices.ContainsFunc(all, func(v *part.Variant) bool { return v.Part == p })
}

// familyRank puts parts of the same family first, then those of a family with the same levels.
func (p *Page) familyRank(v *part.Variant) int {
	switch f := p.Type.Family; {
	case slices.Contains(v.Families, f):
		return 0
	case slices.ContainsFunc(v.Families, func(o *part.Family) bool { return o.Technology.Bipolar() == f.Technology.Bipolar() }):
		return 1
	}
	return 2
}

// typeName names a variant in the page's family, or its first.
func (p *Page) typeName(v *part.Variant) string {
	f := v.Families[0]
	if slices.Contains(v.Families, p.Type.Family) {
		f = p.Type.Family
	}
	return f.TypeName(v.Part.Number)
}

const (
	columns  = 80
	fewLines = 10
)

// WriteText prints the page, in ten lines of 80 columns at most or in full.
func (p *Page) WriteText(w io.Writer, full bool) error {
	advice := p.adviceLines(full)
	lines := []string{p.Type.Name() + " with " + p.words()}
	outputs := p.outputLines(full)
	if room := fewLines - 1 - len(advice); !full && len(outputs) > room {
		outputs = append(outputs[:room-1], fmt.Sprintf("  … %d lines more: --full", len(outputs)-room+1))
	}
	for _, line := range slices.Concat(lines, outputs, advice) {
		if _, err := fmt.Fprintln(w, line); err != nil {
			return err
		}
	}
	return nil
}

// outputLines say what the outputs become, those alike together.
func (p *Page) outputLines(full bool) (lines []string) {
	var unchanged []string
	for i := 0; i < len(p.Outputs); {
		o := p.Outputs[i]
		text := o.Words()
		var equal, alike []string
		for ; i < len(p.Outputs) && p.Outputs[i].Changed == o.Changed; i++ {
			name := p.name(p.Outputs[i].Pin)
			switch other := p.Outputs[i]; {
			case len(alike) == 0 && other.Words() == text:
				equal = append(equal, name)
				continue
			case len(equal) == 1 && other.form() == o.form() && !full:
				alike = append(alike, name)
				continue
			}
			break
		}
		if !o.Changed {
			unchanged = append(append(unchanged, equal...), alike...)
			continue
		}
		verb := " is"
		switch {
		case o.Kind == Remembers:
			verb = ":"
			if len(equal) > 1 {
				text = strings.Replace(text, "remembers", "remember", 1)
			}
		case len(equal) > 1:
			verb = " are"
		}
		head := fmt.Sprintf("  %s%s ", strings.Join(equal, " "), verb)
		if len(alike) > 0 {
			so := "; so is "
			if len(alike) > 1 {
				so = "; so are "
			}
			text += so + strings.Join(alike, " ")
		}
		if len([]rune(head+text)) > columns && !full {
			text = fmt.Sprintf("a function of %s: --full", strings.Join(o.Names, " "))
		}
		lines = append(lines, head+text)
		if same := p.sameLine(o.Pin, full); same != "" {
			lines = append(lines, "    "+same)
		}
	}
	if len(unchanged) > 0 {
		lines = append(lines, "  unchanged: "+strings.Join(unchanged, " "))
	}
	if full {
		return lines
	}
	for i, line := range lines {
		if r := []rune(line); len(r) > columns {
			lines[i] = string(r[:columns-1]) + "…"
		}
	}
	return lines
}

// sameLine names the parts with such a gate.
func (p *Page) sameLine(pin int, full bool) string {
	const few = 4
	var names []string
	for i, q := range p.Same[pin] {
		if i == few && !full {
			names = append(names, fmt.Sprintf("%d more", len(p.Same[pin])-few))
			break
		}
		names = append(names, p.typeName(q))
	}
	if len(names) == 0 {
		return ""
	}
	same := "the same as a gate of the "
	if slices.ContainsFunc(p.Outputs, func(o Output) bool { return o.Pin == pin && o.Kind == Remembers }) {
		same = "the same as in the "
	}
	return same + strings.Join(names, ", ")
}

// adviceLines say how the inputs are tied, those alike together.
func (p *Page) adviceLines(full bool) (lines []string) {
	type group struct {
		how  string
		pins []string
	}
	var groups []group
	for _, a := range p.Advice {
		how, name := a.How(), p.name(a.Pin)
		if a.To != 0 {
			name += "+" + p.name(a.To)
		}
		i := slices.IndexFunc(groups, func(g group) bool { return g.how == how })
		if i < 0 {
			groups, i = append(groups, group{how: how}), len(groups)
		}
		groups[i].pins = append(groups[i].pins, name)
	}
	for _, g := range groups {
		lines = append(lines, fmt.Sprintf("  tie %s %s", strings.Join(g.pins, " "), g.how))
	}
	for _, a := range p.Advice {
		if len(a.Neighbours) > 0 {
			lines = append(lines, fmt.Sprintf("  or join %s to %s: one load more for what drives that", p.name(a.Pin), p.name(a.Neighbours[0])))
			if !full {
				break
			}
		}
	}
	if full {
		for _, a := range p.Advice {
			if a.Largest > 0 {
				level := "ground"
				if a.High {
					level = "the supply"
				}
				lines = append(lines, fmt.Sprintf("  %s through a resistor to %s: at most %s (%s, worst case)", p.name(a.Pin), level, part.Ohms(a.Largest), a.Family.Name))
			}
		}
	}
	return lines
}

func (p *Page) name(pin int) string { return p.Type.Variant.Pins[pin-1].Name }

// A Document is a page as other programs read it.
type Document struct {
	Part    string              `json:"part"`
	Tied    []string            `json:"tied"`
	Outputs map[string]string   `json:"outputs"` // in the language of the definitions; "" for what remembers
	Words   map[string]string   `json:"words"`
	SameAs  map[string][]string `json:"same_as"` // types
	Ties    []TieDocument       `json:"ties"`
}

// A TieDocument is how one input is tied.
type TieDocument struct {
	Pin           string   `json:"pin"`
	To            string   `json:"to"` // L, H or a pin
	How           string   `json:"how"`
	Ohms          float64  `json:"ohms"` // 0 for a wire
	Volts         *float64 `json:"volts,omitempty"`
	MarginVolts   *float64 `json:"margin_volts,omitempty"`
	LargestOhms   float64  `json:"largest_ohms,omitempty"`
	OrToNeighbour []string `json:"or_to,omitempty"`
}

// Document gives the page for programs.
func (p *Page) Document() Document {
	d := Document{Part: p.Type.Name(), Outputs: map[string]string{}, Words: map[string]string{}, SameAs: map[string][]string{}}
	for _, t := range p.Ties {
		d.Tied = append(d.Tied, t.In(p.Type.Variant))
	}
	for _, o := range p.Outputs {
		d.Outputs[p.name(o.Pin)], d.Words[p.name(o.Pin)] = o.Language(), o.Words()
		for _, v := range p.Same[o.Pin] {
			d.SameAs[p.name(o.Pin)] = append(d.SameAs[p.name(o.Pin)], p.typeName(v))
		}
	}
	for _, a := range p.Advice {
		_, to, _ := strings.Cut(a.In(p.Type.Variant), "=")
		t := TieDocument{Pin: p.name(a.Pin), To: to, How: a.How(), Ohms: a.Ohms, LargestOhms: a.Largest}
		if a.To == 0 {
			t.Volts, t.MarginVolts = &a.Volts, &a.Margin
		}
		for _, n := range a.Neighbours {
			t.OrToNeighbour = append(t.OrToNeighbour, p.name(n))
		}
		d.Ties = append(d.Ties, t)
	}
	return d
}
