package marking

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// Resolve finds the type that is marked on a chip, typed as it stands there, with
// maker's and package letters, gaps and date code, over several lines; or its
// number as a person says it, such as LS51. Named reports whether the marking names
// the family; where it does not, the oldest family of the part is given, if all
// have the same pins and function. Errors are those of library.Open.
func Resolve(text string, lib *library.Library) (typ part.Type, named bool, err error) {
	typ, err = lib.Open(text)
	var unknown *library.UnknownPartError
	if plain := strings.Join(strings.Fields(text), ""); errors.As(err, &unknown) && plain != text {
		if t, e := lib.Open(plain); !errors.As(e, &unknown) { // LS 51
			typ, err, text = t, e, plain
		}
	}
	if err != nil && !errors.As(err, &unknown) {
		return typ, false, err
	}
	if err == nil {
		return oldest(typ, familyOf(text) == typ.Family)
	}
	m, readErr := Read(text, lib, time.Now())
	if readErr != nil && !errors.Is(readErr, ErrNothing) {
		return typ, false, readErr
	}
	parts := m.likely()
	if unknown.Known == nil && !slices.ContainsFunc(parts, func(p PartReading) bool { return !m.dated(p) }) {
		for word := range strings.FieldsSeq(strings.ToUpper(text)) {
			if k := m.refused(word); k != nil {
				return typ, false, &library.UnknownPartError{Typed: text, Known: k}
			}
		}
	}
	switch len(parts) {
	case 0:
		if inner := numberIn(text); inner != "" {
			if _, near := lib.Open(inner); near != nil {
				err = near // it says what is near the number
			}
		}
		return typ, false, err
	case 1:
		typ, err = library.Choose(parts[0].Part, parts[0].Family)
		if err != nil {
			return typ, false, err
		}
		return oldest(typ, parts[0].Family == typ.Family)
	}
	var names []string
	for _, p := range parts {
		names = append(names, p.Token)
	}
	return typ, false, fmt.Errorf("%q can be %s: type the number of the part alone", strings.Join(strings.Fields(text), " "), strings.Join(names, " or "))
}

// familyOf is the family that a plain number or another name of a part names; nil where
// it names none.
func familyOf(typed string) *part.Family {
	if alias, ok := library.AliasOf(strings.ToUpper(typed)); ok {
		typed = alias.Of
	}
	_, family, _ := part.SplitTypeName(library.Spell(typed))
	return family
}

// numberIn is the number in the first word that is marked as a part of a series is.
func numberIn(text string) string {
	for _, word := range strings.Fields(strings.ToUpper(text)) {
		if m := markedTTL.FindStringSubmatch(word); m != nil {
			return "74" + m[3] + m[4]
		}
		if m := markedCMOS.FindStringSubmatch(word); m != nil {
			return m[2]
		}
	}
	return ""
}

// likely are the parts that the marking names, without numbers that are most likely
// its date code.
func (m *Marking) likely() (parts []PartReading) {
	for _, p := range m.Parts {
		if !slices.ContainsFunc(parts, func(q PartReading) bool { return q.Part == p.Part && q.Family == p.Family }) {
			parts = append(parts, p)
		}
	}
	if sure := slices.DeleteFunc(slices.Clone(parts), m.dated); len(sure) > 0 {
		return sure
	}
	return parts
}

// dated reports whether what was read as a part can be a date code as well.
func (m *Marking) dated(p PartReading) bool {
	return slices.ContainsFunc(m.Dates, func(d DateReading) bool { return d.Token == p.Token })
}

// oldest gives a type whose family was not named in the oldest of its variant's families.
// The A series is not taken for a number without a letter: its A is printed on the chip, and
// later chips without a letter have the levels of the B series.
func oldest(typ part.Type, named bool) (part.Type, bool, error) {
	if !named {
		since := func(f *part.Family) int {
			if f.Name == "4000A" {
				return math.MaxInt
			}
			return MadeSince(f)
		}
		typ.Family = slices.MinFunc(typ.Variant.Families, func(a, b *part.Family) int { return cmp.Compare(since(a), since(b)) })
	}
	return typ, named || len(typ.Part().Families()) == 1, nil
}
