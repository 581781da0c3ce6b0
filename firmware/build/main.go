// Command build makes the firmware images: firmware/images/atmega2560.elf, .hex
// and virtual.wasm, and a digest of their sources. It prints the flash and static
// RAM of the ATmega2560 image, and fails if they are over the limits.
//
//	go run ./firmware/build
package main

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

func main() {
	firmware := flag.String("firmware", "firmware", "folder of the firmware's sources")
	out := flag.String("out", "", "folder to write to (default: images in the firmware folder)")
	flag.Parse()
	if *out == "" {
		*out = filepath.Join(*firmware, "images")
	}
	size, err := build(*firmware, *out)
	if err != nil {
		fmt.Fprintln(os.Stderr, "build:", err)
		os.Exit(1)
	}
	fmt.Println(size)
}

// A footprint is what an image takes of the MCU, bytes.
type footprint struct{ flash, ram int }

func (f footprint) String() string {
	return fmt.Sprintf("atmega2560: flash %d of %d bytes, static RAM %d of %d bytes", f.flash, maxFlash, f.ram, maxRAM)
}

// build writes all images, and what they were made from, to the folder out.
func build(firmware, out string) (footprint, error) {
	firmware, err := filepath.Abs(firmware)
	if err != nil {
		return footprint{}, err
	}
	if out, err = filepath.Abs(out); err != nil {
		return footprint{}, err
	}
	if err := os.MkdirAll(out, 0o777); err != nil {
		return footprint{}, err
	}
	elf := filepath.Join(out, "atmega2560.elf")
	for _, link := range []struct {
		command func(firmware, out string) ([]string, error)
		out     string
	}{{atmega2560, elf}, {wasm, filepath.Join(out, "virtual.wasm")}} {
		command, err := link.command(firmware, link.out)
		if err != nil {
			return footprint{}, err
		}
		if _, err := run(firmware, command...); err != nil {
			return footprint{}, err
		}
	}
	// For the uploader: all but the EEPROM, whose section would not fit into flash addresses.
	hex := filepath.Join(out, "atmega2560.hex")
	if _, err := run(firmware, avrObjcopy.name, "-O", "ihex", "-R", ".eeprom", elf, hex); err != nil {
		return footprint{}, err
	}
	if err := record(firmware, out); err != nil {
		return footprint{}, err
	}
	size, err := measure(elf)
	if err != nil {
		return footprint{}, err
	}
	if size.flash > maxFlash || size.ram > maxRAM {
		return size, fmt.Errorf("over the limit: %v", size)
	}
	return size, nil
}

// run runs a command in a folder, and gives what it printed.
func run(folder string, command ...string) (string, error) {
	c := exec.Command(command[0], command[1:]...)
	c.Dir = folder
	printed, err := c.CombinedOutput()
	if errors.Is(err, exec.ErrNotFound) {
		return "", fmt.Errorf("%s is missing; install it with: %s", command[0], install)
	}
	if err != nil {
		return "", fmt.Errorf("%s: %w\n%s", command[0], err, printed)
	}
	return string(printed), nil
}

// record writes what the images were made from: the digest of the sources, and
// the versions of the compilers, which decide the last byte.
func record(firmware, out string) error {
	sum, err := digest(firmware)
	if err != nil {
		return err
	}
	versions, err := toolchain(firmware)
	if err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(out, "sources.sha256"), []byte(sum+"\n"), 0o666); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(out, "toolchain.txt"), []byte(versions), 0o666)
}

// toolchain gives the first line of what each tool says of its version.
func toolchain(firmware string) (string, error) {
	var lines strings.Builder
	for _, t := range []tool{avrGCC, avrObjcopy, avrSize, clang, wasmLD} {
		printed, err := run(firmware, t.name, t.versionFlag)
		if err != nil {
			return "", err
		}
		first, _, _ := strings.Cut(printed, "\n")
		fmt.Fprintln(&lines, strings.TrimSpace(first))
	}
	return lines.String(), nil
}

// measure reads the sizes of an ELF: flash holds the code and what the data
// begins as, RAM the data, zeroed and not.
func measure(elf string) (footprint, error) {
	printed, err := run(filepath.Dir(elf), avrSize.name, "-A", elf)
	if err != nil {
		return footprint{}, err
	}
	var f footprint
	for line := range strings.Lines(printed) {
		var section string
		var size, at int
		if n, _ := fmt.Sscanf(line, "%s %d %d", &section, &size, &at); n != 3 {
			continue
		}
		switch section {
		case ".text":
			f.flash += size
		case ".data":
			f.flash += size
			f.ram += size
		case ".bss", ".noinit":
			f.ram += size
		}
	}
	if f.flash == 0 {
		return footprint{}, fmt.Errorf("%s has no code:\n%s", elf, printed)
	}
	return f, nil
}
