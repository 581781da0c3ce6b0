package protocol

import (
	"bytes"
	"errors"
)

// ErrCOBS reports bytes between two delimiters that are no COBS encoding.
var ErrCOBS = errors.New("not a COBS encoding")

const (
	delimiter = 0x00
	fullBlock = 0xff // code of a block of 254 bytes that no zero follows
)

// appendCOBS appends the COBS encoding of p, without a delimiter, to dst: each
// run of bytes up to a zero goes behind a code byte, its length plus one.
func appendCOBS(dst, p []byte) []byte {
	for {
		run := bytes.IndexByte(p, 0)
		last := run < 0
		if last {
			run = len(p)
		}
		if run >= fullBlock-1 {
			dst = append(append(dst, fullBlock), p[:fullBlock-1]...)
			p = p[fullBlock-1:]
			if len(p) == 0 {
				return dst // a full block implies no zero, so none has to be cancelled
			}
			continue
		}
		dst = append(append(dst, byte(run+1)), p[:run]...)
		if last {
			return dst
		}
		p = p[run+1:]
	}
}

// appendDecodedCOBS appends what p encodes to dst. p holds no delimiter.
func appendDecodedCOBS(dst, p []byte) ([]byte, error) {
	if len(p) == 0 {
		return dst, ErrCOBS
	}
	for len(p) > 0 {
		code := int(p[0])
		if code == delimiter || code > len(p) || bytes.IndexByte(p[1:code], delimiter) >= 0 {
			return dst, ErrCOBS
		}
		dst = append(dst, p[1:code]...)
		p = p[code:]
		if code != fullBlock && len(p) > 0 {
			dst = append(dst, 0)
		}
	}
	return dst, nil
}
