package protocol

import (
	"bytes"
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var anyFrame = rapid.Custom(func(t *rapid.T) Frame {
	// Mostly zeros and non-zeros in runs, where COBS has its borders.
	payload := rapid.OneOf(
		rapid.SliceOfN(rapid.Byte(), 0, 600),
		rapid.SliceOfN(rapid.SampledFrom([]byte{0, 1, 0xff}), 240, 270),
		rapid.SliceOfN(rapid.ByteRange(1, 255), 240, 530),
	).Draw(t, "payload")
	return Frame{Type: Type(rapid.Byte().Draw(t, "type")), Seq: rapid.Byte().Draw(t, "seq"), Payload: payload}
})

// Laws of framing: no zero within, at most one byte more in 254 (the paper's
// bound), and decoding undoes encoding.
func TestFrameRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := anyFrame.Draw(t, "frame")
		line := f.Encode()
		end := len(line) - 1
		assert.Equal(t, end, bytes.IndexByte(line, 0), "the only zero is the delimiter")
		body := len(f.Payload) + 5
		assert.LessOrEqual(t, end, body+(body+253)/254)
		assert.LessOrEqual(t, len(line), WireLen(len(f.Payload)))
		got, err := Decode(line[:end])
		require.NoError(t, err)
		assert.Equal(t, f, got)
	})
}

// A CRC with a polynomial of more than one term finds each single changed bit,
// and this one each burst of up to 16 bits (Peterson and Brown, "Cyclic Codes
// for Error Detection", 1961).
func TestBurstOfErrorsIsFound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := anyFrame.Draw(t, "frame")
		encoded := f.Encode()
		body, err := appendDecodedCOBS(nil, encoded[:len(encoded)-1])
		require.NoError(t, err)
		burst := rapid.Uint16Range(1, 0xffff).Draw(t, "burst")
		at := rapid.IntRange(0, len(body)-2).Draw(t, "at")
		body[at] ^= byte(burst >> 8)
		body[at+1] ^= byte(burst)
		_, err = Decode(appendCOBS(nil, body))
		assert.ErrorIs(t, err, ErrCRC)
	})
}

// However the bytes are cut into pieces, and whatever garbage with a delimiter comes
// between, all undamaged frames are found, in order.
func TestDecoderResynchronises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		frames := rapid.SliceOfN(anyFrame, 1, 5).Draw(t, "frames")
		var line []byte
		for _, f := range frames {
			// Garbage of at most 4 bytes cannot hold a frame by chance.
			line = append(line, rapid.SliceOfN(rapid.Byte(), 0, 4).Draw(t, "garbage")...)
			line = append(append(line, 0), f.Encode()...)
		}
		var d Decoder
		var got []Frame
		for len(line) > 0 {
			n := rapid.IntRange(1, len(line)).Draw(t, "piece")
			for f, err := range d.Feed(line[:n]) {
				if err == nil {
					got = append(got, f)
				}
			}
			line = line[n:]
		}
		assert.Equal(t, frames, got)
	})
}

func TestDecoderPassesOverWhatIsTooLong(t *testing.T) {
	var d Decoder
	long := bytes.Repeat([]byte{0x55}, 3*WireLen(MaxPayload))
	for range d.Feed(long) {
		t.Fatal("nothing is complete")
	}
	assert.LessOrEqual(t, cap(d.encoded), 2*WireLen(MaxPayload), "what is held is bounded")
	safe := Request(1, &Safe{})
	var errs []error
	for f, err := range d.Feed(append([]byte{0}, safe.Encode()...)) {
		errs = append(errs, err)
		if err == nil {
			assert.Equal(t, safe.Type, f.Type)
		}
	}
	require.Len(t, errs, 2)
	assert.ErrorIs(t, errs[0], ErrLong)
	assert.NoError(t, errs[1])
}

