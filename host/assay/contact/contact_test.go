package contact_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/part"
	"chipassay/vectors/sample"
)

func TestSeating(t *testing.T) {
	for _, c := range []struct{ typ, defect, found string }{
		{"7410", "empty", "empty socket"},
		{"7410", "3 open", "pin 3 makes no contact"},
		{"7410", "12 bent", "pin 12 makes no contact"},
		{"7410", "7 open", "pin 7 makes no contact"},
		{"4011", "7 open", "pin 7 makes no contact"},
		{"7401", "7 open", "pin 7 makes no contact"}, // open collectors
		{"7410", "14 open", "pin 14 makes no contact"},
		{"7410", "reversed", "put in backwards"},
		{"74LS10", "reversed", "put in backwards"},
		{"4011", "reversed", "put in backwards"},
		{"74LS244", "reversed", "put in backwards"},
		{"74LS244", "reversed", "put in backwards"},
		{"7410", "shifted", "shifted by one"},
		{"74HC00", "shifted 2", "shifted by two"},
		{"7410", "5 shorted to 6", "pins 5 and 6 shorted"},
		{"4066", "2 shorted to 3", "pins 2 and 3 shorted"},
		{"4066", "1 shorted to 2", ""}, // an analog switch joins them: judged powered
		{"7410", "14 shorted to 7", "supply shorted to ground"},
		{"74LS244", "20 shorted to 10", "supply shorted to ground"},
		{"4011", "3 shorted to ground", "pin 3 shorted to ground"},
		{"7400", "1 shorted to ground", "pin 1 shorted to ground"},
		{"74LS244", "2 shorted to ground", "pin 2 shorted to ground"},
		{"7400", "1 shorted to supply", "pin 1 shorted to the supply"},
		{"74HC00", "3 shorted to supply", "pin 3 shorted to the supply"},
	} {
		typ, err := library.Open(c.typ)
		require.NoError(t, err)
		s := seating(t, typ, c.defect)
		require.Equal(t, c.found, s.Found, "%s with %q", c.typ, c.defect)
		require.Equal(t, c.found == "", s.Advice == "")
	}
}

func TestSeatingOfSeveralOpenPins(t *testing.T) {
	typ, err := library.Open("74LS00")
	require.NoError(t, err)
	require.Equal(t, "pins 3 and 11 make no contact", seating(t, typ, "3 open", "11 open").Found)
	require.Equal(t, "pins 1, 3 and 11 make no contact", seating(t, typ, "3 open", "11 open", "1 bent").Found)
}

// No good part of any family is refused before power, and every reversed,
// shifted, empty and one-pin-open insertion of every part is caught. The ordinary
// run takes two parts of each kind (sample.KindOf) in all their families, and opens a few
// pins of each.
func TestSeatingOfTheWholeLibrary(t *testing.T) {
	const openPins = 3
	random := sample.Random(t)
	parts, err := library.All()
	require.NoError(t, err)
	caught, tried := map[string]int{}, map[string]int{}
	good, unjudged := 0, map[string]bool{}
	insert := func(kind, want string, typ part.Type, defect string) {
		tried[kind]++
		switch s := seating(t, typ, defect); {
		case s.Found == want:
			caught[kind]++
		case kind == "reversed" && len(s.Pins) > 1: // refused all the same, for pins that cannot all be open
			caught["reversed, named as many pins without contact"]++
		default:
			t.Errorf("%s %s: %q, want %q", typ.Name(), defect, s.Found, want)
		}
	}
	var variants []*part.Variant
	for _, p := range parts {
		for _, v := range p.Variants {
			if v.Refusal == "" {
				variants = append(variants, v)
			}
		}
	}
	kind := func(v *part.Variant) string { return sample.KindOf(part.Type{Variant: v, Family: v.Families[0]}) }
	for _, v := range sample.OfEach(random, 2, variants, kind) {
		seen := map[part.Technology]bool{}
		for _, f := range v.Families {
			typ := part.Type{Variant: v, Family: f}
			require.Empty(t, seating(t, typ).Found, "a good %s", typ.Name())
			good++
			if seen[f.Technology] {
				continue
			}
			seen[f.Technology] = true
			insert("empty", "empty socket", typ, "empty")
			insert("reversed", "put in backwards", typ, "reversed")
			if len(v.Pins) <= 26 {
				insert("shifted", "shifted by one", typ, "shifted")
			}
			if f.Technology != v.Families[0].Technology {
				continue // every pin once
			}
			for _, pin := range sample.Of(random, openPins, v.Pins) {
				switch {
				case pin.Role == part.NoConnect:
				case pin.Role == part.External || pin.Role == part.Expander || pin.Untested != "" || pin.Diodeless:
					unjudged[fmt.Sprintf("%s pin %d", v.Part.Number, pin.Number)] = true
				default:
					insert("open", fmt.Sprintf("pin %d makes no contact", pin.Number), typ, fmt.Sprintf("%d open", pin.Number))
				}
			}
		}
	}
	t.Logf("%d good types of %d parts refused by none; caught: %v of %v; %d pins that nothing shows: %v",
		good, len(parts), caught, tried, len(unjudged), unjudged)
}

// No good memory is refused before power, and every reversed, shifted, empty and
// one-pin-open insertion is identified. The ordinary run opens a few pins of each.
func TestSeatingOfMemories(t *testing.T) {
	random := sample.Random(t)
	tried := 0
	for _, typ := range memories(t) {
		require.Empty(t, seating(t, typ).Found, "a good %s", typ.Name())
		found := map[string]string{"empty": "empty socket", "reversed": "put in backwards"}
		if len(typ.Variant.Pins) <= 26 {
			found["shifted"] = "shifted by one"
		}
		for _, pin := range sample.Of(random, 6, typ.Variant.Pins) {
			if pin.Role != part.NoConnect && pin.Role != part.External && pin.Untested == "" {
				found[fmt.Sprintf("%d open", pin.Number)] = fmt.Sprintf("pin %d makes no contact", pin.Number)
			}
		}
		for defect, want := range found {
			tried++
			require.Equal(t, want, seating(t, typ, defect).Found, "%s %s", typ.Name(), defect)
		}
	}
	t.Logf("%d insertions identified", tried)
}

// memories gives every memory of the library that may be powered, in its first family.
func memories(t testing.TB) (types []part.Type) {
	t.Helper()
	parts, err := library.Memories()
	require.NoError(t, err)
	for _, p := range parts {
		for _, v := range p.Variants {
			if v.Refusal == "" {
				types = append(types, part.Type{Variant: v, Family: v.Families[0]})
			}
		}
	}
	return types
}
