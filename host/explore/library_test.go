package explore_test

import (
	"errors"
	"strings"
	"testing"

	"chipassay/host/explore"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
	"chipassay/vectors/sample"
)

// triedTypes is how many types the ordinary run tries: four seconds.
const triedTypes = 25

// Every good chip of the library does what its data sheet's function gives: at power-up,
// through all rows, and with each input toggled through L, H and open. No pin of one is
// ever found held the other way.
func TestGoodChipsOfTheLibrary(t *testing.T) {
	parts, err := library.All()
	if err != nil {
		t.Fatal(err)
	}
	var types []part.Type
	for _, p := range parts {
		for _, v := range p.Variants {
			if v.Refusal == "" && v.Memory == nil {
				types = append(types, part.Type{Variant: v, Family: v.Families[len(v.Families)/2]})
			}
		}
	}
	reached, all := 0, 0
	for _, typ := range sample.Of(sample.Random(t), triedTypes, types) {
		t.Run(typ.Name(), func(t *testing.T) {
			b := powered(t, typ.Name())
			b.asExpected()
			if err := b.try("rows"); err != nil && !errors.Is(err, explore.ErrRefused) {
				t.Fatal(err)
			}
			for _, table := range b.Tables() {
				seen, differ, rows := table.Ticked()
				if reached, all = reached+seen, all+rows; differ > 0 {
					t.Errorf("%d rows of %s differ", differ, table.Title)
				}
			}
			for _, p := range typ.Variant.Pins {
				for range 3 {
					if !b.Settable(p.Number) {
						break
					}
					if _, err := b.Toggle(t.Context(), p.Number); err != nil && !errors.Is(err, explore.ErrRefused) {
						t.Fatal(err)
					}
					b.asExpected()
				}
			}
		})
	}
	t.Logf("%d of %d rows were reached", reached, all)
	if 100*reached < 95*all { // what the rest wait for is a state that no one row leads to
		t.Errorf("%d of %d rows were reached", reached, all)
	}
}

// asExpected wants no difference, and no pin that was released because it fights.
func (b *bench) asExpected() {
	b.t.Helper()
	state := b.State()
	notes := strings.Join(state.Notes, "\n")
	if d := state.Differences(); d != 0 || strings.Contains(notes, "is released") {
		b.t.Errorf("after %q: %s: %s", state.Did, b.Type.Variant.Named(d), notes)
	}
}
