package marking

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"

	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// A Marking is what the letters and digits on a chip can mean.
type Marking struct {
	Typed string
	Parts []PartReading
	Dates []DateReading
	Notes []string // where a reading is open, and how to decide; what was not read, and why
}

// ErrNothing is a text in which nothing was recognised.
var ErrNothing = errors.New("no part recognised")

// A PartReading is a group of characters read as a part.
type PartReading struct {
	Token       string // as marked: "XY7438N"
	Prefix      string // maker's letters: "XY"
	Type        string // as the families write it: "74LS38"
	Number      string // of the plain series: "7438"
	Part        *part.Part
	Family      *part.Family // nil where the marking names none
	Suffix      string       // all letters behind the number: "N"
	Package     string       // the package letter and what it commonly stands for
	Temperature string       // the range that the series and its letters stand for
	Chain       string       // how a house number, or another country's numbering, led to the part; else empty
	Speed       string       // of a memory: the figure behind the hyphen, and the access time where it is sure
}

// A DateReading is a group of characters read as a date code.
type DateReading struct {
	Token string
	Code  DateCode
}

var (
	// maker's letters, series, family letters, number, suffix
	markedTTL = regexp.MustCompile(`^([A-Z]{0,4}?)(54|64|74|84)(ALS|AS|HCT|HC|ACT|AC|BCT|LS|H|L|S|F|C|)([0-9]{2,6})([A-Z]{0,5}[0-9]?)$`)
	// maker's letters, the 14000 form or the 4000 form, suffix; 74HC4075 is caught above
	markedCMOS = regexp.MustCompile(`^([A-Z]{0,4}?)(1?[45][0-9]{3}|40[0-9]{3})(UB|[AB]|)([A-Z]{0,4})$`)
	// a peripheral driver of the 75 series
	markedDriver = regexp.MustCompile(`^([A-Z]{0,4}?)(55|75)([0-9]{3})([A-Z]{0,3})$`)
)

// packageLetters are what the letter at the end of a marking commonly stands
// for. Makers differ; the letter is a hint.
//
// Source: common practice.
var packageLetters = map[byte]string{
	'N': "plastic DIP", 'P': "plastic DIP", 'E': "plastic DIP",
	'J': "ceramic DIP", 'F': "ceramic DIP or flat pack, by maker", 'D': "ceramic DIP or small outline, by maker",
	'W': "flat pack", 'L': "ceramic DIP or chip carrier, by maker", 'M': "small outline",
}

// Read reads what is printed on a chip, in any order and over any number
// of lines: the part with its maker's letters, and the date code. It is an
// error if no part of the library and no date code can be read from it.
func Read(text string, lib *library.Library, now time.Time) (Marking, error) {
	m := Marking{Typed: text}
	tokens, err := split(text, lib)
	if err != nil {
		return m, err
	}
	if len(tokens) == 0 {
		return m, errors.New("nothing to read: type what is printed on the chip, such as \"XY7438N 7432\"")
	}
	for _, token := range tokens {
		p, err := readPart(token, lib)
		if err != nil {
			return m, err
		}
		if p != nil {
			m.Parts = append(m.Parts, *p)
		}
	}
	refused := false
	for _, token := range tokens {
		if k := m.refused(token); k != nil {
			refused = true
			m.Notes = append(m.Notes, token+" is not in this library: "+k.Error())
		}
	}
	m.readDates(tokens, now)
	if refused { // that is the part, and what can be a date code is one
		m.Parts = slices.DeleteFunc(m.Parts, m.dated)
	}
	m.weigh()
	if len(m.Parts) == 0 && len(m.Dates) == 0 {
		why := strings.Join(m.Notes, "; ")
		if why == "" {
			why = "type the part number alone, such as 7438 or 74LS38"
		}
		return m, fmt.Errorf("%w in %q: %s", ErrNothing, strings.Join(strings.Fields(text), " "), why)
	}
	return m, nil
}

