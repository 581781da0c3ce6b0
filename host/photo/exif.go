package photo

import "encoding/binary"

// orientation is the Orientation tag of a JPEG, 1 to 8, or 1 where it has none, or none that
// can be understood. Exif 2.32 (CIPA DC-008): APP1 segment with "Exif", two zeros, and a
// TIFF structure (TIFF 6.0), of which only directory 0 is looked at.
func orientation(file []byte) int {
	const soi, app1, startOfScan = 0xd8, 0xe1, 0xda
	if len(file) < 4 || file[0] != 0xff || file[1] != soi {
		return 1
	}
	for rest := file[2:]; len(rest) >= 4 && rest[0] == 0xff; {
		marker, length := rest[1], int(binary.BigEndian.Uint16(rest[2:])) // with itself, T.81 B.1.1.4
		if marker == 0xff {                                               // a fill byte, B.1.1.2
			rest = rest[1:]
			continue
		}
		if marker == startOfScan || length < 2 || len(rest) < 2+length {
			return 1
		}
		if segment := rest[4 : 2+length]; marker == app1 && len(segment) > 6 && string(segment[:6]) == "Exif\x00\x00" {
			return tiffOrientation(segment[6:])
		}
		rest = rest[2+length:]
	}
	return 1
}

// tiffOrientation is the tag in directory 0 of a TIFF structure.
func tiffOrientation(tiff []byte) int {
	const (
		tag       = 0x0112
		short     = 3  // the type of a 16-bit number
		entrySize = 12 // tag, type, count, value
	)
	if len(tiff) < 8 {
		return 1
	}
	var order binary.ByteOrder
	switch string(tiff[:2]) {
	case "II":
		order = binary.LittleEndian
	case "MM":
		order = binary.BigEndian
	default:
		return 1
	}
	at := uint64(order.Uint32(tiff[4:]))
	if order.Uint16(tiff[2:]) != 42 || at+2 > uint64(len(tiff)) {
		return 1
	}
	entries := tiff[at+2:]
	for range order.Uint16(tiff[at:]) {
		if len(entries) < entrySize {
			return 1
		}
		if order.Uint16(entries) == tag {
			n := int(order.Uint16(entries[8:]))
			if order.Uint16(entries[2:]) != short || n < 1 || n > 8 {
				return 1
			}
			return n
		}
		entries = entries[entrySize:]
	}
	return 1
}
