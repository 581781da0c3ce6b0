package protocol

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// Errors of a frame. A receiver drops such a frame and goes on after the next
// delimiter.
var (
	ErrCRC   = errors.New("wrong CRC")
	ErrShort = errors.New("shorter than any frame")
	ErrLong  = errors.New("longer than any frame")
)

// ErrVersion reports an undamaged frame of another version of the protocol.
var ErrVersion = errors.New("another version of the protocol")

const (
	headerLen = 3 // version, type, seq
	crcLen    = 2
)

// MaxPayload is the longest payload, in bytes, that a Decoder takes. An adapter's
// own limit is in its Capabilities.
const MaxPayload = 4096

const maxBody = headerLen + MaxPayload + crcLen

// A Frame is the unit of transmission on the line.
type Frame struct {
	Type    Type
	Seq     uint8
	Payload []byte
}

// Encode gives the frame as it goes on the line, its delimiter included.
func (f Frame) Encode() []byte {
	body := make([]byte, 0, headerLen+len(f.Payload)+crcLen)
	body = append(body, Version, byte(f.Type), f.Seq)
	body = append(body, f.Payload...)
	body = binary.BigEndian.AppendUint16(body, crc(crcInit, body))
	line := make([]byte, 0, len(body)+len(body)/(fullBlock-1)+2)
	return append(appendCOBS(line, body), delimiter)
}

// WireLen gives the number of bytes that a frame with a payload of n bytes
// takes on the line at most, its delimiter included.
func WireLen(n int) int {
	body := headerLen + n + crcLen
	return body + (body+fullBlock-2)/(fullBlock-1) + 1
}

// Decode reads one encoded frame, without its delimiter.
func Decode(encoded []byte) (Frame, error) {
	if len(encoded) > maxBody+maxBody/(fullBlock-1)+1 {
		return Frame{}, ErrLong
	}
	body, err := appendDecodedCOBS(make([]byte, 0, len(encoded)), encoded)
	switch {
	case err != nil:
		return Frame{}, err
	case len(body) < headerLen+crcLen:
		return Frame{}, ErrShort
	case len(body) > maxBody:
		return Frame{}, ErrLong
	case crc(crcInit, body) != 0:
		return Frame{}, ErrCRC
	case body[0] != Version:
		return Frame{}, fmt.Errorf("%w: %d, not %d", ErrVersion, body[0], Version)
	}
	return Frame{Type: Type(body[1]), Seq: body[2], Payload: body[headerLen : len(body)-crcLen]}, nil
}