// split gives the groups of characters. A hyphen divides two of them, unless it
// stands before a memory's speed. Groups that make a part only together are joined:
// makers leave a gap behind the family, "SN 74 LS 00 N".
func split(text string, lib *library.Library) (tokens []string, err error) {
	text = latin.Replace(strings.ToUpper(strings.NewReplacer("µ", "u", "μ", "u").Replace(text)))
	text = military.ReplaceAllString(text, "M38510/$1")
	words, err := join(wordsOf(text), lib)
	if err != nil {
		return nil, err
	}
	for _, token := range words {
		if slashed.MatchString(token) || military.MatchString(token) {
			tokens = append(tokens, token)
			continue
		}
		token = strings.ReplaceAll(token, "/", "-")
		memory, err := readMemory(token, lib)
		if err != nil {
			return nil, err
		}
		if memory != nil {
			tokens = append(tokens, token)
			continue
		}
		tokens = append(tokens, strings.FieldsFunc(token, func(r rune) bool { return r == '-' })...)
	}
	return tokens, nil
}

// wordsOf divides a text at spaces and at what makers put between words.
func wordsOf(text string) []string {
	return strings.FieldsFunc(text, func(r rune) bool { return unicode.IsSpace(r) || strings.ContainsRune(",;|·", r) })
}

// mostJoined is how many words may make one part: letters, series, family, number, suffix.
const mostJoined = 5

// join joins words that are no part alone and a part together, the longest first.
func join(words []string, lib *library.Library) (joined []string, err error) {
	for len(words) > 0 {
		n := 1
		for try := min(mostJoined, len(words)); try > 1; try-- {
			if !joinable(words[:try]) {
				continue
			}
			p, err := readPart(strings.Join(words[:try], ""), lib)
			if err != nil {
				return nil, err
			}
			if p == nil {
				continue
			}
			before, err := readPart(strings.Join(words[:try-1], ""), lib)
			if err != nil {
				return nil, err
			}
			if before != nil && digitsOf(words[try-1]) > 0 {
				continue // T4 behind 74LS00N is a date code
			}
			n = try
			break
		}
		joined = append(joined, strings.Join(words[:n], ""))
		words = words[n:]
	}
	return joined, nil
}

// joinable leaves alone what could be a part or a date code by itself: a number of
// three digits or more behind another one.
func joinable(words []string) bool {
	long := 0
	for _, w := range words {
		if digitsOf(w) >= 4 {
			long++
		}
		if strings.ContainsAny(w, "-/") {
			return false
		}
	}
	return long == 0 || long == 1 && digitsOf(words[len(words)-1]) < 3
}

func digitsOf(word string) (n int) {
	for _, c := range word {
		if c >= '0' && c <= '9' {
			n++
		}
	}
	return n
}

// readPart reads a token as a part, or gives nil.
func readPart(token string, lib *library.Library) (*PartReading, error) {
	if r, err := readMemory(token, lib); r != nil || err != nil {
		return r, err
	}
	for _, read := range []func(string) (r PartReading, ok bool){readTTL, readCMOS, readDriver} {
		r, ok := read(token)
		if !ok {
			continue
		}
		p, err := lib.Find(r.Number)
		if err != nil {
			return nil, err
		}
		if p == nil {
			continue
		}
		r.Token, r.Part = token, p
		if r.another() {
			return nil, nil
		}
		if r.Family != nil && p.In(r.Family) == nil {
			r.Family = nil
		}
		r.Type = p.Number
		if r.Family != nil {
			r.Type = r.Family.TypeName(p.Number)
		}
		r.Package = packageOf(r.Suffix)
		return &r, nil
	}
	if r, err := readEastern(token, lib); r != nil || err != nil {
		return r, err
	}
	return readHouse(token, lib)
}

// another reports whether the whole marking is known to be another part than its digits say,
// one that is not defined: the 74L93 has other pins than the 7493, the TMS4050 is a memory, and
// the TLC555 is no bipolar timer.
func (r *PartReading) another() bool {
	if r.Family != nil && r.Part.In(r.Family) != nil {
		return false
	}
	if r.Family != nil && library.MissingPart(r.Family.TypeName(r.Number)) != nil {
		return true
	}
	return r.Prefix != "" && library.MissingPart(r.Prefix+r.Number) != nil
}