// A host takes payloads of at most 4,096 bytes: the longest frame is read, by a
// decoder too, and one byte more is refused, however the bytes come. No more is held
// than the longest frame takes (SPEC.md, Framing).
func TestTheLongestFrame(t *testing.T) {
	require.Equal(t, 4096, MaxPayload)
	for _, c := range []struct {
		name    string
		payload []byte
		err     error
	}{
		{"longest", bytes.Repeat([]byte{0x55}, 4096), nil},
		{"longest, of zeros", make([]byte, 4096), nil},
		{"one more", bytes.Repeat([]byte{0x55}, 4097), ErrLong},
		{"one more, of zeros", make([]byte, 4097), ErrLong},
		{"twice as long", make([]byte, 8192), ErrLong},
	} {
		line := Frame{Type: TypeApply, Seq: 1, Payload: c.payload}.Encode()
		f, err := Decode(line[:len(line)-1])
		require.ErrorIs(t, err, c.err, c.name)
		if c.err == nil {
			require.Equal(t, c.payload, f.Payload, c.name)
		}
		for _, piece := range []int{1, 1000, len(line)} {
			var d Decoder
			var got []error
			for at := 0; at < len(line); at += piece {
				for _, err := range d.Feed(line[at:min(at+piece, len(line))]) {
					got = append(got, err)
				}
				require.LessOrEqual(t, len(d.encoded), 4096+5+17+1, "%s: 5 bytes around the payload, one in 254 of those, the delimiter", c.name)
			}
			require.Len(t, got, 1, c.name)
			require.ErrorIs(t, got[0], c.err, "%s, %d bytes at once", c.name, piece)
		}
	}
	// What is longer than any frame is not decoded at all.
	_, err := Decode(bytes.Repeat([]byte{0xff}, 4096+5+17+1))
	require.ErrorIs(t, err, ErrLong)
	_, err = Decode(bytes.Repeat([]byte{0xff}, 4096+5))
	require.ErrorIs(t, err, ErrCOBS)
}

func TestAnotherVersionIsTold(t *testing.T) {
	body := []byte{Version + 1, byte(TypeHello), 0}
	sum := remainder(body)
	_, err := Decode(appendCOBS(nil, append(body, byte(sum>>8), byte(sum))))
	assert.ErrorIs(t, err, ErrVersion)
}

// What decodes at all encodes to the same bytes, but for one freedom of COBS: a
// full block at the end may or may not be followed by an empty one.
func FuzzDecode(f *testing.F) {
	f.Add(Request(0, &Hello{}).Encode())
	f.Add(Request(7, &Apply{Steps: []Drive{{1, 1}, {3, 2}}}).Encode())
	f.Add([]byte{0xff, 0x01})
	f.Fuzz(func(t *testing.T, line []byte) {
		var d Decoder
		for frame, err := range d.Feed(append(line, 0)) {
			if err != nil {
				continue
			}
			encoded := frame.Encode()
			again, err := Decode(encoded[:len(encoded)-1])
			if err != nil || again.Type != frame.Type || again.Seq != frame.Seq || !bytes.Equal(again.Payload, frame.Payload) {
				t.Fatalf("%v became %v, %v", frame, again, err)
			}
		}
	})
}

func FuzzCOBS(f *testing.F) {
	f.Add([]byte{0x11, 0x22, 0x00, 0x33})
	f.Add(bytes.Repeat([]byte{1}, 254))
	f.Fuzz(func(t *testing.T, p []byte) {
		encoded := appendCOBS(nil, p)
		decoded, err := appendDecodedCOBS(nil, encoded)
		if err != nil || !bytes.Equal(decoded, p) || bytes.IndexByte(encoded, 0) >= 0 {
			t.Fatalf("% x became % x, %v", p, decoded, err)
		}
		if _, err := appendDecodedCOBS(nil, p); err != nil && !errors.Is(err, ErrCOBS) {
			t.Fatal(err)
		}
	})
}
