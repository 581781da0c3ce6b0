// Package images holds the built firmware. `go run ./firmware/build` makes the
// files anew from the C sources in firmware/core and firmware/board.
package images

import (
	_ "embed"
	"strings"
)

// ATmega2560ELF is the image of the adapter revision B for a simulated MCU, and
// for debuggers.
//
//go:embed atmega2560.elf
var ATmega2560ELF []byte

// ATmega2560HEX is the same image in Intel HEX, for an uploader.
//
//go:embed atmega2560.hex
var ATmega2560HEX []byte

// Virtual is the module of the virtual adapter. firmware/board/wasm/board.c
// says what it imports and exports.
//
//go:embed virtual.wasm
var Virtual []byte

//go:embed sources.sha256
var sources string

// Toolchain lists the versions of the tools that built the images, one a line.
//
//go:embed toolchain.txt
var Toolchain string

// Version is that of the firmware in the images: FIRMWARE_… of core/message.h.
const Version = "2.0.0"

// Sources is the SHA-256, in hexadecimal, of the sources that the images were built from.
func Sources() string { return strings.TrimSpace(sources) }
