// Package responder is a board with a bootloader, for tests: the answering side of the
// STK500 protocol, version 2, written from Atmel's application note AVR068 (2591C, 06/06): the
// message of section 3, table 3-1; CMD_SIGN_ON, 5.1.1, tables 5-1 and 5-3; CMD_LOAD_ADDRESS, 5.1.5,
// tables 5-11 and 5-12; CMD_ENTER_PROGMODE_ISP, tables 5-15 and 5-16; CMD_PROGRAM_FLASH_ISP, 5.2.4,
// tables 5-21 and 5-22; CMD_READ_FLASH_ISP, 5.2.5, tables 5-24 to 5-26; CMD_READ_SIGNATURE_ISP,
// 5.2.12 after 5.2.9, tables 5-29 and 5-30; the answer to a damaged message, 5.5.1; the states, 5.6.
// It has the habits of the bootloaders of common ATmega2560 boards (from their published sources):
//
//   - a flash bit once 0 stays 0 until its page is erased;
//   - with each page that is written one page is erased, in order from 0 since the reset;
//   - a command has the sequence number that follows, or 1;
//   - a damaged message is not answered, or with ANSWER_CKSUM_ERROR as the note has it;
//   - an instruction that it does not know is answered with STATUS_CMD_FAILED.
package responder

import (
	"io"
	"slices"
	"time"
)

// Size of the flash, and of a page of it, bytes.
const (
	Size = 256 << 10
	Page = 256
)

// A Board is a microcontroller behind a serial line. It is a port as the host sees it.
type Board struct {
	Flash     [Size]byte
	Signature [3]byte
	// Firmware is what is at the line while no bootloader runs; nil for silence.
	Firmware io.ReadWriter
	// FromHost and ToHost change what passes on the line; nil leaves it.
	FromHost, ToHost func([]byte) []byte
	// Corrupt, where it is set, changes a byte as it is written into the flash.
	Corrupt func(address int, b byte) byte
	// ResetBySignOn: the line has no DTR and RTS, and the board starts its bootloader
	// when the firmware hears a greeting: somebody presses the button at that moment.
	ResetBySignOn bool
	// Dead is a board without a bootloader.
	Dead bool
	// ByHand: the port does not reset the board; only Press does.
	ByHand bool
	// Version1 is a smaller board, whose bootloader speaks the older protocol and starts its
	// program when it hears anything else.
	Version1 bool
	// Monitor is an old bootloader: after three exclamation marks in a row it is deaf.
	Monitor bool
	// AnswersDamage: a damaged message is answered (AVR068, 5.5.1).
	AnswersDamage bool
	// Noise is on the line after each reset.
	Noise []byte
	// Delay is how many reads find nothing before an answer comes.
	Delay int
	// BootloaderAt is the first address of the bootloader; what is written there is refused.
	BootloaderAt int

	Resets  int
	Running bool     // the firmware runs
	Heard   [][]byte // bodies of the commands
	Said    [][]byte // the whole messages from the host

	dtr, closed bool
	seq         byte // that must follow
	message     []byte
	address     int // of the next byte
	erased      int // first page that is not erased since the reset
	out         []byte
	late        []late
	marks       int // exclamation marks in a row
}

// late is an answer that comes after some reads.
type late struct {
	reads int
	m     []byte
}

// New is a board that was bought: its flash holds something, and it runs.
func New() *Board {
	b := &Board{Signature: [3]byte{0x1E, 0x98, 0x01}, Running: true, BootloaderAt: Size - 8<<10, dtr: true} // as a port opens
	for i := range b.Flash {
		b.Flash[i] = byte(i * 7 >> 3)
	}
	return b
}

type noLine struct{}

func (noLine) Error() string { return "inappropriate ioctl for device" }

// SetDTR resets the board when the line goes on.
func (b *Board) SetDTR(on bool) error {
	if b.ResetBySignOn {
		return noLine{}
	}
	if on && !b.dtr && !b.ByHand {
		b.reset()
	}
	b.dtr = on
	return nil
}

// SetRTS does nothing: of this board it is not connected.
func (b *Board) SetRTS(bool) error {
	if b.ResetBySignOn {
		return noLine{}
	}
	return nil
}

// SetReadTimeout: time passes in reads that find nothing.
func (b *Board) SetReadTimeout(time.Duration) error { return nil }

// Close closes the port.
func (b *Board) Close() error { b.closed = true; return nil }

// Press presses the board's reset button.
func (b *Board) Press() { b.reset() }

func (b *Board) reset() {
	b.Resets++
	b.Running = b.Dead
	b.seq, b.message, b.erased, b.address, b.marks = 1, nil, 0, 0, 0
	b.out, b.late = slices.Clone(b.Noise), nil
}

// Greeting is CMD_SIGN_ON with the sequence number 1, as AVR068 has it: 1B 01 00 01 0E 01 and
// the exclusive OR.
var Greeting = []byte{0x1B, 1, 0, 1, 0x0E, 1, 0x1B ^ 1 ^ 1 ^ 0x0E ^ 1}

// Write takes bytes from the host.
func (b *Board) Write(p []byte) (int, error) {
	n := len(p)
	if b.FromHost != nil {
		p = b.FromHost(slices.Clone(p))
	}
	if b.Running && b.ResetBySignOn && slices.Equal(p, Greeting) {
		b.reset()
	}
	if b.Running {
		if b.Firmware == nil {
			return n, nil
		}
		_, err := b.Firmware.Write(p)
		return n, err
	}
	for _, c := range p {
		b.take(c)
	}
	return n, nil
}

