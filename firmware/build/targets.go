package main

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// install is the command that installs what the firmware is built with.
const install = "apt-get install -y --no-install-recommends gcc-avr avr-libc binutils-avr clang lld libclang-rt-14-dev"

// A tool is a program that the build runs.
type tool struct{ name, versionFlag string }

var (
	avrGCC     = tool{"avr-gcc", "--version"}
	avrObjcopy = tool{"avr-objcopy", "--version"}
	avrSize    = tool{"avr-size", "--version"}
	clang      = tool{"clang", "--version"}
	wasmLD     = tool{"wasm-ld", "--version"}
)

// warnings are the same on every target, and each is an error.
var warnings = []string{"-std=c99", "-Wall", "-Wextra", "-Wconversion", "-Wshadow", "-Wstrict-prototypes",
	"-Wmissing-prototypes", "-Werror", "-pedantic"}

// Limits of the ATmega2560 image, bytes. The MCU has 256 KB and 8 KB: what is left
// is for later requests and for the stack.
const (
	maxFlash = 48 * 1024
	maxRAM   = 7 * 1024
)

// sources lists the C files of a board in firmware/, with those of the core, and
// the include folders.
func sources(firmware, board string) (files, includes []string, err error) {
	folders := []string{"core", filepath.Join("board", board)}
	for _, folder := range folders {
		found, err := filepath.Glob(filepath.Join(firmware, folder, "*.c"))
		if err != nil {
			return nil, nil, err
		}
		if len(found) == 0 {
			return nil, nil, fmt.Errorf("no C files in %s", filepath.Join(firmware, folder))
		}
		for _, f := range found {
			files = append(files, filepath.ToSlash(strings.TrimPrefix(f, firmware+string(filepath.Separator))))
		}
	}
	slices.Sort(files)
	for _, folder := range append(folders, filepath.Join("board", "revision_b")) {
		includes = append(includes, "-I"+filepath.ToSlash(folder))
	}
	return files, includes, nil
}

// Digest is the SHA-256 of all that the images are made of: the C sources and
// headers, and the build's own source, by name and content.
func digest(firmware string) (string, error) {
	var names []string
	for _, pattern := range []string{"core/*.[ch]", "board/revision_b/*.h", "board/atmega2560/*.[ch]", "board/wasm/*.[ch]",
		"build/targets.go"} {
		found, err := filepath.Glob(filepath.Join(firmware, filepath.FromSlash(pattern)))
		if err != nil {
			return "", err
		}
		names = append(names, found...)
	}
	slices.Sort(names)
	sum := sha256.New()
	for _, name := range names {
		text, err := os.ReadFile(name)
		if err != nil {
			return "", err
		}
		relative, err := filepath.Rel(firmware, name)
		if err != nil {
			return "", err
		}
		text = []byte(strings.ReplaceAll(string(text), "\r\n", "\n"))
		fmt.Fprintf(sum, "%s %d\n%s", filepath.ToSlash(relative), len(text), text)
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

// atmega2560 gives the command that links the image, in firmware/. Link-time
// optimisation lets the board's few instructions into the core's loops; a switch by
// comparisons is faster than the detour through a table in flash.
func atmega2560(firmware, out string) ([]string, error) {
	files, includes, err := sources(firmware, "atmega2560")
	if err != nil {
		return nil, err
	}
	command := []string{avrGCC.name, "-mmcu=atmega2560", "-DF_CPU=16000000UL", "-O2", "-flto", "-fno-jump-tables",
		"-frandom-seed=chipassay"}
	return slices.Concat(command, warnings, includes, files, []string{"-Wl,--gc-sections", "-s", "-o", out}), nil
}

// wasm gives the command that links the module, in firmware/.
func wasm(firmware, out string) ([]string, error) {
	files, includes, err := sources(firmware, "wasm")
	if err != nil {
		return nil, err
	}
	command := []string{clang.name, "--target=wasm32", "-mbulk-memory", "-O2", "-nostdlib", "-flto"}
	return slices.Concat(command, warnings, includes, files, []string{"-Wl,--no-entry", "-Wl,--lto-O2", "-Wl,--strip-all", "-o", out}), nil
}
