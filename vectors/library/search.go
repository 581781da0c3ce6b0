package library

import (
	"strconv"
	"strings"

	"chipassay/vectors/part"
)

// Search keeps the parts that match every word of a query: a number or its
// beginning, a word of the title or the kind, or what the trade calls that (trade.go),
// a family, a technology, a number of pins, the words of a memory.
func Search(parts []*part.Part, query string) []*part.Part {
	var found []*part.Part
	words := strings.Fields(phrases.Replace(strings.ToLower(query)))
	for _, p := range parts {
		matches := true
		for _, word := range words {
			matches = matches && matchesWord(p, word)
		}
		if matches {
			found = append(found, p)
		}
	}
	return found
}

func matchesWord(p *part.Part, word string) bool {
	if p.Memory() && matchesMemory(p.Variants[0].Memory, word) {
		return true
	}
	if number, family, ok := part.SplitTypeName(word); ok {
		return p.Number == number && (family == nil || p.In(family) != nil)
	}
	if n, err := strconv.Atoi(word); err == nil && len(word) == 2 && len(p.Variants[0].Pins) == n {
		return true
	}
	for _, f := range p.Families() {
		if strings.EqualFold(word, f.Name) {
			return true
		}
	}
	word = strings.ToLower(word)
	return strings.HasPrefix(p.Number, word) || p.Kind == word || strings.Contains(strings.ToLower(p.Title), word) ||
		strings.Contains(unhyphenated(p.Title), unhyphenated(word)) || matchesTrade(p, word)
}

// matchesMemory looks for a word of the memory's kind ("static", "EPROM"), or for
// how many words it has, however the digits are grouped.
func matchesMemory(m *part.Memory, word string) bool {
	for of := range strings.FieldsSeq(m.Kind.String()) {
		if strings.EqualFold(word, of) {
			return true
		}
	}
	return strings.ReplaceAll(word, ",", "") == strconv.Itoa(m.Words)
}
