package logic_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
)

// A machine without equations would agree with any chip, so no memory may become
// one. What the parts are: from memory.
func TestAMemoryIsNotCompiled(t *testing.T) {
	for number, want := range map[string]string{
		"2114": "2114 is a memory (static RAM) and has no vectors: chipassay test 2114 tests it by a march test",
		"4164": "4164 is a memory (dynamic RAM) and has no vectors: chipassay test 4164 tests it by a march test",
		"2716": "2716 is a memory (EPROM) and has no vectors: chipassay dump 2716 reads its contents",
		"4116": "4116 is a memory (dynamic RAM) and has no vectors, and the adapter must not power it",
	} {
		typ, err := library.Open(number)
		require.NoError(t, err)
		c, err := logic.Compile(typ.Variant)
		require.Nil(t, c, number)
		require.EqualError(t, err, want)
		var memory *logic.MemoryError
		require.ErrorAs(t, err, &memory)
	}
	memories, err := library.Memories()
	require.NoError(t, err)
	require.NotEmpty(t, memories)
	for _, p := range memories {
		for _, v := range p.Variants {
			_, err := logic.Compile(v)
			require.Error(t, err, p.Number)
		}
	}
}
