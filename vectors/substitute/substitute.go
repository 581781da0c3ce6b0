// Package substitute says what can stand in for a part: parts of the same pins and
// function, shown by simulation, of the same or another family; the same function on
// other pins; and parts that have it with inputs tied. Each comes with what to change
// and what differs by the families' DC tables.
package substitute

import (
	"cmp"
	"slices"

	"chipassay/vectors/part"
	"chipassay/vectors/proof"
	"chipassay/vectors/stimulus"
	"chipassay/vectors/tied"
	"chipassay/vectors/twin"
)

// A Substitute is a part that can stand in for another.
type Substitute struct {
	Part        *part.Part
	Families    []*part.Family // for which the differences are these
	Differences []Difference
	// Pins gives the name that each signal pin has on the substitute, where any has another.
	Pins map[string]string

	ties, fewer int // ties, and flip-flops that a package has less
}

// A Difference is what is other about a substitute.
type Difference struct {
	Words  string
	Change bool // something must be changed or checked for it

	rule *part.Stable // the statement that makes it, which may hold in some families only
}

// rank puts first what asks for a change.
func (d Difference) rank() int {
	if d.Change {
		return 0
	}
	return 1
}

// Types are the numbers that are marked on a substitute.
func (s Substitute) Types() (names []string) {
	for _, f := range s.Families {
		names = append(names, f.TypeName(s.Part.Number))
	}
	return names
}

// changes counts the differences that ask for a change.
func (s Substitute) changes() (n int) {
	for _, d := range s.Differences {
		if d.Change {
			n++
		}
	}
	return n
}

// Substitutes are what can stand in for a type, the likeliest to be of use first.
type Substitutes struct {
	Of        part.Type
	DropIn    []Substitute // the same pins
	OtherPins []Substitute
	WithTies  []Substitute
	// Own says where the type itself is to be had; empty for nowhere, and where that is not asked.
	Own string
	// Untold says that levels alone do not show the part's function, so that only the
	// same number in other families is listed.
	Untold bool
}

// For looks for substitutes of a type among parts, whose gates are in the catalogue.
// Load is what the outputs drive; it may be empty.
func For(t part.Type, parts []*part.Part, catalogue *tied.Catalogue, load Load) (*Substitutes, error) {
	s := &Substitutes{Of: t}
	if t.Variant.Memory != nil {
		s.DropIn = sorted(memories(t, parts, load))
		return s, nil
	}
	p, err := proof.Of(t, nil)
	if err != nil {
		return nil, err
	}
	s.Untold = p.Coverage.BelowFloor(t.Variant) != ""
	l := looker{of: t, sequence: p.Sequence, untold: s.Untold, load: load, test: twin.TestOf(twin.Of(p.Circuit), p.Sequence)}
	l.test.Family = t.Family
	taken := map[*part.Variant]bool{}
	for _, q := range parts {
		for _, v := range q.Variants {
			if extra, ok := l.dropIn(v); ok {
				taken[v] = true
				s.DropIn = append(s.DropIn, l.byFamily(v, extra)...)
			}
		}
	}
	s.DropIn = l.ownNumberFirst(sorted(s.DropIn))
	if s.Untold {
		return s, nil
	}
	for _, q := range parts {
		for _, v := range q.Variants {
			if !taken[v] && v.Memory == nil && l.renamed(v) {
				taken[v] = true
				s.OtherPins = append(s.OtherPins, l.byFamily(v, slices.Concat(moved(t.Variant, v), l.timing(v, l.named(v))))...)
			}
		}
	}
	if err := l.gates(s, catalogue, taken); err != nil {
		return nil, err
	}
	l.twins(s, parts, taken)
	s.OtherPins, s.WithTies = sorted(s.OtherPins), sorted(s.WithTies)
	return s, nil
}

// A looker looks for what stands in for one type.
type looker struct {
	of       part.Type
	sequence *stimulus.Sequence
	untold   bool
	load     Load
	test     *twin.Test
}

// itself tells whether a variant is the part's own, which may have been parsed twice.
func (l looker) itself(v *part.Variant) bool {
	return v.Part.Number == l.of.Part().Number && slices.Equal(v.Families, l.of.Variant.Families)
}

