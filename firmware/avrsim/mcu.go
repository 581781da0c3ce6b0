//go:build simavr

package avrsim

/*
#cgo LDFLAGS: -lsimavr -lelf
#include <stdlib.h>
#include "machine.h"
*/
import "C"

import (
	"bytes"
	"debug/elf"
	"errors"
	"fmt"
	"runtime/cgo"
	"time"
)

// Hertz is the clock of the adapter's MCU.
const Hertz = 16_000_000

// A Port is one of the MCU's ports, by its letter.
type Port byte

// Pins is what the MCU's pins are connected to.
type Pins interface {
	// Changed is called when the program set a port's lines: a 1 in out makes one an
	// output, at its bit of latch. On an input, a 1 in latch is a pull-up.
	Changed(p Port, out, latch uint8)
	// Levels are those at a port's lines, read now.
	Levels(p Port) uint8
	// Millivolts is the voltage at an ADC channel, 0 to 15, mV.
	Millivolts(channel int) int
	// Reset is called at a reset, whatever caused it: no line is driven any more.
	Reset()
}

// ErrCrashed is a program that ran into what is no instruction.
var ErrCrashed = errors.New("the program crashed")

// An MCU is a simulated ATmega2560 at 16 MHz, with what is connected to it. It
// is for one goroutine at a time.
type MCU struct {
	machine *C.struct_machine
	handle  cgo.Handle
	pins    Pins
	usart   usart
	// Bus is what the I²C lines are connected to; nil for nothing.
	Bus Slave

	// Resets counts those that nobody asked for: the watchdog's.
	Resets int
	asked  bool // the reset that is under way is by Reset
	cause  uint8
}

// Registers: the ATmega2560's data sheet, Register Summary.
var firstOfPort = map[Port]uint16{
	'A': 0x20, 'B': 0x23, 'C': 0x26, 'D': 0x29, 'E': 0x2C, 'F': 0x2F, 'G': 0x32,
	'H': 0x100, 'J': 0x103, 'K': 0x106, 'L': 0x109,
}

const (
	pinOf, ddrOf, portOf = 0, 1, 2 // PINx, DDRx, PORTx behind the first
	mcusr                = 0x54
	poweredOn            = 1 << 0 // PORF of MCUSR
	resetLine            = 1 << 1 // EXTRF
)

var portAt = func() map[uint16]Port {
	at := map[uint16]Port{}
	for p, first := range firstOfPort {
		for _, register := range []uint16{pinOf, ddrOf, portOf} {
			at[first+register] = p
		}
	}
	return at
}()

// NewMCU loads an ELF image into the flash and the EEPROM and switches the MCU on.
func NewMCU(image []byte, pins Pins) (*MCU, error) {
	m := &MCU{pins: pins}
	m.handle = cgo.NewHandle(m)
	m.machine = C.machine_new(C.uintptr_t(m.handle))
	if m.machine == nil {
		m.handle.Delete()
		return nil, errors.New("libsimavr has no ATmega2560 with what is needed of it")
	}
	if err := m.load(image); err != nil {
		m.Close()
		return nil, err
	}
	for _, first := range firstOfPort {
		C.machine_watch_read(m.machine, C.uint16_t(first+pinOf))
		for _, register := range []uint16{pinOf, ddrOf, portOf} {
			C.machine_watch_write(m.machine, C.uint16_t(first+register))
		}
	}
	for _, register := range usartRegisters {
		C.machine_watch_write(m.machine, C.uint16_t(register))
	}
	C.machine_watch_read(m.machine, ucsr0a)
	C.machine_watch_read(m.machine, udr0)
	m.restart(poweredOn)
	return m, nil
}

// Where avr-gcc links to, by address.
const (
	ramBase    = 0x80_0000
	eepromBase = 0x81_0000
	fuseBase   = 0x82_0000
)

func (m *MCU) load(image []byte) error {
	file, err := elf.NewFile(bytes.NewReader(image))
	if err != nil {
		return fmt.Errorf("load the image: %w", err)
	}
	if file.Machine != elf.EM_AVR {
		return fmt.Errorf("load the image: it is for %v, not for an AVR", file.Machine)
	}
	for _, segment := range file.Progs {
		if segment.Type != elf.PT_LOAD || segment.Filesz == 0 {
			continue
		}
		content := make([]byte, segment.Filesz)
		if _, err := segment.ReadAt(content, 0); err != nil {
			return fmt.Errorf("load the image: %w", err)
		}
		fits := true
		switch at := segment.Paddr; {
		case at < ramBase:
			fits = m.flash(content, uint32(at))
		case at >= eepromBase && at < fuseBase:
			inC := C.CBytes(content)
			fits = bool(C.machine_eeprom(m.machine, inC, C.uint32_t(len(content)), C.uint32_t(at-eepromBase)))
			C.free(inC)
		}
		if !fits {
			return fmt.Errorf("load the image: %d bytes at %#x do not fit", len(content), segment.Paddr)
		}
	}
	return nil
}

// flash puts bytes into the flash, if they fit.
func (m *MCU) flash(content []byte, at uint32) bool {
	inC := C.CBytes(content)
	defer C.free(inC)
	return bool(C.machine_flash(m.machine, inC, C.uint32_t(len(content)), C.uint32_t(at)))
}

