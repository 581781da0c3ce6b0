package flash

import (
	"bytes"
	"fmt"
	"slices"
	"time"
)

// Commands and answers of the older protocol (Atmel application note AVR061, 2525B, 04/03:
// Get Synchronization, Read Signature Bytes), which the bootloaders of smaller boards speak;
// the values of the answers are those of its file command.h (from memory).
const (
	v1GetSync  = 0x30
	v1ReadSign = 0x75
	v1EOP      = 0x20
	v1InSync   = 0x14
	v1OK       = 0x10
)

// version1 is ErrVersion1 if the bootloader after a reset speaks the older protocol, with
// its microcontroller if it says which it is. It is asked last: such a bootloader starts its
// program when it hears anything else.
func (s *session) version1() error {
	if !s.inSync() {
		return nil
	}
	if _, err := s.port.Write([]byte{v1ReadSign, v1EOP}); err != nil {
		return ErrVersion1
	}
	said := s.hear(greeting)
	if at := bytes.IndexByte(said, v1InSync); at >= 0 && len(said) >= at+5 && said[at+4] == v1OK {
		found := [3]byte(said[at+1 : at+4])
		return fmt.Errorf("%w; its signature is % X%s", ErrVersion1, found, named(found))
	}
	return ErrVersion1
}

// inSync asks until it is answered, as the note says: such a bootloader blinks before it listens.
func (s *session) inSync() bool {
	for range greetings {
		if _, err := s.port.Write([]byte{v1GetSync, v1EOP}); err != nil {
			return false
		}
		if bytes.Contains(s.hear(greeting/2), []byte{v1InSync, v1OK}) {
			return true
		}
	}
	return false
}

// hear collects what comes for a while.
func (s *session) hear(patience time.Duration) (said []byte) {
	buffer := make([]byte, 64)
	for ; patience > 0 && s.ctx.Err() == nil; patience -= tick {
		if s.port.SetReadTimeout(tick) != nil {
			break
		}
		n, err := s.port.Read(buffer)
		if err != nil {
			break
		}
		said = slices.Concat(said, buffer[:n])
	}
	return said
}

// named gives a microcontroller's name behind its signature, if it is one that common boards
// have (their data sheets, Signature Bytes; from memory).
func named(signature [3]byte) string {
	name := map[[3]byte]string{
		{0x1E, 0x95, 0x14}: "ATmega328", {0x1E, 0x95, 0x0F}: "ATmega328P", {0x1E, 0x94, 0x06}: "ATmega168",
		{0x1E, 0x95, 0x87}: "ATmega32U4", {0x1E, 0x97, 0x03}: "ATmega1280", {0x1E, 0x97, 0x05}: "ATmega1284P",
		{0x1E, 0x98, 0x02}: "ATmega2561",
	}[signature]
	if name == "" {
		return ""
	}
	return " (" + name + ")"
}