func readTTL(token string) (r PartReading, ok bool) {
	m := markedTTL.FindStringSubmatch(token)
	if m == nil {
		return r, false
	}
	number, family, _ := part.SplitTypeName("74" + m[3] + m[4])
	r = PartReading{Prefix: m[1], Number: number, Family: family, Suffix: m[5], Temperature: map[string]string{
		"54": "−55 to 125 °C (54 series)", "64": "−40 to 85 °C (64 series)",
		"74": "0 to 70 °C (74 series)", "84": "−25 to 85 °C (84 series)"}[m[2]]}
	if strings.HasPrefix(m[3], "HC") || m[3] == "C" {
		r.Temperature = map[string]string{"54": "−55 to 125 °C (54 series)", "74": "−40 to 85 °C (74 series, CMOS)"}[m[2]]
	}
	return r, true
}

func readCMOS(token string) (r PartReading, ok bool) {
	m := markedCMOS.FindStringSubmatch(token)
	if m == nil {
		return r, false
	}
	number := m[2]
	if len(number) == 5 && number[0] == '1' {
		number = number[1:] // 14011 is the 4011
	}
	r = PartReading{Prefix: m[1], Number: number, Suffix: m[3] + m[4], Temperature: "−40 to 85 °C in plastic, −55 to 125 °C in most ceramic packages"}
	if m[3] != "" {
		r.Family = part.FamilyByName("4000" + m[3])
	}
	return r, true
}

func readDriver(token string) (r PartReading, ok bool) {
	m := markedDriver.FindStringSubmatch(token)
	if m == nil {
		return r, false
	}
	return PartReading{Prefix: m[1], Number: "75" + m[3], Family: part.FamilyByName("74"), Suffix: m[4], Temperature: map[string]string{
		"55": "−55 to 125 °C (55 series)", "75": "0 to 70 °C (75 series)"}[m[2]]}, true
}

// packageOf reads the last letter of a suffix.
func packageOf(suffix string) string {
	suffix = strings.TrimRight(suffix, "0123456789")
	if suffix == "" || suffix == "A" || suffix == "B" || suffix == "UB" {
		return ""
	}
	letter := suffix[len(suffix)-1]
	// a temperature letter may stand behind: PC is a plastic DIP for the commercial range
	if before := suffix[:len(suffix)-1]; (letter == 'C' || letter == 'I') && before != "" && packageLetters[before[len(before)-1]] != "" {
		letter = before[len(before)-1]
	}
	meaning, ok := packageLetters[letter]
	if !ok {
		return fmt.Sprintf("%c: not a common package letter", letter)
	}
	return fmt.Sprintf("%c: %s", letter, meaning)
}

// since is the first year in which the part was sold, as far as its marking shows.
func (p *PartReading) since() int {
	switch {
	case p.Family != nil:
		return MadeSince(p.Family)
	case markedCMOS.MatchString(p.Token):
		return unbuffered4000
	}
	return 0
}

// weigh says where a group of characters can be a part as well as a date code.
// If another group can only be a part, it is most likely the date code; if another
// can only be a date code, it is most likely the part.
func (m *Marking) weigh() {
	both := map[string]bool{}
	for _, p := range m.Parts {
		for _, d := range m.Dates {
			if p.Token == d.Token {
				both[p.Token] = true
			}
		}
	}
	onlyPart := func() (token string) {
		for _, p := range m.Parts {
			if !both[p.Token] {
				return p.Token
			}
		}
		return ""
	}()
	onlyDate := func() (token string) {
		for _, d := range m.Dates {
			if !both[d.Token] {
				return d.Token
			}
		}
		return ""
	}()
	for _, p := range m.Parts {
		if !both[p.Token] {
			continue
		}
		note := fmt.Sprintf("%s can be a part (%s) or a date code", p.Token, p.Part.Title)
		switch {
		case onlyPart != "":
			note += fmt.Sprintf("; as %s can only be a part, %s is most likely the date code", onlyPart, p.Token)
		case onlyDate != "" && len(both) == 1:
			note += fmt.Sprintf("; as %s can only be a date code, %s is most likely the part", onlyDate, p.Token)
		case len(both) > 1:
			note += "; the part most often stands with letters, before or above the date code: look for those"
		default:
			note += "; it stands alone, so nothing on the chip decides: look for a second number"
		}
		m.Notes = append(m.Notes, note)
	}
	for _, p := range m.Parts {
		if p.Family == nil && !both[p.Token] {
			m.Notes = append(m.Notes, fmt.Sprintf("%s names no family that the %s was made in, so its levels are not known from the marking", p.Token, p.Number))
		}
	}
}
