package identify

import (
	"cmp"
	"slices"
	"strings"

	"chipassay/vectors/match"
	"chipassay/vectors/part"
)

// A Hint is what can still be read of a marking, or is known of the chip. It orders the
// candidates and excludes none.
type Hint struct {
	Marking string // with ? for each place that cannot be read: "74?? 7938"
	Pins    int    // 0 where it is not known
	Kind    string // "counter"; empty where it is not known
}

// order puts first the candidates that a hint speaks for.
func (h Hint) order(candidates []match.Candidate) []match.Candidate {
	return slices.SortedStableFunc(slices.Values(candidates), func(a, b match.Candidate) int {
		return cmp.Compare(h.agrees(b.Variant), h.agrees(a.Variant))
	})
}

// families puts first the families that the marking speaks for.
func (h Hint) families(families []*part.Family) []*part.Family {
	marked := strings.ToUpper(h.Marking)
	return slices.SortedStableFunc(slices.Values(families), func(a, b *part.Family) int {
		speaks := func(f *part.Family) int {
			if strings.TrimLeft(f.Name, "0123456789") != "" && strings.Contains(marked, f.Name) {
				return 1
			}
			return 0
		}
		return cmp.Compare(speaks(b), speaks(a))
	})
}

// agrees counts the points of a hint that speak for a part.
func (h Hint) agrees(v *part.Variant) (n int) {
	if h.Pins == len(v.Pins) {
		n++
	}
	if h.Kind != "" && v.Part.Kind == h.Kind {
		n++
	}
	if h.speaksFor(v, readable) {
		n += 2
	}
	return n
}

// names reports whether the marking gives the number of a part in full.
func (h Hint) names(v *part.Variant) bool {
	return h.speaksFor(v, func(group, name string) bool { return readable(strings.ReplaceAll(group, "?", " "), name) })
}

// speaksFor reports whether a part's number, or its name in a family, can be read in the marking.
func (h Hint) speaksFor(v *part.Variant, read func(group, name string) bool) bool {
	names := []string{v.Part.Number}
	for _, f := range v.Families {
		names = append(names, f.TypeName(v.Part.Number))
	}
	return slices.ContainsFunc(strings.Fields(strings.ToUpper(h.Marking)), func(group string) bool {
		return slices.ContainsFunc(names, func(name string) bool { return read(group, name) })
	})
}

// readable reports whether a group of characters, as far as it can be read, may hold a name,
// with other letters before and after it.
func readable(group, name string) bool {
	for from := 0; from+len(name) <= len(group); from++ {
		fits, read := true, 0
		for i := range len(name) {
			switch group[from+i] {
			case '?':
			case name[i]:
				read++
			default:
				fits = false
			}
		}
		before, behind := group[:from], group[from+len(name):]
		if fits && read >= 2 && !strings.ContainsAny(before, "0123456789?") && !strings.ContainsAny(behind, "0123456789") {
			return true
		}
	}
	return false
}
