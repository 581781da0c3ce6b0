package part

import (
	"regexp"
	"strings"
)

var (
	seriesTTL = regexp.MustCompile(`^(?:54|74)([A-Z]{0,4})([0-9]{2,6})$`)
	// with the letters of the package: 4011UBE
	seriesCMOS = regexp.MustCompile(`^(?:1)?([45][0-9]{3}|40[0-9]{3})(UB|B|A)?[A-Z]{0,2}$`)
	// A number of the 4000 series in a 7400 family is written whole: 74HC4075, 74HC40103.
	allDigits4000 = regexp.MustCompile(`^(?:4[0-9]{3}|40[0-9]{3})$`)
	seriesDriver  = regexp.MustCompile(`^(?:55|75)([0-9]{3})[AB]?$`)
	// Memories: 2114, 2102A, 62256LP, 41256, 93425, 82S129, 27C64, each with a speed behind a hyphen.
	seriesMemory = regexp.MustCompile(`^(?:(27)(C?)([0-9]{2,3})|([1236][0-9]{3}|7[16][0-9]{2}|[2346][1-9][0-9]{3}|76[0-9]{3}|93[0-9]{3}|(?:82S|27S|28C|29C)[0-9]{2,3}|[45][0-9]{3}|4[12]1000|511000))[A-Z]{0,3}(?:-[0-9]{1,3}[A-Z]?)?$`)
)

// SplitTypeName takes a type number such as 74LS51, 54LS51, 4011B, 14011B or
// 74HC4075 apart: the plain series' number and the family it names, or nil
// where it names none that is known. A plain 7451 names the family 74; 74x51
// and 4011 name none. The drivers of the 75 series, such as 75451, have TTL inputs
// and are of the family 74. Ok is false where the text has not the form of a type number.
func SplitTypeName(typed string) (number string, family *Family, ok bool) {
	typed = strings.ToUpper(strings.TrimSpace(typed))
	if m := seriesTTL.FindStringSubmatch(typed); m != nil {
		letters, digits := m[1], m[2]
		number = "74" + digits
		if strings.HasPrefix(letters, "HC") && seriesCMOS.MatchString(digits) {
			number = digits // 74HC4075 is the 4075, 74HC40103 the 40103
		}
		if letters == "X" || letters == "XX" {
			return number, nil, true
		}
		return number, FamilyByName("74" + letters), letters == "" || FamilyByName("74"+letters) != nil
	}
	if m := seriesCMOS.FindStringSubmatch(typed); m != nil {
		if m[2] == "" {
			return m[1], nil, true
		}
		return m[1], FamilyByName("4000" + m[2]), true
	}
	if m := seriesDriver.FindStringSubmatch(typed); m != nil {
		return "75" + m[1], FamilyByName("74"), true
	}
	if m := seriesMemory.FindStringSubmatch(typed); m != nil {
		if m[1] == "" {
			return m[4], nil, true
		}
		if m[2] == "" {
			return m[1] + m[3], nil, true
		}
		return m[1] + m[3], FamilyByName("CMOS"), true
	}
	return "", nil, false
}
