package marking

import (
	_ "embed"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

var (
	// a number of neither series: digits first, with letters among them, such as 8T26 and 81LS95
	housed = regexp.MustCompile(`^([A-Z]{0,4})([0-9][0-9A-Z]*)(?:-[0-9A-Z]*)?$`)
	// what may stand behind it; a digit alone belongs to the number: 74118 is no 7411
	houseSuffix = regexp.MustCompile(`^(?:[A-Z]{1,5}[0-9]?)?$`)
	// a military number: the slash sheet's three digits and the type's two
	military = regexp.MustCompile(`M38510\s*/\s*([0-9]{5})`)
)

// readHouse reads a token as a number of neither series, or as another name of a part:
// DM81LS95N, F9316PC, JM38510/30001BCA. A number of three digits says nothing without
// letters before or behind it.
func readHouse(token string, lib *library.Library) (*PartReading, error) {
	if m := military.FindStringSubmatch(token); m != nil {
		return housedAs(token, "", "M38510/"+m[1], "", lib)
	}
	prefix, number, suffix := houseNumber(token, func(n string) bool {
		_, alias := library.AliasOf(n)
		return alias || lib.Has(n)
	})
	if number == "" {
		return nil, nil
	}
	return housedAs(token, prefix, number, suffix, lib)
}

// houseNumber finds the longest known number in a token, between the maker's letters and
// those of the package.
func houseNumber(token string, known func(string) bool) (prefix, number, suffix string) {
	whole, _, _ := strings.Cut(token, "-")
	for end := len(whole); end > 4; end-- { // names with letters of their own: UPD416
		if whole[0] >= 'A' && houseSuffix.MatchString(whole[end:]) && known(whole[:end]) {
			return "", whole[:end], whole[end:]
		}
	}
	m := housed.FindStringSubmatch(token)
	if m == nil {
		return "", "", ""
	}
	for end := len(m[2]); end >= 3; end-- {
		n, rest := m[2][:end], m[2][end:]
		bare := m[1] == "" && rest == ""
		if houseSuffix.MatchString(rest) && !(bare && len(n) < 4) && known(n) {
			return m[1], n, rest
		}
	}
	return "", "", ""
}

func housedAs(token, prefix, number, suffix string, lib *library.Library) (*PartReading, error) {
	r := &PartReading{Token: token, Prefix: prefix, Suffix: suffix, Package: packageOf(suffix)}
	p, err := lib.Find(number)
	if err != nil {
		return nil, err
	}
	if p == nil {
		alias, ok := library.AliasOf(number)
		if !ok {
			return nil, nil
		}
		r.Chain = fmt.Sprintf("%s, house number %s, is the %s (%s)", token, number, alias.Of, alias.Source)
		of, family := alias.Part()
		if p, err = lib.Find(of); err != nil || p == nil {
			return nil, err
		}
		r.Family = family
	}
	r.Part, r.Number = p, p.Number
	if r.another() {
		return nil, nil
	}
	if r.Family != nil && p.In(r.Family) == nil {
		r.Family = nil
	}
	if all := p.Families(); r.Family == nil && len(all) == 1 {
		r.Family = all[0]
	}
	r.Type = p.Number
	if r.Family != nil {
		r.Type = r.Family.TypeName(p.Number)
	}
	return r, nil
}

// Eastern numbering: a series, two letters for the function, a number. The rule of the
// designation is that of GOST 18682-73 and OST 11.073.915-80 ("Soviet integrated circuit
// designation", an encyclopaedia's page, read); what the numbers are is from memory, but for
// K155LA3, which a page on it calls equal to the 7400 in pins and characteristics.
var (
	//go:embed eastern.tsv
	easternText string
	eastern     = regexp.MustCompile(`^(?:E?K[RMFBP]?|N|B)?([0-9]{3,4})([A-Z]{2})([0-9]{1,2})[A-Z]?$`)
)

// easternSeries are the families of the series that came in dual-in-line packages and work at 5 V.
var easternSeries = map[string]string{
	"155": "74", "131": "74H", "531": "74S", "555": "74LS", "1531": "74F", "1533": "74ALS", "1554": "74AC", "1564": "74HC",
	"561": "4000B", "564": "4000B", "1561": "4000B",
}

// easternNumbers are, for TTL and for CMOS, the numbers of the functions.
var easternNumbers = sync.OnceValue(func() map[string]string {
	numbers := map[string]string{}
	for line := range strings.Lines(easternText) {
		if of := strings.Fields(line); len(of) == 3 && of[0] != "#" {
			numbers[of[0]+" "+of[1]] = of[2]
		}
	}
	return numbers
})

// plainRules are makers' numberings in which the digits are those of the 7400 series.
//
// Source: from memory.
var plainRules = []struct {
	form   *regexp.Regexp
	family string
	maker  string
}{
	{regexp.MustCompile(`^DL([0-9]{3})[CD]$`), "74LS", "the German DL series"},
	{regexp.MustCompile(`^D1(00|03|04|10|20|26|30|40|72|74|95)[CD]$`), "74", "the German D1 series"},
	{regexp.MustCompile(`^CDB4([0-9]{2,3})[EHJM]*$`), "74", "the Romanian CDB series"},
}

// readPlainRule reads a token such as DL193D.
func readPlainRule(token string, lib *library.Library) (*PartReading, error) {
	for _, rule := range plainRules {
		m := rule.form.FindStringSubmatch(token)
		if m == nil {
			continue
		}
		digits, _ := strconv.Atoi(m[1])
		number, family := fmt.Sprintf("74%02d", digits), part.FamilyByName(rule.family)
		p, err := lib.Find(number)
		if err != nil || p == nil || p.In(family) == nil {
			return nil, err
		}
		name := family.TypeName(number)
		return &PartReading{Token: token, Number: number, Part: p, Family: family, Type: name,
			Chain: fmt.Sprintf("%s, of %s, is the %s (from memory)", token, rule.maker, name)}, nil
	}
	return nil, nil
}

// readEastern reads a token such as K155LA3, written in Cyrillic or in Latin letters.
func readEastern(token string, lib *library.Library) (*PartReading, error) {
	if r, err := readPlainRule(token, lib); r != nil || err != nil {
		return r, err
	}
	m := eastern.FindStringSubmatch(token)
	if m == nil {
		return nil, nil
	}
	family := part.FamilyByName(easternSeries[m[1]])
	if easternSeries[m[1]] == "" || family == nil {
		return nil, nil
	}
	kind := "TTL"
	if family.Series4000() {
		kind = "CMOS"
	}
	number := easternNumbers()[kind+" "+m[2]+m[3]]
	p, err := lib.Find(number)
	if number == "" || err != nil || p == nil {
		return nil, err
	}
	r := &PartReading{Token: token, Number: number, Part: p, Type: number,
		Chain: fmt.Sprintf("%s, series %s, function %s, is the %s (from memory)", token, m[1], m[2]+m[3], family.TypeName(number))}
	if p.In(family) != nil {
		r.Family, r.Type = family, family.TypeName(number)
	}
	return r, nil
}

// latin writes Cyrillic capitals in Latin letters.
var latin = strings.NewReplacer("А", "A", "Б", "B", "В", "V", "Г", "G", "Д", "D", "Е", "E", "Ж", "ZH", "З", "Z", "И", "I", "К", "K", "Л", "L", "М", "M",
	"Н", "N", "О", "O", "П", "P", "Р", "R", "С", "S", "Т", "T", "У", "U", "Ф", "F", "Х", "H", "Ц", "C", "Ч", "CH", "Ш", "SH", "Э", "E", "Ю", "YU", "Я", "YA")

// refused finds what is known of a word's number although no part of the library has it;
// nil for nothing, and for a part. Digits alone are more likely a date code.
func (m *Marking) refused(word string) *library.Missing {
	if slices.ContainsFunc(m.Parts, func(p PartReading) bool { return p.Token == word }) || plainDate.MatchString(word) {
		return nil
	}
	if m := library.MissingPart(word); m != nil {
		return m
	}
	_, number, _ := houseNumber(word, func(n string) bool { return library.MissingPart(n) != nil })
	if number == "" {
		return nil
	}
	return library.MissingPart(number)
}
