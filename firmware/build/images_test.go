package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/firmware/images"
)

const firmware = ".." // from this package's folder

const rebuild = "the images are stale: go run ./firmware/build"

func TestImagesAreFresh(t *testing.T) {
	sum, err := digest(firmware)
	require.NoError(t, err)
	assert.Equal(t, sum, images.Sources(), rebuild)
}

// The images in the tree are what the sources build to. Another compiler decides
// otherwise in places, so the bytes are compared only under the versions that
// the images were built with; the build, its warnings and limits hold under any.
func TestImagesRebuild(t *testing.T) {
	out := t.TempDir()
	size, err := build(firmware, out)
	require.NoError(t, err)
	t.Log(size)
	versions, err := os.ReadFile(filepath.Join(out, "toolchain.txt"))
	require.NoError(t, err)
	if string(versions) != images.Toolchain {
		t.Logf("not compared, for the images were built with\n%sand here are\n%s", images.Toolchain, versions)
		return
	}
	for name, want := range map[string][]byte{
		"atmega2560.elf": images.ATmega2560ELF,
		"atmega2560.hex": images.ATmega2560HEX,
		"virtual.wasm":   images.Virtual,
	} {
		got, err := os.ReadFile(filepath.Join(out, name))
		require.NoError(t, err)
		assert.True(t, bytes.Equal(want, got), "%s: %s", name, rebuild)
	}
}

// README.md states the sizes that the build prints.
func TestReadmeStatesTheSizes(t *testing.T) {
	elf := filepath.Join(firmware, "images", "atmega2560.elf")
	size, err := measure(elf)
	require.NoError(t, err)
	readme, err := os.ReadFile(filepath.Join(firmware, "README.md"))
	require.NoError(t, err)
	assert.True(t, strings.Contains(string(readme), size.String()), "README.md does not say: %v", size)
}

// No C file is in the folder of a Go package: Go refuses one without cgo.
func TestCAndGoAreApart(t *testing.T) {
	languages := map[string]string{}
	err := filepath.WalkDir(firmware, func(path string, entry os.DirEntry, err error) error {
		kind := map[string]string{".c": "C", ".h": "C", ".go": "Go"}[filepath.Ext(path)]
		// The simulated MCU's bench is cgo.
		if kind == "" || strings.HasPrefix(path, filepath.Join(firmware, "avrsim")) {
			return err
		}
		folder := filepath.Dir(path)
		if seen, known := languages[folder]; known && seen != kind {
			t.Errorf("%s has C and Go", folder)
		}
		languages[folder] = kind
		return err
	})
	require.NoError(t, err)
}

// A missing tool is named with the command that installs it.
func TestMissingToolIsNamed(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	_, err := build(firmware, t.TempDir())
	require.Error(t, err)
	assert.ErrorContains(t, err, "avr-gcc is missing")
	assert.ErrorContains(t, err, "apt-get install -y --no-install-recommends gcc-avr")
}
