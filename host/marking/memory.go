package marking

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// markedMemory is a memory's marking: maker's letters, number, suffix, and a speed
// with letters about it behind a hyphen. Memories of the 7400 series are marked as logic is.
var markedMemory = regexp.MustCompile(`^([A-Z]{0,4}?)(27(C?)[0-9]{2,3}|(?:82S|27S|28C|29C)[0-9]{2,3}|[0-9]{4,5}|4[12]1000|511000|4(?:16|44|46|49)|314)([A-Z]{0,5})(?:-([A-Z]?)([0-9]{1,3})([A-Z]{1,3}[0-9]?|))?$`)

// readMemory reads a token as a memory of the library that is marked with its
// number alone, or gives nil. Such a number says nothing of a temperature range.
func readMemory(token string, lib *library.Library) (*PartReading, error) {
	m := markedMemory.FindStringSubmatch(token)
	if m == nil || strings.HasPrefix(m[2], "74") {
		return nil, nil
	}
	number, family := m[2], (*part.Family)(nil)
	if m[3] == "C" { // 27C64 is the 2764 of the family CMOS
		number, family = strings.Replace(number, "C", "", 1), part.FamilyByName("CMOS")
	}
	p, chain, err := findMemory(m[1], number, lib, library.AliasOf)
	if err != nil || p == nil || !p.Memory() || family != nil && p.In(family) == nil {
		return nil, err
	}
	number = p.Number
	typ, err := library.Choose(p, family)
	if err != nil {
		return nil, nil // its families differ, and the marking does not show which it is
	}
	return &PartReading{
		Token: token, Prefix: m[1], Type: typ.Name(), Number: number, Part: p, Family: typ.Family, Chain: chain,
		Suffix: m[4] + m[7], Package: memoryPackage(m[4] + m[7]), Speed: speed(typ.Variant.Memory, m[5], m[6]),
	}, nil
}

// findMemory finds the memory of a number, which may be another name of it; the chain then
// says of what. The number with the maker's letters comes first: the TMS2716 has three supplies
// and other pins than the 2716, and the TMS4044 is no 4044.
func findMemory(letters, number string, lib *library.Library, aliasOf func(string) (library.Alias, bool)) (p *part.Part, chain string, err error) {
	names := []string{number}
	if letters != "" {
		names = []string{letters + number, number}
	}
	for _, name := range names {
		if p, err = lib.Find(name); p != nil || err != nil {
			return p, "", err
		}
		if alias, ok := aliasOf(name); ok {
			p, err = lib.Find(alias.Of)
			return p, fmt.Sprintf("%s, house number %s, is the %s (%s)", letters+number, alias.Number, alias.Of, alias.Source), err
		}
	}
	return nil, "", nil
}

// memoryPackage finds the package letter among a memory's letters, of which others
// say the revision (A), low power (L) or a range of temperature.
//
// Source: common practice.
func memoryPackage(suffix string) string {
	for _, letter := range slices.Backward([]byte(suffix)) {
		switch letter {
		case 'N', 'P', 'J', 'F':
			return fmt.Sprintf("%c: %s", letter, packageLetters[letter])
		case 'Q':
			return "Q: ceramic DIP with a window"
		}
	}
	return ""
}

// speed reads the figure behind the hyphen. Of dynamic RAM, EPROM and the CMOS
// static RAM with words of a byte the common grades are tens of nanoseconds; -20
// and -25 are left out for static RAM, of which fast types have grades of 20 and
// 25 ns. One digit is the maker's own count of its grades.
//
// Source: common practice, from memory.
func speed(m *part.Memory, letter, digits string) string {
	if digits == "" {
		return ""
	}
	grade := "-" + letter + digits
	n, _ := strconv.Atoi(digits)
	tens := []int{10, 12, 15, 20, 25}
	switch {
	case m.Kind == part.DynamicRAM, m.Kind == part.EPROM:
	case m.Kind == part.StaticRAM && m.Bits == 8:
		tens = tens[:3]
	default:
		tens = nil
	}
	if letter == "" && slices.Contains(tens, n) {
		return fmt.Sprintf("%s: %d ns access time", grade, 10*n)
	}
	return grade + ": a speed grade, which the maker's data sheet explains"
}
