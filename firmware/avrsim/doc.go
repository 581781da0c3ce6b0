// Package avrsim is the test bench of the firmware: the image for the
// ATmega2560 runs in a simulated microcontroller (libsimavr) with the adapter's
// carrier, a virtual socket and a chip on its ports, and its serial line on a
// pseudo-terminal, so host programs reach it like a real
// one. Registers and far converters are clocked bit by bit as the program moves their
// lines.
//
// The simulator gives the instructions, the timers, the EEPROM, the watchdog
// and the cycle count. The serial port is modelled here, because the
// simulator's holds 64 bytes and takes 11 bits a byte. This one holds two and a half
// bytes, loses what is not read in time, and takes 160 cycles a byte, which is 1 Mbaud.
// The I²C bus is the simulator's, which takes 1 µs a bit at any rate: a reading of the
// current monitor takes 33 µs instead of the 75 µs of 400 kHz.
//
// Everything but this comment is behind the build tag simavr and needs the
// Debian packages of Packages.
package avrsim

// Packages is the command that installs what the build tag simavr needs on Debian.
const Packages = "apt-get install -y --no-install-recommends simavr libsimavr-dev libelf-dev gcc-avr avr-libc"