// Read gives what the board has sent; 0 and no error is nothing.
func (b *Board) Read(p []byte) (int, error) {
	if len(b.out) == 0 && b.Running && b.Firmware != nil {
		return b.Firmware.Read(p)
	}
	for i := range b.late {
		b.late[i].reads--
	}
	for len(b.late) > 0 && b.late[0].reads < 0 {
		b.out, b.late = append(b.out, b.late[0].m...), b.late[1:]
	}
	n := copy(p, b.out)
	b.out = b.out[n:]
	return n, nil
}

// take collects a message byte by byte.
func (b *Board) take(c byte) {
	if b.Running {
		return // the rest of what was sent after it left
	}
	switch {
	case b.Monitor && b.marks >= 3:
		return
	case c == '!':
		b.marks++
	default:
		b.marks = 0
	}
	if b.Version1 {
		b.takeVersion1(c)
		return
	}
	b.message = append(b.message, c)
	m := b.message
	switch len(m) {
	case 1:
		if c != 0x1B {
			b.message = nil
		}
		return
	case 2:
		if c != 1 && c != b.seq {
			b.message = nil
		}
		return
	case 3, 4:
		return
	case 5:
		if c != 0x0E {
			b.message = nil
		}
		return
	}
	size := int(m[2])<<8 | int(m[3])
	if len(m) < 5+size+1 {
		return
	}
	b.message = nil
	var sum byte
	for _, c := range m {
		sum ^= c
	}
	if sum != 0 {
		if b.AnswersDamage {
			b.answer(m[1], []byte{0xB0, 0xB0}) // ANSWER_CKSUM_ERROR
		}
		return
	}
	b.Said = append(b.Said, m)
	b.seq = m[1] + 1
	b.answer(m[1], b.obey(m[5:5+size]))
}

func (b *Board) answer(seq byte, body []byte) {
	m := append([]byte{0x1B, seq, byte(len(body) >> 8), byte(len(body)), 0x0E}, body...)
	var sum byte
	for _, c := range m {
		sum ^= c
	}
	m = append(m, sum)
	if b.ToHost != nil {
		m = b.ToHost(m)
	}
	b.late = append(b.late, late{b.Delay, m})
}

// takeVersion1 obeys the two commands of AVR061 (2525B) that a host asks first: Get
// Synchronization and Read Signature Bytes, each with Sync_CRC_EOP behind it.
func (b *Board) takeVersion1(c byte) {
	b.message = append(b.message, c)
	switch {
	case string(b.message) == "0 ":
		b.out = append(b.out, 0x14, 0x10)
	case string(b.message) == "u ":
		b.out = append(append(append(b.out, 0x14), b.Signature[:]...), 0x10)
	case string(b.message) == "0", string(b.message) == "u":
		return
	default:
		b.Running = true
	}
	b.message = nil
}

// obey carries out a command and gives its answer.
func (b *Board) obey(c []byte) []byte {
	const ok, failed = 0x00, 0xC0
	b.Heard = append(b.Heard, c)
	switch id := c[0]; {
	case id == 0x01: // CMD_SIGN_ON
		return append([]byte{id, ok, 8}, "AVRISP_2"...)
	case id == 0x06 && len(c) == 5: // CMD_LOAD_ADDRESS, in words; bit 31 falls out of the 32 bits of the address in bytes
		b.address = int(uint32(c[1])<<24|uint32(c[2])<<16|uint32(c[3])<<8|uint32(c[4])) << 1 & 0xFFFF_FFFF
		return []byte{id, ok}
	case id == 0x10 && len(c) == 12: // CMD_ENTER_PROGMODE_ISP
		return []byte{id, ok}
	case id == 0x11 && len(c) == 3: // CMD_LEAVE_PROGMODE_ISP
		b.Running = true
		return []byte{id, ok}
	case id == 0x13 && len(c) > 10: // CMD_PROGRAM_FLASH_ISP
		size := int(c[1])<<8 | int(c[2])
		if size != len(c)-10 || size > Page || b.address%Page != 0 || b.address+size > b.BootloaderAt {
			return []byte{id, failed}
		}
		b.erase()
		for i, data := range c[10:] {
			if b.Corrupt != nil {
				data = b.Corrupt(b.address+i, data)
			}
			b.Flash[b.address+i] &= data
		}
		b.address += size
		return []byte{id, ok}
	case id == 0x14 && len(c) == 4: // CMD_READ_FLASH_ISP
		size := int(c[1])<<8 | int(c[2])
		if b.address+size > Size {
			return []byte{id, failed}
		}
		data := b.Flash[b.address : b.address+size]
		b.address += size
		return append(append([]byte{id, ok}, data...), ok)
	case id == 0x1B && len(c) == 6 && c[2] == 0x30: // CMD_READ_SIGNATURE_ISP
		return []byte{id, ok, b.Signature[min(c[4], 2)], ok}
	default:
		return []byte{id, failed}
	}
}

// erase erases the page that is next, below the bootloader.
func (b *Board) erase() {
	if at := b.erased * Page; at < b.BootloaderAt {
		for i := range Page {
			b.Flash[at+i] = 0xFF
		}
		b.erased++
	}
}
