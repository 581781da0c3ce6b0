package protocol

// crcInit is what a CRC starts from.
const crcInit = 0xffff

// crc continues a CRC-16/IBM-3740 (polynomial 0x1021, initial value 0xffff, not
// reflected, not inverted) over p: a byte at a time without a table, after the
// structure of the polynomial x^16 + x^12 + x^5 + 1.
func crc(sum uint16, p []byte) uint16 {
	for _, b := range p {
		x := uint16(b) ^ sum>>8
		x ^= x >> 4
		sum = sum<<8 ^ x<<12 ^ x<<5 ^ x
	}
	return sum
}
