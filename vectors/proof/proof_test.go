package proof_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/fault"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
	"chipassay/vectors/sample"
)

// Reasons for which a part's vectors do not come up to the floor.
const capacitor = "its pulses need a resistor and a capacitor"

// below are the parts of which a section is below the floor, with the reason.
var below = map[string]string{
	"4047": capacitor, "4098": capacitor, "4528": capacitor, "4538": capacitor, "74121": capacitor, "74122": capacitor,
	"74123": capacitor, "74221": capacitor, "74422": capacitor, "74423": capacitor, "9602": capacitor,
	"4501": "which output of its third gate is the NOR is not known",
}

// leastShown is the share of the detectable faults of each model, in percent, that
// a part's vectors are to show, and leastParts that of the parts that need no
// capacitor of which they do.
const (
	leastShown = 99
	leastParts = 98
)

// What is kept is of just the parts of the library, with the vectors that they have
// now; a sample is worked out anew and must come out the same. After a change: go
// run ./vectors/proof/make.
func TestKeptProofsAreThoseOfTheLibrary(t *testing.T) {
	types := libraryTypes(t)
	for _, typ := range types {
		p, _ := keptOf(t, typ)
		require.NotNil(t, p, "%s: nothing of its circuit and its vectors is kept: go run ./vectors/proof/make", typ.Name())
	}
	circuits := func() ([]*logic.Circuit, error) {
		parts, err := library.All()
		if err != nil {
			return nil, err
		}
		return logic.CompileAll(parts)
	}
	for _, typ := range sample.Of(sample.Random(t), 12, types) {
		_, kept := keptOf(t, typ)
		_, anew, err := proof.WorkOut(typ, circuits)
		require.NoError(t, err)
		anew.Part = kept.Part // several types may share a circuit
		require.JSONEq(t, text(t, kept), text(t, anew), "%s: go run ./vectors/proof/make", typ.Name())
	}
}

func text(t *testing.T, r proof.Record) string {
	t.Helper()
	b, err := json.Marshal(r)
	require.NoError(t, err)
	return string(b)
}

// Every part's vectors ask enough of it for a pass, section by section, or the part
// is listed with the reason; and nearly all show nearly all faults of every model.
func TestEveryPartComesUpToTheFloorOrIsListed(t *testing.T) {
	seen := map[string]bool{}
	full, parts := 0, 0
	var totals [4]fault.Tally
	for _, typ := range libraryTypes(t) {
		p, _ := keptOf(t, typ)
		require.NotNil(t, p, "%s: go run ./vectors/proof/make", typ.Name())
		number, c := typ.Part().Number, p
		var lacking []string
		whole := len(c.Sections) > 0
		for _, s := range c.Sections {
			whole = whole && s.Whole()
			lacking = append(lacking, s.Lacking...)
		}
		if !whole {
			seen[number] = true
			if below[number] == "" {
				t.Errorf("%s: %s", typ.Name(), strings.Join(lacking, "; "))
			}
		} else if below[number] != "" {
			t.Errorf("%s comes up to the floor now: take it out of the list", typ.Name())
		}
		if below[number] == capacitor {
			continue
		}
		parts++
		good := true
		for i, tally := range []fault.Tally{c.StuckAt, c.Cells, c.Pins, c.Shorts} {
			good = good && tally.Percent() >= leastShown
			totals[i].Total += tally.Total
			totals[i].Detectable += tally.Detectable
			totals[i].Detected += tally.Detected
		}
		if good {
			full++
		} else {
			t.Logf("%s: stuck-at %d, cells %d, pins %d, shorts %d %%", typ.Name(), c.StuckAt.Percent(), c.Cells.Percent(), c.Pins.Percent(), c.Shorts.Percent())
		}
	}
	t.Logf("%d of %d types that need no capacitor show %d %% of every model; of detectable faults: stuck-at %d of %d, cells %d of %d, pins %d of %d, shorts %d of %d",
		full, parts, leastShown, totals[0].Detected, totals[0].Detectable, totals[1].Detected, totals[1].Detectable,
		totals[2].Detected, totals[2].Detectable, totals[3].Detected, totals[3].Detectable)
	require.GreaterOrEqual(t, 100*full, leastParts*parts)
	for number := range below {
		require.True(t, seen[number], "%s is in the list, but not below the floor", number)
	}
}

// A definition that is not the library's has its proof worked out.
func TestAnotherDefinitionIsWorkedOut(t *testing.T) {
	parts, err := part.Parse("own.part", strings.Replace(nand, "!(", "(", 1))
	require.NoError(t, err)
	typ := part.Type{Variant: parts[0].Variants[0], Family: parts[0].Families()[0]}
	kept, _, err := proof.Kept(typ)
	require.NoError(t, err)
	require.Nil(t, kept)
	p, err := proof.Of(typ, nil)
	require.NoError(t, err)
	require.Equal(t, 100, p.Coverage.StuckAt.Percent())
	require.True(t, p.Coverage.Sections[0].Whole())
}

const nand = `
part 9900 "own"
kind gate
families 74LS
source "from memory"
package DIP6
    A 1 | U | 6 VCC
    B 2 |   | 5 C
    GND 3 | | 4 Y
inputs A B C
outputs Y
Y = !(A & B & C | !A & C)
`

// keptProofs are those that were looked for, by the type's name: to make the vectors of all
// types is most of what these tests take.
var keptProofs = map[string]struct {
	coverage *fault.Coverage
	record   proof.Record
}{}

// keptOf is what is kept of a type; nil for nothing.
func keptOf(t *testing.T, typ part.Type) (*fault.Coverage, proof.Record) {
	t.Helper()
	k, ok := keptProofs[typ.Name()]
	if !ok {
		p, r, err := proof.Kept(typ)
		require.NoError(t, err)
		if k.record = r; p != nil {
			k.coverage = &p.Coverage
		}
		keptProofs[typ.Name()] = k
	}
	return k.coverage, k.record
}

func libraryTypes(t *testing.T) []part.Type {
	t.Helper()
	parts, err := library.All()
	require.NoError(t, err)
	return proof.Types(parts)
}
