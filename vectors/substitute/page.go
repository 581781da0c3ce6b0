package substitute

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
)

const (
	columns  = 80
	fewLines = 10
)

// WriteText prints what can stand in, in ten lines of 80 columns at most or in full.
// Where says where a substitute is to be had; nil for nothing.
func (s *Substitutes) WriteText(w io.Writer, full bool, where func(Substitute) string) error {
	lines := []string{fmt.Sprintf("%s, %s", s.Of.Name(), s.Of.Part().Title)}
	groups := []struct {
		name string
		list []Substitute
		few  int
	}{{"same pins", s.DropIn, 4}, {"other pins", s.OtherPins, 2}, {"with ties", s.WithTies, 2}}
	if s.Own != "" {
		lines = append(lines, fmt.Sprintf("%-11s in %s", "itself", s.Own))
	}
	room := fewLines - 1 - len(lines)
	for _, g := range groups { // what a group leaves goes to those before it
		room -= max(1, min(g.few, len(g.list)))
	}
	left := 0
	for i, g := range groups {
		if i > 0 && !full && where == nil {
			g.list = onePerPart(g.list)
		}
		show := min(g.few, len(g.list))
		if more := min(max(room, 0), len(g.list)-show); i == 0 || more > 0 {
			show, room = show+max(more, 0), room-max(more, 0)
		}
		if full {
			show = len(g.list)
		}
		left += len(g.list) - show
		if len(g.list) == 0 {
			lines = append(lines, fmt.Sprintf("%-11s none", g.name))
		}
		for j, one := range g.list[:show] {
			name := g.name
			if j > 0 {
				name = ""
			}
			lines = append(lines, fmt.Sprintf("%-11s %s", name, one.line(where)))
			if pins := one.pinLine(); pins != "" && full && !slices.ContainsFunc(g.list[:j], func(s Substitute) bool { return s.Part == one.Part }) {
				lines = append(lines, fmt.Sprintf("%-11s   pins: %s", "", pins))
			}
		}
	}
	switch {
	case s.Untold:
		lines = append(lines, "levels alone do not show this part's function: no other number is listed")
	case full:
		lines = append(lines, "limits by the families' DC tables; delays typical, from memory of the data books")
	case left > 0:
		lines = append(lines, fmt.Sprintf("… %d more: --full", left))
	}
	for _, line := range lines {
		if r := []rune(line); len(r) > columns && !full {
			line = string(r[:columns-1]) + "…"
		}
		if _, err := fmt.Fprintln(w, line); err != nil {
			return err
		}
	}
	return nil
}

// onePerPart keeps the first substitute of each part: that in the family that differs least.
func onePerPart(all []Substitute) (kept []Substitute) {
	for _, s := range all {
		if !slices.ContainsFunc(kept, func(k Substitute) bool { return k.Part == s.Part }) {
			kept = append(kept, s)
		}
	}
	return kept
}

// line says one substitute in one line.
func (s Substitute) line(where func(Substitute) string) string {
	var words []string
	if where != nil {
		words = append(words, "in "+where(s))
	}
	for _, d := range s.Differences {
		words = append(words, d.Words)
	}
	if len(words) == 0 {
		words = []string{"no difference"}
	}
	return strings.Join(s.Types(), " ") + ": " + strings.Join(words, "; ")
}

// pinLine names the pins that have other names on the substitute.
func (s Substitute) pinLine() string {
	var words []string
	for _, name := range slices.Sorted(maps.Keys(s.Pins)) {
		if to := s.Pins[name]; to != name {
			words = append(words, name+" to "+to)
		}
	}
	return strings.Join(words, ", ")
}

// Only keeps the substitutes, and of each the types, that are wanted.
func (s *Substitutes) Only(wanted func(typ string) bool) {
	for _, list := range []*[]Substitute{&s.DropIn, &s.OtherPins, &s.WithTies} {
		var kept []Substitute
		for _, one := range *list {
			families := one.Families
			one.Families = nil
			for _, f := range families {
				if wanted(f.TypeName(one.Part.Number)) {
					one.Families = append(one.Families, f)
				}
			}
			if len(one.Families) > 0 {
				kept = append(kept, one)
			}
		}
		*list = kept
	}
}