// byFamily makes a substitute of each group of a variant's families with the same
// differences; extra are those of the variant.
func (l looker) byFamily(v *part.Variant, extra []Difference) (all []Substitute) {
	for _, f := range v.Families {
		if f == l.of.Family && l.itself(v) {
			continue
		}
		t := part.Type{Variant: v, Family: f}
		differences := slices.Concat(extra, between(l.of, t), l.load.On(t))
		differences = slices.DeleteFunc(differences, func(d Difference) bool { return d.rule != nil && !d.rule.In(f) })
		slices.SortStableFunc(differences, func(a, b Difference) int { return a.rank() - b.rank() })
		i := slices.IndexFunc(all, func(s Substitute) bool { return slices.Equal(s.Differences, differences) })
		if i < 0 {
			all, i = append(all, Substitute{Part: v.Part, Differences: differences}), len(all)
		}
		all[i].Families = append(all[i].Families, f)
	}
	return all
}

// sorted puts gates first, whole packages, those of fewest ties and of fewest changes first, then of fewest differences, then by
// family and number.
func sorted(all []Substitute) []Substitute {
	slices.SortStableFunc(all, func(a, b Substitute) int {
		return cmp.Or(
			cmp.Compare(min(a.ties, 1)*a.gateRank(), min(b.ties, 1)*b.gateRank()),
			cmp.Compare(a.fewer, b.fewer),
			cmp.Compare(a.ties, b.ties),
			cmp.Compare(a.changes(), b.changes()),
			cmp.Compare(len(a.Differences), len(b.Differences)),
			cmp.Compare(familyRank(a.Families[0]), familyRank(b.Families[0])),
			cmp.Compare(len(a.Part.Number), len(b.Part.Number)),
			cmp.Compare(a.Part.Number, b.Part.Number))
	})
	return all
}

// gateRank puts gates before parts that have gates among other things.
func (s Substitute) gateRank() int {
	if gateLike(s.Part) {
		return 0
	}
	return 1
}

func gateLike(p *part.Part) bool {
	return slices.Contains([]string{"gate", "inverter", "buffer", "schmitt", "driver"}, p.Kind)
}

// ownNumberFirst puts the part's other families before other numbers.
func (l looker) ownNumberFirst(all []Substitute) []Substitute {
	rank := func(s Substitute) int {
		if s.Part.Number == l.of.Part().Number {
			return 0
		}
		return 1
	}
	slices.SortStableFunc(all, func(a, b Substitute) int { return rank(a) - rank(b) })
	return all
}

// commonest are the families in the order in which drawers hold them (common practice).
var commonest = []string{"74LS", "74HC", "74HCT", "74", "74ALS", "74F", "74S", "74AS", "74AC", "74ACT", "4000B", "4000UB", "4000A", "74C", "74BCT", "74H", "74L"}

func familyRank(f *part.Family) int { return slices.Index(commonest, f.Name) }

// gates adds parts that have the gates of the part on other pins, or with inputs tied.
func (l looker) gates(s *Substitutes, catalogue *tied.Catalogue, taken map[*part.Variant]bool) error {
	own, err := tied.Gates(l.of.Variant)
	if err != nil || len(own) == 0 || !whole(l.of.Variant, own) {
		return err
	}
	found := map[*part.Variant][][]tied.Way{} // by function
	var order []*part.Variant
	for i, g := range own {
		for _, w := range catalogue.FindEach(g.Is) {
			if taken[w.Variant] {
				continue
			}
			if found[w.Variant] == nil {
				found[w.Variant] = make([][]tied.Way, len(own))
				order = append(order, w.Variant)
			}
			found[w.Variant][i] = append(found[w.Variant][i], w)
		}
	}
	for _, v := range order {
		var ways []tied.Way
		for _, of := range found[v] {
			if len(of) > 0 {
				ways = append(ways, of[0])
			}
		}
		if len(ways) < len(own) {
			continue
		}
		extra, ties, worth := tiesOf(ways, own)
		if !worth && !gateLike(v.Part) {
			continue
		}
		if ties == 0 {
			s.OtherPins = append(s.OtherPins, l.byFamily(v, append(moved(l.of.Variant, v), extra...))...)
			continue
		}
		for _, one := range l.byFamily(v, extra) {
			one.ties = ties
			s.WithTies = append(s.WithTies, one)
		}
	}
	return nil
}

// whole tells whether gates are all that a part has, each with inputs of its own.
func whole(v *part.Variant, gates []tied.Gate) bool {
	outputs := 0
	for _, p := range v.Pins {
		if p.Observable() {
			outputs++
		}
	}
	var used part.Pins
	for _, g := range gates {
		for _, inputs := range g.Alike {
			if own := part.PinSet(inputs...); own&used != 0 {
				return false
			}
			used |= part.PinSet(inputs...)
			outputs--
		}
	}
	return outputs == 0
}
