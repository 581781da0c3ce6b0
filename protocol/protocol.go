// Package protocol holds the messages between the host and an adapter, and their
// framing on the serial line: version 2 of SPEC.md in this folder.
//
// Masks of positions are the words of SPEC.md; this package carries them and does
// not interpret them.
package protocol

import "fmt"

// Version is the version of the protocol that this package speaks.
const Version = 2

// Type is the type of a frame. A reply has the type of its request with bit 7
// set, or is an ErrorReply.
type Type uint8

// The types of requests, and of the error reply.
const (
	TypeHello       Type = 0x01
	TypeStatus      Type = 0x02
	TypeSafe        Type = 0x03
	TypePulls       Type = 0x04
	TypePower       Type = 0x05
	TypeApply       Type = 0x06
	TypeMeasure     Type = 0x07
	TypeCalibration Type = 0x08
	TypeSweep       Type = 0x09
	TypePattern     Type = 0x0a
	TypeWatch       Type = 0x0b

	TypeError Type = 0xff
)

const replyBit Type = 0x80

// Reply gives the type of the reply to a request of type t.
func (t Type) Reply() Type { return t | replyBit }

var typeNames = map[Type]string{
	TypeHello: "HELLO", TypeStatus: "STATUS", TypeSafe: "SAFE", TypePulls: "PULLS", TypePower: "POWER",
	TypeApply: "APPLY", TypeMeasure: "MEASURE", TypeCalibration: "CALIBRATION", TypeSweep: "SWEEP",
	TypePattern: "PATTERN", TypeWatch: "WATCH",
}

func (t Type) String() string {
	if t == TypeError {
		return "error reply"
	}
	name, known := typeNames[t&^replyBit]
	switch {
	case !known:
		return fmt.Sprintf("type 0x%02x", uint8(t))
	case t&replyBit != 0:
		return name + " reply"
	}
	return name
}

// UsualRate is the line rate that an adapter starts at, baud.
const UsualRate = 1_000_000

// Rates are the line rates, baud: the usual one, and those for lines that do not
// carry it, in the order in which an adapter steps through them.
var Rates = []int{UsualRate, 500_000, 38_400}