// Close gives the simulated MCU back.
func (m *MCU) Close() {
	C.machine_free(m.machine)
	m.handle.Delete()
}

// Cycles is the time since the start, in cycles of the clock, over resets.
func (m *MCU) Cycles() uint64 { return uint64(C.machine_cycles(m.machine)) }

// Elapsed is the same in seconds.
func (m *MCU) Elapsed() time.Duration { return duration(m.Cycles()) }

func duration(cycles uint64) time.Duration {
	return time.Duration(cycles) * (time.Second / 1000) / (Hertz / 1000)
}

func cyclesIn(d time.Duration) uint64 { return uint64(d.Nanoseconds()) * (Hertz / 1_000_000) / 1000 }

// Run lets the program run for some cycles, and what its last instruction takes beyond.
func (m *MCU) Run(cycles uint64) error {
	if C.machine_run(m.machine, C.uint64_t(cycles)) == C.CRASHED {
		return fmt.Errorf("%w after %v", ErrCrashed, m.Elapsed())
	}
	return nil
}

// Skip lets at most so many cycles pass without the program, up to the next
// event in the hardware.
func (m *MCU) Skip(cycles uint64) { C.machine_skip(m.machine, C.uint64_t(cycles)) }

// Reset pulls the reset line low for a moment.
func (m *MCU) Reset() { m.restart(resetLine) }

func (m *MCU) restart(cause uint8) {
	m.asked, m.cause = true, cause
	C.machine_reset(m.machine)
	m.asked = false
}

// wasReset follows each reset, the watchdog's too.
func (m *MCU) wasReset() {
	m.usart = usart{lost: m.usart.lost, sent: m.usart.sent, lastAt: m.Cycles()}
	m.pins.Reset()
	if m.asked {
		C.machine_set(m.machine, mcusr, C.uint8_t(m.cause))
	} else {
		m.Resets++
	}
	m.setNextAlarm()
}

func (m *MCU) register(address uint16) uint8 {
	return uint8(C.machine_get(m.machine, C.uint16_t(address)))
}

// read gives what the program reads from a register that is not the simulator's.
func (m *MCU) read(address uint16) uint8 {
	if p, ok := portAt[address]; ok {
		return m.pins.Levels(p)
	}
	return m.readUSART(address)
}

func (m *MCU) written(address uint16, value uint8) {
	if p, ok := portAt[address]; ok {
		first := firstOfPort[p]
		if address == first+pinOf { // a 1 turns the latch over
			C.machine_set(m.machine, C.uint16_t(first+portOf), C.uint8_t(m.register(first+portOf)^value))
		}
		m.pins.Changed(p, m.register(first+ddrOf), m.register(first+portOf))
		return
	}
	m.writeUSART(address, value)
}

func mcuOf(handle C.uintptr_t) *MCU { return cgo.Handle(handle).Value().(*MCU) }

//export avrsimRead
func avrsimRead(handle C.uintptr_t, address C.uint16_t) C.uint8_t {
	return C.uint8_t(mcuOf(handle).read(uint16(address)))
}

//export avrsimWritten
func avrsimWritten(handle C.uintptr_t, address C.uint16_t, value C.uint8_t) {
	mcuOf(handle).written(uint16(address), uint8(value))
}

//export avrsimAlarm
func avrsimAlarm(handle C.uintptr_t) { mcuOf(handle).alarm() }

//export avrsimReset
func avrsimReset(handle C.uintptr_t) { mcuOf(handle).wasReset() }

//export avrsimMillivolts
func avrsimMillivolts(handle C.uintptr_t, channel C.uint) C.uint32_t {
	return C.uint32_t(max(0, mcuOf(handle).pins.Millivolts(int(channel))))
}

//export avrsimBusStart
func avrsimBusStart(handle C.uintptr_t, addressed C.uint8_t) C.bool {
	bus := mcuOf(handle).Bus
	return C.bool(bus != nil && bus.Start(byte(addressed)))
}

//export avrsimBusWrite
func avrsimBusWrite(handle C.uintptr_t, b C.uint8_t) C.bool {
	bus := mcuOf(handle).Bus
	return C.bool(bus != nil && bus.Write(byte(b)))
}

//export avrsimBusRead
func avrsimBusRead(handle C.uintptr_t) C.uint8_t {
	if bus := mcuOf(handle).Bus; bus != nil {
		return C.uint8_t(bus.Read())
	}
	return 0xFF
}

//export avrsimBusStop
func avrsimBusStop(handle C.uintptr_t) {
	if bus := mcuOf(handle).Bus; bus != nil {
		bus.Stop()
	}
}

// setAlarm has alarm called at a cycle, 0 never.
func (m *MCU) setAlarm(at uint64) {
	wait := uint64(0)
	if at > 0 {
		wait = max(1, at-min(at, m.Cycles()))
	}
	C.machine_alarm(m.machine, C.uint64_t(wait))
}

func (m *MCU) request(which C.enum_machine_interrupt, level bool) {
	C.machine_request(m.machine, which, C.bool(level))
}
