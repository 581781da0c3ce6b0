package kicad_test

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/kicad"
	"chipassay/vectors/part"
)

// symbolFile is one of the open symbol libraries of Debian's kicad-symbols.
const symbolFile = "/usr/share/kicad/symbols/74xx.kicad_sym"

func library(t *testing.T) *kicad.Library {
	t.Helper()
	text, err := os.ReadFile(symbolFile)
	if err != nil {
		t.Fatalf("%v: apt-get install -y --no-install-recommends kicad-symbols", err)
	}
	l, err := kicad.Read(string(text))
	require.NoError(t, err)
	return l
}

func TestReadsASymbolAndOneThatExtendsIt(t *testing.T) {
	l := library(t)
	for _, name := range []string{"7400", "74LS00"} {
		pins, ok := l.Pins(name)
		require.True(t, ok)
		require.Len(t, pins, 14)
		require.Equal(t, "power_in", pins[13].Type)
		require.Equal(t, "output", pins[2].Type)
	}
}

func TestSymbolSeedsADefinitionThatParses(t *testing.T) {
	l := library(t)
	for _, name := range []string{"74LS00", "74LS244", "74LS245", "74LS38", "74LS161"} {
		pins, err := kicad.Start(l, name)
		require.NoError(t, err, name)
		text := part.Start("9999", "begun from a symbol", pins)
		parts, err := part.Parse(name, text)
		require.NoError(t, err, text)
		require.Len(t, parts[0].Variants[0].Pins, len(pins))
	}
}

func TestWrongFilesAndSymbolsAreRefused(t *testing.T) {
	_, err := kicad.Read("(module x)")
	require.ErrorIs(t, err, kicad.ErrFormat)
	_, err = kicad.Read("(kicad_symbol_lib (symbol")
	require.ErrorIs(t, err, kicad.ErrFormat)
	_, err = kicad.Start(library(t), "74LS9999")
	require.ErrorContains(t, err, "no symbol")
}

func FuzzRead(f *testing.F) {
	f.Add(`(kicad_symbol_lib (symbol "A" (pin input line (name "B") (number "1"))))`)
	f.Fuzz(func(t *testing.T, text string) {
		if l, err := kicad.Read(text); err == nil {
			for _, s := range l.Symbols() {
				l.Pins(s)
			}
		}
	})
}
