package assay_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
	"chipassay/vectors/sample"
)

// wholeLibrary is what may be in a socket, made once.
var wholeLibrary = sync.OnceValues(func() (circuits []*logic.Circuit, err error) {
	parts, err := library.All()
	if err != nil {
		return nil, err
	}
	return logic.CompileAll(parts)
})

var allMemories = sync.OnceValues(library.Memories)

// A wrongPart is a type in the socket of another.
type wrongPart struct{ typed, inside part.Type }

func (w wrongPart) String() string { return w.inside.Name() + " typed as " + w.typed.Name() }

// wrongParts draws pairs of types of one package size, of which one can be tested and
// both can be powered, and which are not equivalent.
func wrongParts(t *testing.T, random *rand.Rand, n int) (pairs []wrongPart) {
	t.Helper()
	parts, err := library.Builtin().Parts()
	require.NoError(t, err)
	var types []part.Type
	for _, p := range parts {
		for _, v := range p.Variants {
			if v.Refusal == "" {
				types = append(types, part.Type{Variant: v, Family: v.Families[random.IntN(len(v.Families))]})
			}
		}
	}
	for len(pairs) < n {
		w := wrongPart{types[random.IntN(len(types))], types[random.IntN(len(types))]}
		if !slices.Contains(pairs, w) && len(w.typed.Variant.Pins) == len(w.inside.Variant.Pins) && w.typed.Part() != w.inside.Part() &&
			assay.NoTest(w.typed, "") == nil && !equivalent(t, w.typed, w.inside.Part().Number) && !equivalent(t, w.inside, w.typed.Part().Number) {
			pairs = append(pairs, w)
		}
	}
	return pairs
}

// equivalent reports whether a part passes the whole test of a type, as the proofs of the
// library have it, or is a memory organised and connected as the type's.
func equivalent(t *testing.T, typ part.Type, number string) bool {
	t.Helper()
	if typ.Part().Number == number {
		return true
	}
	if m := typ.Variant.Memory; m != nil {
		other, err := library.Builtin().Find(number)
		require.NoError(t, err)
		return other != nil && slices.ContainsFunc(other.Variants, func(v *part.Variant) bool { return sameMemory(typ.Variant, v) })
	}
	p, _, err := proof.Kept(typ)
	require.NoError(t, err)
	return p != nil && slices.Contains(p.Coverage.Intruders, number)
}

func sameMemory(a, b *part.Variant) bool {
	if b.Memory == nil || len(a.Pins) != len(b.Pins) {
		return false
	}
	for i := range a.Pins {
		if a.Pins[i].Role != b.Pins[i].Role {
			return false
		}
	}
	return fmt.Sprint(a.Memory.Address, a.Memory.DataIn, a.Memory.DataOut) == fmt.Sprint(b.Memory.Address, b.Memory.DataIn, b.Memory.DataOut)
}

// assayWrong tests the chip in the socket as the typed part.
func assayWrong(t *testing.T, w wrongPart) *assay.Result {
	t.Helper()
	chip, err := virtual.NewChip(w.inside)
	require.NoError(t, err)
	a, seat, err := seatedOn(t.Context(), w.typed, chip)
	require.NoError(t, err)
	defer a.Close()
	if w.typed.Variant.Memory != nil {
		test, err := march.ByName("MATS+")
		require.NoError(t, err)
		return assay.RunMemory(t.Context(), seat, assay.MemoryPlan{Type: w.typed, Test: test, Others: wholeLibrary, Memories: allMemories})
	}
	plan, err := assay.NewPlan(w.typed, wholeLibrary)
	require.NoError(t, err)
	plan.Memories = allMemories
	return assay.Run(t.Context(), seat, plan)
}

// wrongPairs are how many pairs the ordinary and the long run try.
const (
	wrongPairs    = 15
	allWrongPairs = 300
)

