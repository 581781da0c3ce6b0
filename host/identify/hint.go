package identify

import (
	"cmp"
	"slices"
	"strconv"
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

// Contradicted are the numbers of the parts that the marking gives in full, where a chip that passes is none of them: it was
// misread, or printed anew. A group that may be a date code counts for none.
func (a *Answer) Contradicted() (numbers []string) {
	if !a.Verdict.Passed() || len(a.Candidates) == 0 {
		return nil
	}
	hint, first := Hint{Marking: a.plan.Hint.withoutDates()}, a.Candidates[0]
	for _, c := range a.plan.Candidates {
		number := c.Variant.Part.Number
		switch {
		case !hint.names(c.Variant) || slices.Contains(numbers, number):
		case number == first.Part.Number, slices.Contains(first.SameFunction, number):
			return nil
		default:
			numbers = append(numbers, number)
		}
	}
	return numbers
}

// withoutDates is the marking without the groups that may be date codes.
func (h Hint) withoutDates() string {
	return strings.Join(slices.DeleteFunc(strings.Fields(h.Marking), mayBeDate), " ")
}

// mayBeDate reports whether a group is four digits of a year and a week, 01 to 53.
func mayBeDate(group string) bool {
	week, err := strconv.Atoi(group)
	return err == nil && len(group) == 4 && week%100 >= 1 && week%100 <= 53
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
