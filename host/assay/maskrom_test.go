package assay_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/virtual"
	"chipassay/vectors/part"
)

// A mask ROM's selects act at the levels that were ordered (the data sheets of the 2316 and
// 2332, from memory: each select is programmable). All combinations are tried: what a ROM of
// each order holds is read, and the levels are named.
func TestSelectsOfMaskROMsAreFound(t *testing.T) {
	for _, c := range []struct {
		typ     string
		selects []string // the pins that the definition names
	}{{"2316", []string{"CS1", "CS2", "CS3"}}, {"2332", []string{"CS1", "CS2"}}, {"2364", []string{"CS"}}} {
		typ := open(t, c.typ)
		for levels := range 1 << len(c.selects) {
			var high, low, words []string
			for i, name := range c.selects {
				if levels>>i&1 != 0 {
					high, words = append(high, name), append(words, name+" high")
				} else {
					low, words = append(low, name), append(words, name+" low")
				}
			}
			contents := make([]byte, typ.Variant.Memory.Words)
			for i := range contents {
				contents[i] = byte(i*29 + levels)
			}
			read, r := readROM(t, typ, ordered(t, c.typ, high, low), contents)
			require.Equal(t, contents, read, "%s with %v", c.typ, words)
			require.Equal(t, strings.Join(words, ", "), r.Selected)
			require.Equal(t, assay.NotTested, r.Verdict, "%s: %s", c.typ, r.Reason)
			require.Contains(t, r.Method, "selected by "+r.Selected)
		}
	}
}

// A ROM all of whose words are the same is found as well, at whichever level they stand.
func TestSelectsOfABareMaskROM(t *testing.T) {
	typ := open(t, "2332")
	for _, word := range []byte{0, 0xFF} {
		contents := []byte(strings.Repeat(string(rune(0)), 4096))
		for i := range contents {
			contents[i] = word
		}
		read, r := readROM(t, typ, ordered(t, "2332", []string{"CS2"}, []string{"CS1"}), contents)
		require.Equal(t, contents, read)
		require.Equal(t, "CS1 low, CS2 high", r.Selected)
	}
}

// A select whose level makes no difference, and a ROM that drives at none, are named.
func TestSelectsOfABrokenMaskROM(t *testing.T) {
	typ := open(t, "2332")
	contents := make([]byte, 4096)
	for i := range contents {
		contents[i] = byte(i * 31)
	}
	rom := ordered(t, "2332", []string{"CS1", "CS2"}, nil)
	read, r := readROM(t, typ, rom, contents, "20 stuck high") // CS1
	require.Equal(t, contents, read)
	require.Equal(t, "CS1 low or high, CS2 high", r.Selected)
	require.Equal(t, assay.Fail, r.Verdict)
	require.Contains(t, r.Reason, "although pin 20 (CS1) is not active")

	_, r = readROM(t, typ, rom, contents, "20 stuck low")
	require.Equal(t, assay.Fail, r.Verdict)
	require.Contains(t, r.Reason, "its outputs drive at none of the 4 combinations of its selects")
}

// ordered is the ROM of a number whose selects were ordered to act high, or low.
func ordered(t *testing.T, number string, high, low []string) part.Type {
	t.Helper()
	v := *open(t, number).Variant
	m := *v.Memory
	v.Memory, m.Select = &m, nil
	for _, p := range v.Pins {
		for level, names := range map[bool][]string{true: high, false: low} {
			for _, name := range names {
				if p.Name == name {
					m.Select = append(m.Select, part.Control{Pin: p.Number, Active: level})
				}
			}
		}
	}
	require.Len(t, m.Select, len(high)+len(low), fmt.Sprint(high, low))
	return part.Type{Variant: &v, Family: v.Families[0]}
}

// readROM reads a chip that holds some contents as a type.
func readROM(t *testing.T, typ, inside part.Type, contents []byte, defects ...string) ([]byte, *assay.Result) {
	t.Helper()
	var all []virtual.Defect
	for _, text := range defects {
		d, err := virtual.ParseDefect(text)
		require.NoError(t, err)
		all = append(all, d)
	}
	chip, err := virtual.NewChip(inside, all...)
	require.NoError(t, err)
	chip.Burn(contents)
	a, seat, err := seatedOn(t.Context(), typ, chip)
	require.NoError(t, err)
	defer a.Close()
	return assay.ReadROM(t.Context(), seat, assay.MemoryPlan{Type: typ})
}
