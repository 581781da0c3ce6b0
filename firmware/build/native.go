package main

import (
	"path/filepath"
	"slices"
)

// native gives the command that links a program on the native board, in
// firmware/: the tests, or the fuzz target. Sanitizers end it at the first fault.
func native(firmware, program, out string) ([]string, error) {
	files, includes, err := sources(firmware, "native")
	if err != nil {
		return nil, err
	}
	found, err := filepath.Glob(filepath.Join(firmware, "board", "native", program, "*.c"))
	if err != nil {
		return nil, err
	}
	files = append(files, found...)
	sanitizers := "-fsanitize=address,undefined"
	if program == "fuzz" {
		sanitizers = "-fsanitize=fuzzer,address,undefined"
	}
	command := []string{clang.name, "-O1", "-g", sanitizers, "-fno-sanitize-recover=all"}
	return slices.Concat(command, warnings, includes, files, []string{"-o", out}), nil
}
