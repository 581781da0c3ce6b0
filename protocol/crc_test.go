package protocol

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

// The check value of the catalogue of parametrised CRC algorithms, entry
// "CRC-16/IBM-3740": width=16 poly=0x1021 init=0xffff refin=false refout=false
// xorout=0x0000 check=0x29b1 residue=0x0000.
func TestCRCCheckValue(t *testing.T) {
	assert.Equal(t, uint16(0x29b1), crc(crcInit, []byte("123456789")))
}

// remainder divides by the polynomial one bit at a time, as long division on paper.
func remainder(p []byte) uint16 {
	reg := uint32(0xffff)
	for _, b := range p {
		for bit := 7; bit >= 0; bit-- {
			top := reg>>15&1 ^ uint32(b>>bit&1)
			reg = reg << 1 & 0xffff
			if top == 1 {
				reg ^= 0x1021
			}
		}
	}
	return uint16(reg)
}

func TestCRCIsTheRemainder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOf(rapid.Byte()).Draw(t, "p")
		sum := crc(crcInit, p)
		assert.Equal(t, remainder(p), sum)
		assert.Zero(t, crc(crcInit, append(p, byte(sum>>8), byte(sum))), "residue")
	})
}
