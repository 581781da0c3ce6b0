package protocol

import "fmt"

// A Code says why an adapter refused or aborted a request. It is an error, so
// that errors.Is(err, protocol.NotPowered) finds it in an ErrorReply.
type Code uint8

// The codes of error replies.
const (
	BadVersion  Code = 1
	BadType     Code = 2
	BadPayload  Code = 3
	BadPosition Code = 4
	Conflict    Code = 5
	NotPowered  Code = 6
	Overcurrent Code = 7
	Limit       Code = 8
	Fault       Code = 9
	NoProgram   Code = 10
)

var codeWords = map[Code]string{
	BadVersion:  "the adapter speaks another version of the protocol",
	BadType:     "the adapter does not know the request",
	BadPayload:  "the request is malformed",
	BadPosition: "the adapter lacks a position, or a switch at it",
	Conflict:    "two drivers would meet on a position",
	NotPowered:  "the socket is not powered",
	Overcurrent: "the supply current is over the limit",
	Limit:       "the request is over the adapter's limit",
	Fault:       "a supply switch or the current monitor of the adapter does not work",
	NoProgram:   "no pattern program is loaded",
}

func (c Code) Error() string {
	if words, known := codeWords[c]; known {
		return words
	}
	return fmt.Sprintf("the adapter refused with code %d", uint8(c))
}

// An ErrorReply is the adapter's refusal of a request. After it the socket is safe.
type ErrorReply struct {
	Code    Code
	Request Type   // type of the request
	Detail  uint32 // by Code, as SPEC.md lists it
}

// Type is TypeError.
func (*ErrorReply) Type() Type { return TypeError }

func (e *ErrorReply) Error() string {
	text := fmt.Sprintf("%v: %v", e.Request, e.Code)
	switch e.Code {
	case BadVersion, BadPayload, Limit:
		return fmt.Sprintf("%s (%d)", text, e.Detail)
	case BadPosition, Conflict, Fault:
		return fmt.Sprintf("%s (word %08x)", text, e.Detail)
	case Overcurrent:
		return fmt.Sprintf("%s (%d.%02d mA)", text, e.Detail/100, e.Detail%100)
	}
	return text
}

// Unwrap gives the code.
func (e *ErrorReply) Unwrap() error { return e.Code }

// Marshal gives the payload.
func (e *ErrorReply) Marshal() []byte {
	return new(writer).u8(uint8(e.Code)).u8(uint8(e.Request)).u32(e.Detail).payload
}

// Unmarshal reads the payload.
func (e *ErrorReply) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	e.Code, e.Request, e.Detail = Code(r.u8()), Type(r.u8()), r.u32()
	return r.grown(e)
}
