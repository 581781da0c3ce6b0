package marking

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
)

// Forms of a word that is neither a part of the library nor a date code.
var (
	plainDate = regexp.MustCompile(`^[0-9]{3,4}$`)
	slashed   = regexp.MustCompile(`^[0-9]{1,2}/[0-9]{2}$`)
	oneLetter = regexp.MustCompile(`^([0-9]{1,2}[A-Z]|[A-Z][0-9]{1,2})$`)
	lettered  = regexp.MustCompile(`^[A-Z]{1,5}[0-9]{3,6}[A-Z0-9]*$|^[0-9]{3,6}[A-Z][A-Z0-9]*$`)
)

// readDates reads the tokens that can be date codes. Digits alone are year and week.
// A word with a letter is a month by the rules of month.go; only a whole word is, for
// what stands behind a hyphen belongs to a part. All else is named in a note.
func (m *Marking) readDates(tokens []string, now time.Time) {
	whole := wordsOf(strings.ToUpper(m.Typed))
	var left []string // words that have the form of neither part nor date
	for _, token := range tokens {
		part := slices.ContainsFunc(m.Parts, func(p PartReading) bool { return p.Token == token })
		d, err := ParseMonthCode(token, m.since(token), now)
		switch {
		case plainDate.MatchString(token):
			m.readWeek(token, part, now)
		case part:
		case err == nil && slices.Contains(whole, token):
			m.Dates = append(m.Dates, DateReading{Token: token, Code: d})
			m.note(d.Raw + ": " + d.Rule)
			m.note(d.Doubt)
		case m.refused(token) != nil: // a note says why
		case unread(token) != "":
			m.note(unread(token))
		default:
			left = append(left, token)
		}
	}
	if len(left) > 0 && len(m.Parts)+len(m.Dates) > 0 {
		m.note("not understood: " + strings.Join(left, ", "))
	}
}

// readWeek reads digits as year and week. A part that cannot be a date is no matter.
func (m *Marking) readWeek(token string, part bool, now time.Time) {
	d, err := ParseDateCode(token, m.since(token), now)
	switch {
	case err == nil:
		m.Dates = append(m.Dates, DateReading{Token: token, Code: d})
		m.noteYearMonth(token, now)
		if !part {
			m.note(d.Doubt)
		}
	case !part:
		m.note(err.Error())
	}
}

// since is the first year in which the parts were sold that stand beside a token.
func (m *Marking) since(token string) (year int) {
	for _, p := range m.Parts {
		if p.Token != token {
			year = max(year, p.since())
		}
	}
	return year
}

// noteYearMonth says of four digits on a marking in Cyrillic letters that they may be
// year and month.
//
// Source: from memory; makers of the Soviet Union marked both.
func (m *Marking) noteYearMonth(token string, now time.Time) {
	cyrillic := strings.ContainsFunc(m.Typed, func(r rune) bool { return unicode.Is(unicode.Cyrillic, r) })
	if !cyrillic || len(token) != 4 {
		return
	}
	year, _ := strconv.Atoi(token[:2])
	month, _ := strconv.Atoi(token[2:])
	if month > 12 { // a week is never 0
		return
	}
	if p := monthOf(FirstYear+mod(year-FirstYear, 100), month); !p.From.After(now) {
		m.note(fmt.Sprintf("%s can also be year and month, %s: Soviet makers marked both (from memory)", token, p))
	}
}

func (m *Marking) note(text string) {
	if text != "" {
		m.Notes = append(m.Notes, text)
	}
}

// unread says why a word was not read. It is empty for a word that has the form of
// neither part nor date, such as a country.
func unread(word string) string {
	const form = "give the week as YYWW or YWW, such as 7938"
	switch {
	case slashed.MatchString(word):
		return fmt.Sprintf("%s is not understood as a date code: makers put week and year, or month and year, in either order; %s", word, form)
	case oneLetter.MatchString(word):
		return fmt.Sprintf("%s is not understood: if it is a date code with a letter, the maker's key is needed", word)
	case lettered.MatchString(word):
		return fmt.Sprintf("%s looks like a part number, and no part of this library has it", word)
	}
	return ""
}
