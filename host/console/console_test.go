package console

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestColour(t *testing.T) {
	t.Setenv("TERM", "xterm")
	t.Setenv("NO_COLOR", "1")
	assert.False(t, Colour(os.Stdout))
	t.Setenv("NO_COLOR", "")
	file, err := os.Create(filepath.Join(t.TempDir(), "report"))
	require.NoError(t, err)
	defer file.Close()
	assert.False(t, Colour(file), "a file is no terminal")
	null, err := os.Open(os.DevNull)
	require.NoError(t, err)
	defer null.Close()
	assert.False(t, IsTerminal(null), "a device, but no terminal")
}

func TestClip(t *testing.T) {
	assert.Equal(t, "10 kΩ", Clip("10 kΩ", 5))
	assert.Equal(t, "10 …", Clip("10 kΩ", 4))
	assert.Equal(t, "a\ufffd[31m", Clip("a\x1b[31m", 10))
}

func TestWrap(t *testing.T) {
	assert.Equal(t, []string{"one two", "three", "longerthanwide", "x"}, Wrap("one  two three longerthanwide x", 8))
	assert.Equal(t, []string{""}, Wrap("", 8))
}

func TestHang(t *testing.T) {
	assert.Equal(t, []string{"a\ufffd one", "   two"}, Hang("a\x1b ", "one two", 6))
}

const wide = 80

func TestFold(t *testing.T) {
	short := strings.Repeat("x", wide)
	assert.Equal(t, []string{short}, Fold(short, 4, wide))
	long := "  1  FAIL  " + strings.Repeat("word ", 40) + "end"
	lines := Fold(long, 5, wide)
	assert.Equal(t, strings.Fields(long), strings.Fields(strings.Join(lines, " ")), "no word is lost or cut")
	for i, line := range lines {
		assert.LessOrEqual(t, len(line), wide)
		if i > 0 {
			assert.True(t, strings.HasPrefix(line, "     w") || line == "     end", line)
		}
	}
	whole := strings.Repeat("x", 2*wide)
	assert.Equal(t, []string{whole}, Fold(whole, 5, wide))
}