// Of chips that are not what was typed, drawn over the whole library, nine of ten are
// named first, or an equivalent is; and none of these good chips is accused: where the
// part is not named, no fault is either.
func TestAnotherPartIsNamedFirst(t *testing.T) {
	random := sample.Random(t)
	pairs := wrongParts(t, random, sample.Number(wrongPairs, allWrongPairs))
	slots := make(chan struct{}, 2) // as many at once as a small machine has cores
	var lock sync.Mutex
	first, listed, accused := 0, 0, 0
	t.Run("pairs", func(t *testing.T) {
		for i, w := range pairs {
			t.Run(strings.ReplaceAll(fmt.Sprint(i, " ", w), "/", "-"), func(t *testing.T) {
				t.Parallel()
				slots <- struct{}{}
				defer func() { <-slots }()
				r := assayWrong(t, w)
				named := len(r.OtherPart) > 0 && equivalent(t, w.inside, r.OtherPart[0])
				asks := strings.HasPrefix(r.Reason, "probably not a ") || strings.HasPrefix(r.Reason, "first check that it is the right part")
				bad := len(r.OtherPart) == 0 && r.Verdict == assay.Fail && !asks || strings.Contains(r.Reason+strings.Join(r.Findings, ""), "scrap")
				lock.Lock()
				defer lock.Unlock()
				if named {
					first++
				} else {
					t.Logf("%v %s %v: %s %v", w, r.Verdict, r.OtherPart, r.Reason, r.Findings)
				}
				if slices.Contains(r.OtherPart, w.inside.Part().Number) {
					listed++
				}
				if bad {
					accused++
				}
			})
		}
	})
	t.Logf("of %d wrong parts the true one or an equivalent is named first in %d, the true one is listed in %d; accused: %d", len(pairs), first, listed, accused)
	// 15 of which nine in ten are named have 10 or more in 998 of 1000 samples (binomial)
	require.GreaterOrEqual(t, 10*first, sample.Number(6, 9)*len(pairs))
	require.Zero(t, accused)
}

// One sentence names the part, the typed family's first, and at most three of those alike:
// of the same package; with its supply pins elsewhere; of another package; a memory; and of
// another family of the same number, where its chips differ (pinouts from memory of the data books).
func TestTheSentenceOfAnotherPart(t *testing.T) {
	for _, c := range []struct{ typed, inside, cause, first string }{
		{"7400", "7402", "probably a 7402 (or ", "7402"},
		{"74161", "74163", "probably a 74163, not a 74161", "74163"}, // the TTL part forbids some of what probing does
		{"74174", "74175", "probably a 74175, not a 74174", "74175"},
		{"7400", "7490", "probably a 7490, not a 7400", "7490"},
		{"7485", "7486", "probably a 7486, not a 7485", "7486"},
		{"4031", "74148", "probably a 74148 (or 74748), not a 4031B", "74148"},
		{"7400", "74S189", "", ""},
		{"74163", "74161", "probably a 74161, not a 74163", "74161"}, // and no 40161, whose inputs are MOS
		{"7451", "74LS51", "probably a 74L51 (or 74LS51 or ", ""},
	} {
		r := assayWrong(t, wrongPart{open(t, c.typed), open(t, c.inside)})
		if c.cause == "" {
			require.NotEqual(t, assay.Pass, r.Verdict, "%s in a %s", c.inside, c.typed)
			continue
		}
		require.Contains(t, r.Cause, c.cause)
		require.NotContains(t, r.OtherPart, open(t, c.typed).Part().Number)
		if c.first != "" {
			require.Equal(t, c.first, r.OtherPart[0], r.Cause)
		}
		require.LessOrEqual(t, len(r.Cause), 80)
	}
}

// A faulty chip is not called another part; nor is a monostable, whose four vectors a 2502 would pass as
// well, one whose pins drive where those of a 74123 are inputs.
func TestAFaultIsNoOtherPart(t *testing.T) {
	for _, c := range []struct{ typ, defect string }{
		{"7400", "3 stuck low"}, {"7408", "1 stuck high"}, {"4011B", "10 stuck high"}, {"74161", "14 stuck low"}, {"74LS138", "4 stuck low"}, {"74163", "9 stuck high"}, {"74161", "7 stuck high"},
		{"74123", "13 stuck high"}, {"74123", "4 stuck low"}, {"74LS123", "12 stuck low"}, {"4538", "6 stuck high"}, {"74121", "6 stuck high"},
	} {
		typ := open(t, c.typ)
		d, err := virtual.ParseDefect(c.defect)
		require.NoError(t, err)
		chip, err := virtual.NewChip(typ, d)
		require.NoError(t, err)
		a, seat, err := seatedOn(t.Context(), typ, chip)
		require.NoError(t, err)
		plan, err := assay.NewPlan(typ, wholeLibrary)
		require.NoError(t, err)
		r := assay.Run(t.Context(), seat, plan)
		require.NoError(t, a.Close())
		require.Equal(t, assay.Fail, r.Verdict, "%s, %s: %s", c.typ, c.defect, r.Reason)
		require.Empty(t, r.OtherPart, "%s, %s: %s", c.typ, c.defect, r.Reason)
		require.Contains(t, r.Cause, "stuck", "%s, %s", c.typ, c.defect)
	}
}

// What is not powered says whether it is the chip's own if it stays.
func TestTroubleIsTyped(t *testing.T) {
	for defects, want := range map[string]assay.Trouble{
		"1 shorted to 2": assay.ShortedPins, "1 open,5 open": assay.NoContactPins, "": assay.NoTrouble,
	} {
		var all []string
		if defects != "" {
			all = strings.Split(defects, ",")
		}
		r := wholeAssay(t, "7400", all...)
		require.Equal(t, want, r.Trouble, "%s: %s", defects, r.Reason)
	}
}
