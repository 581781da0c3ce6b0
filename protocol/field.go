package protocol

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// ErrPayload reports a payload that does not have the form of its type.
var ErrPayload = errors.New("malformed payload")

// A writer appends the fields of a payload.
type writer struct{ payload []byte }

func (w *writer) u8(v uint8) *writer {
	w.payload = append(w.payload, v)
	return w
}

func (w *writer) u16(v uint16) *writer {
	w.payload = binary.LittleEndian.AppendUint16(w.payload, v)
	return w
}

func (w *writer) u32(v uint32) *writer {
	w.payload = binary.LittleEndian.AppendUint32(w.payload, v)
	return w
}

func (w *writer) words(all []uint32) *writer {
	for _, v := range all {
		w.u32(v)
	}
	return w
}

// A reader takes the fields of a payload. Past its end it gives zeros and remembers.
type reader struct {
	rest  []byte
	short bool
}

func (r *reader) take(n int) []byte {
	if n > len(r.rest) {
		r.rest, r.short = nil, true
		return make([]byte, n)
	}
	field := r.rest[:n]
	r.rest = r.rest[n:]
	return field
}

func (r *reader) u8() uint8   { return r.take(1)[0] }
func (r *reader) u16() uint16 { return binary.LittleEndian.Uint16(r.take(2)) }
func (r *reader) u32() uint32 { return binary.LittleEndian.Uint32(r.take(4)) }

// words takes words to the end.
func (r *reader) words() []uint32 {
	all := make([]uint32, 0, len(r.rest)/4)
	for len(r.rest) > 0 {
		all = append(all, r.u32())
	}
	return all
}

// exact is for requests: nothing may be missing or left over.
func (r *reader) exact(m Message) error {
	if r.short || len(r.rest) > 0 {
		return fmt.Errorf("%v: %w", m.Type(), ErrPayload)
	}
	return nil
}

// grown is for replies: later firmware may add fields at the end.
func (r *reader) grown(m Message) error {
	if r.short {
		return fmt.Errorf("%v: %w", m.Type(), ErrPayload)
	}
	return nil
}
