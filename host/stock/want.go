package stock

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"chipassay/host/assay"
	"chipassay/host/handlist"
	"chipassay/host/record"
	"chipassay/host/verdict"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
	"chipassay/vectors/substitute"
)

// A Holdings is what there is to take chips from, by type.
type Holdings struct {
	Whole    map[string][]Owned // good ones, wholly tested
	Untested map[string][]Owned
}

// Held are the chips in the records that can be taken or tested.
func Held(ctx context.Context, s *record.Store) (Holdings, error) {
	h := Holdings{map[string][]Owned{}, map[string][]Owned{}}
	for r, err := range s.Find(ctx, record.Query{}) {
		switch {
		case err != nil:
			return h, err
		case record.IsAway(r.Drawer):
		case r.Verdict == verdict.NotTested && r.Type != "":
			h.Untested[r.Type] = append(h.Untested[r.Type], ownedOf(r))
		case good(r) && !assay.InPart(r.Reason):
			h.Whole[r.Type] = append(h.Whole[r.Type], ownedOf(r))
		}
	}
	for _, chips := range []map[string][]Owned{h.Whole, h.Untested} {
		for typ, list := range chips {
			chips[typ] = Nearest(list, time.Time{})
		}
	}
	return h, nil
}

// A Need is what a parts list asks for of one part.
type Need struct {
	Part       string
	Wanted     int
	References string
	Chips      []Owned   // good ones of the part itself
	Instead    []Instead // chips of other types with the same pins
	Could      []Instead // what would do with other wiring: it is not counted
	Untested   []Owned   // of the part, which may turn out good
	Buy        int       // what is left to buy

	typ    part.Type
	serves []string // the types that are the part
}

// An Instead is chips of a type that can stand in.
type Instead struct {
	Type    string
	Chips   []Owned
	Words   []string // what is other
	Changes bool     // some of it asks for a change
}

// An Unknown is a line of a list that is not looked for.
type Unknown struct {
	handlist.Line
	Why string
}

// A Shopping is what of a parts list there is, and what is to be bought.
type Shopping struct {
	Needs   []Need
	Unknown []Unknown
	Left    int // lines of parts that are not fitted
	Others  int // lines of other components
}

// A Catalogue finds parts.
type Catalogue struct {
	Find        func(marking string) (typ part.Type, named bool, err error) // named: with its family
	Substitutes func(part.Type) (*substitute.Substitutes, error)
}

// Want looks for the parts of a list among chips. No chip is promised twice: each part has its
// own first, then what stands in without a change, then what stands in with one.
func Want(lines []handlist.Line, have Holdings, c Catalogue) (Shopping, error) {
	list := needs(lines, c.Find)
	left := map[string][]Owned{}
	for typ, chips := range have.Whole {
		left[typ] = slices.Clone(chips)
	}
	take := func(typ string, most int) []Owned {
		n := min(most, len(left[typ]))
		taken := left[typ][:n:n]
		left[typ] = left[typ][n:]
		return taken
	}
	for _, anyFamily := range []bool{false, true} { // who asks for one family has it first
		for i := range list.Needs {
			n := &list.Needs[i]
			if len(n.serves) > 1 != anyFamily {
				continue
			}
			n.Buy = n.Wanted
			for _, typ := range n.serves {
				chips := take(typ, n.Buy)
				n.Chips, n.Buy = append(n.Chips, chips...), n.Buy-len(chips)
				n.Untested = append(n.Untested, have.Untested[typ]...)
			}
		}
	}
	found := map[int]*substitute.Substitutes{}
	for i, n := range list.Needs {
		if n.Buy == 0 {
			continue
		}
		s, err := c.Substitutes(n.typ)
		if err != nil {
			return list, err
		}
		found[i] = s
	}
	for _, changes := range []bool{false, true} {
		for i := range list.Needs {
			if n := &list.Needs[i]; n.Buy > 0 {
				n.substitute(found[i].DropIn, changes, take)
			}
		}
	}
	for i := range list.Needs {
		if n := &list.Needs[i]; n.Buy > 0 {
			n.Could = could(append(slices.Clone(found[i].OtherPins), found[i].WithTies...), left)
		}
	}
	return list, nil
}

// substitute takes chips that stand in, with a change or without.
func (n *Need) substitute(dropIn []substitute.Substitute, changes bool, take func(string, int) []Owned) {
	for _, s := range dropIn {
		words, asks := differences(s)
		if asks != changes {
			continue
		}
		for _, typ := range s.Types() {
			if chips := take(typ, n.Buy); len(chips) > 0 {
				n.Instead = append(n.Instead, Instead{typ, chips, words, asks})
				n.Buy -= len(chips)
			}
		}
	}
}

// differences are what is other about a substitute, and whether any asks for a change.
func differences(s substitute.Substitute) (words []string, asks bool) {
	for _, d := range s.Differences {
		words = append(words, d.Words)
		asks = asks || d.Change
	}
	return words, asks
}

// could is what of substitutes with other wiring is there.
func could(all []substitute.Substitute, left map[string][]Owned) (list []Instead) {
	const most = 3
	for _, s := range all {
		for _, typ := range s.Types() {
			if len(left[typ]) == 0 || len(list) == most {
				continue
			}
			words, _ := differences(s)
			list = append(list, Instead{typ, left[typ], words, true})
		}
	}
	return list
}

// needs are the parts of a list, each once, in the order of their first lines.
func needs(lines []handlist.Line, find func(string) (part.Type, bool, error)) (list Shopping) {
	at := map[string]int{}
	for _, l := range lines {
		switch {
		case l.Left:
			list.Left++
			continue
		case l.Other:
			list.Others++
			continue
		case l.Wrong != "":
			list.Unknown = append(list.Unknown, Unknown{l, l.Wrong})
			continue
		}
		typ, named, err := find(l.Part)
		if err != nil && l.Diode {
			list.Others++
			continue
		}
		if err != nil {
			list.Unknown = append(list.Unknown, Unknown{l, why(err)})
			continue
		}
		n := Need{Part: typ.Name(), typ: typ, serves: []string{typ.Name()}}
		if !named && len(typ.Variant.Families) > 1 {
			n.Part = typ.Part().Number + " of any family"
			for _, f := range typ.Variant.Families {
				if name := f.TypeName(typ.Part().Number); name != typ.Name() {
					n.serves = append(n.serves, name)
				}
			}
		}
		i, ok := at[n.Part]
		if !ok {
			i, at[n.Part] = len(list.Needs), len(list.Needs)
			list.Needs = append(list.Needs, n)
		}
		list.Needs[i].Wanted += l.Count
		list.Needs[i].References = strings.Trim(list.Needs[i].References+", "+l.References, ", ")
	}
	list.Needs = slices.DeleteFunc(list.Needs, func(n Need) bool { return n.Wanted == 0 })
	return list
}

// why says in few words why a part is not found.
func why(err error) string {
	var unknown *library.UnknownPartError
	if errors.As(err, &unknown) && unknown.Known == nil && len(unknown.Near) == 0 {
		return "no part of the library"
	}
	return err.Error()
}
