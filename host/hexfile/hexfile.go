// Package hexfile reads and writes Intel HEX, the text form in which the contents
// of ROMs are kept: Intel, "Hexadecimal Object File Format Specification",
// revision A, 1988. It reads the records for data, end of file and the two kinds of
// extended addresses; it skips start addresses, which mean nothing to a memory.
package hexfile

import (
	"bufio"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strings"
)

// The record types.
const (
	data            = 0
	endOfFile       = 1
	extendedSegment = 2
	startSegment    = 3
	extendedLinear  = 4
	startLinear     = 5
)

// lineBytes is how many bytes a written record holds.
const lineBytes = 16

// MostBytes bounds the addresses of a file that is read: 16 MiB.
const MostBytes = 1 << 24

// ErrFormat is the error of what is no Intel HEX.
var ErrFormat = errors.New("not Intel HEX")

// Write writes contents from address 0.
func Write(w io.Writer, contents []byte) error {
	b := bufio.NewWriter(w)
	for at := 0; at < len(contents); at += lineBytes {
		if at > 0 && at&0xFFFF == 0 {
			writeRecord(b, extendedLinear, 0, []byte{byte(at >> 24), byte(at >> 16)})
		}
		writeRecord(b, data, at&0xFFFF, contents[at:min(len(contents), at+lineBytes)])
	}
	writeRecord(b, endOfFile, 0, nil)
	return b.Flush()
}

func writeRecord(w io.Writer, kind, address int, bytes []byte) {
	record := append([]byte{byte(len(bytes)), byte(address >> 8), byte(address), byte(kind)}, bytes...)
	record = append(record, -sum(record))
	fmt.Fprintf(w, ":%X\n", record)
}

// sum adds bytes modulo 256; over a whole sound record it is 0.
func sum(record []byte) (s byte) {
	for _, b := range record {
		s += b
	}
	return s
}

// A base is what the addresses of data records are added to. Before the first
// record of extended addresses it is linear, and 0.
type base struct {
	address   int
	segmented bool
}

// at is the address of a byte of a data record by its load offset (DRLO of the
// specification) and its index (DRI). In a segment the sum wraps round at 64 KiB:
// SBA + ([DRLO + DRI] MOD 64K). Linear addresses go on: (LBA + DRLO + DRI) MOD 4G.
func (b base) at(offset, index int) int {
	if b.segmented {
		return b.address + (offset+index)&0xFFFF
	}
	return (b.address + offset + index) & 0xFFFF_FFFF
}

// Read gives the bytes of a file from address 0 to its highest; those that it does
// not give are fill, and a file without data gives none. Its errors, ErrFormat, name the line.
func Read(r io.Reader, fill byte) (contents []byte, err error) {
	lines := bufio.NewScanner(r)
	var base base
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" {
			continue
		}
		record, err := parse(line)
		if err != nil {
			return nil, fmt.Errorf("%w: line %d: %w", ErrFormat, n, err)
		}
		address, kind, bytes := int(record[1])<<8|int(record[2]), record[3], record[4:len(record)-1]
		switch {
		case kind == data:
			for i, b := range bytes {
				at := base.at(address, i)
				if at >= MostBytes {
					return nil, fmt.Errorf("%w: line %d: address %#x is beyond %d bytes", ErrFormat, n, at, MostBytes)
				}
				for len(contents) <= at {
					contents = append(contents, fill)
				}
				contents[at] = b
			}
		case kind == endOfFile:
			return contents, nil
		case kind == extendedSegment && len(bytes) == 2:
			base.address, base.segmented = (int(bytes[0])<<8|int(bytes[1]))<<4, true
		case kind == extendedLinear && len(bytes) == 2:
			base.address, base.segmented = (int(bytes[0])<<8|int(bytes[1]))<<16, false
		case kind == startSegment || kind == startLinear:
		default:
			return nil, fmt.Errorf("%w: line %d: a record of type %d and %d bytes", ErrFormat, n, kind, len(bytes))
		}
	}
	if err := lines.Err(); err != nil {
		return nil, err
	}
	return nil, fmt.Errorf("%w: it has no end-of-file record, and may be cut off", ErrFormat)
}

// parse gives the bytes of a record whose length and checksum are right.
func parse(line string) ([]byte, error) {
	if line[0] != ':' {
		return nil, errors.New("it does not begin with a colon")
	}
	record, err := hex.DecodeString(line[1:])
	switch {
	case err != nil:
		return nil, err
	case len(record) < 5 || len(record) != int(record[0])+5:
		return nil, errors.New("its length is not the one that it states")
	case sum(record) != 0:
		return nil, errors.New("its checksum is wrong")
	}
	return record, nil
}
