package protocol

import (
	"bytes"
	"iter"
)

// A Decoder finds the frames in the bytes from a line. It holds at most one frame.
// After bytes that it could not read it is in step again at the next delimiter. The zero Decoder is ready.
type Decoder struct {
	encoded []byte
	long    bool // the frame is too long and is being passed over
}

// Feed takes the next bytes and yields the frames that they complete, in order; for
// a damaged frame, an error that says what is wrong with it. Stopping loses the rest of p. A payload stays valid.
func (d *Decoder) Feed(p []byte) iter.Seq2[Frame, error] {
	return func(yield func(Frame, error) bool) {
		for len(p) > 0 {
			end := bytes.IndexByte(p, delimiter)
			if end < 0 {
				d.hold(p)
				return
			}
			d.hold(p[:end])
			p = p[end+1:]
			if frame, err, any := d.take(); any && !yield(frame, err) {
				return
			}
		}
	}
}

// Reset forgets a frame that has begun.
func (d *Decoder) Reset() { d.encoded, d.long = d.encoded[:0], false }

func (d *Decoder) hold(p []byte) {
	if d.long || len(d.encoded)+len(p) > WireLen(MaxPayload) {
		d.encoded, d.long = d.encoded[:0], true
		return
	}
	d.encoded = append(d.encoded, p...)
}

// take decodes the bytes before a delimiter; it skips an empty frame.
func (d *Decoder) take() (f Frame, err error, any bool) {
	defer d.Reset()
	switch {
	case d.long:
		return Frame{}, ErrLong, true
	case len(d.encoded) == 0:
		return Frame{}, nil, false
	}
	f, err = Decode(d.encoded)
	return f, err, true
}
