package library

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The numbers are those of the parsed definitions, in their order, one that a person's own folder overrides once.
func TestNumbersAreThoseOfTheParts(t *testing.T) {
	own := t.TempDir()
	text, err := builtin.ReadFile("nand2.part")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(own, "nand2.part"), text, 0o600))
	lib, err := With(own)
	require.NoError(t, err)
	numbers, err := lib.Numbers()
	require.NoError(t, err)
	parts, err := lib.Parts()
	require.NoError(t, err)
	var parsed []string
	for _, p := range parts {
		parsed = append(parsed, p.Number)
	}
	assert.Equal(t, parsed, numbers)
}
