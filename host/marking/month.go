package marking

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"
)

// A monthRule reads a date code that gives the month by a letter or a digit.
type monthRule struct {
	form  *regexp.Regexp                        // groups: the year; the month; the year where it stands behind
	year  func(group string) (first, cycle int) // the first year that the code can stand for, and how many years on it comes again
	month func(group string) int                // 1 to 12
	says  string                                // the rule, for the report
}

// yearLetters are the years 1970 to 1989 by letter, and again from 1990. 1977 is an I
// on East German chips and a J elsewhere.
//
// Source: G. Heinz, "Aufdruck auf DDR-Schaltkreisen" (gheinz.de), and
// "IC-Benennungen" (robotrontechnik.de), which agree; the code is that of CMEA
// standard ST SEV 2745-80 and of IEC 62. J, and that the letters come again in 2010,
// are from memory.
const yearLetters = "ABCDEFHIKLMNPRSTUVWX"

var monthRules = []monthRule{
	{
		form:  regexp.MustCompile(`^([A-FH-NPR-X])([1-9OND0])$`),
		year:  letterYear,
		month: digitMonth,
		says:  "letter for the year, A for 1970 and 1990; 1 to 9, O, N, D for the month (IEC 62; East German chips)",
	},
	{
		// Source: marking patterns in the data sheets of Hitachi's HA17L431UP and HA179L00U:
		// last digit of the year, letter of the month, week code. The form without the week:
		// "Lot code no yomikata" (ne.jp/asahi/web/niwa), where 6B is February 1996.
		form:  regexp.MustCompile(`^([0-9])([A-HJ-M])[1-6]?$`),
		year:  digitYear,
		month: func(g string) int { return 1 + strings.Index("ABCDEFGHJKLM", g) },
		says:  "last digit of the year; A to M without I for the month; then the week of the month, if any (Japanese makers)",
	},
	{
		// Source: from memory of IEC 60062; that it has a code of two characters with a cycle
		// of ten years is in the abstract of its edition of 2004.
		form:  regexp.MustCompile(`^([0-9])([OND])$`),
		year:  digitYear,
		month: digitMonth,
		says:  "last digit of the year; O, N, D for October to December (IEC 60062, from memory)",
	},
	{
		form:  regexp.MustCompile(`^([0-9]{2})?(JAN|FEB|MAR|APR|MAY|JUN|JUL|AUG|SEP|OCT|NOV|DEC)([0-9]{2})?$`),
		year:  digitYear,
		month: func(g string) int { return 1 + strings.Index("JANFEBMARAPRMAYJUNJULAUGSEPOCTNOVDEC", g)/3 },
		says:  "the month in letters and two digits of the year",
	},
}

func letterYear(g string) (first, cycle int) {
	return 1970 + strings.Index(yearLetters, strings.ReplaceAll(g, "J", "I")), 20
}

// digitYear takes the last digits of a year, not earlier than FirstYear.
func digitYear(g string) (first, cycle int) {
	last, cycle := 0, 1
	for _, c := range g {
		last, cycle = last*10+int(c-'0'), cycle*10
	}
	return FirstYear + mod(last-FirstYear, cycle), cycle
}

// digitMonth reads 1 to 9 and the first letters of October to December. A printed O
// looks like a zero.
func digitMonth(g string) int {
	switch g {
	case "O", "0":
		return 10
	case "N":
		return 11
	case "D":
		return 12
	}
	return int(g[0] - '0')
}

// ParseMonthCode reads a date code with a letter for the month or the year, and a
// month written out. Every month until now that a rule gives is a candidate; the
// choice between them is that of ParseDateCode. It is an error if no rule reads the
// code.
func ParseMonthCode(raw string, madeSince int, now time.Time) (DateCode, error) {
	raw = strings.ToUpper(strings.TrimSpace(raw))
	d := DateCode{Raw: raw}
	var rules []string
	for _, r := range monthRules {
		months := r.candidates(raw, now)
		if len(months) > 0 {
			d.Candidates = append(d.Candidates, months...)
			rules = append(rules, r.says)
		}
	}
	if len(d.Candidates) == 0 {
		return DateCode{}, fmt.Errorf("date code %q is not understood: no rule that is known here gives a month until now", raw)
	}
	slices.SortFunc(d.Candidates, func(a, b Period) int { return a.From.Compare(b.From.Time) })
	d.choose(madeSince)
	d.Rule = fmt.Sprintf("Read as %s. %s", strings.Join(rules, "; or as "), d.Rule)
	return d, nil
}

// ReadDateCode reads a date code of either kind: digits give the week, as ParseDateCode has
// it, and what has a letter the month, as ParseMonthCode has it.
func ReadDateCode(raw string, madeSince int, now time.Time) (DateCode, error) {
	if !strings.ContainsFunc(raw, unicode.IsLetter) {
		return ParseDateCode(raw, madeSince, now)
	}
	d, err := ParseMonthCode(raw, madeSince, now)
	if err != nil {
		err = fmt.Errorf("date code %q is not understood: give the week as 7938 or 938, or the month as marked, such as T4, 9K or SEP79", strings.TrimSpace(raw))
	}
	return d, err
}

// candidates are the months until now that the code can stand for by one rule.
func (r monthRule) candidates(raw string, now time.Time) (months []Period) {
	m := r.form.FindStringSubmatch(raw)
	if m == nil {
		return nil
	}
	year := m[1]
	if len(m) > 3 {
		if (year == "") == (m[3] == "") {
			return nil // no year, or two
		}
		year += m[3]
	}
	first, cycle := r.year(year)
	for y := first; y <= now.Year(); y += cycle {
		if p := monthOf(y, r.month(m[2])); !p.From.After(now) {
			months = append(months, p)
		}
	}
	return months
}

// monthOf is a month of a year.
func monthOf(year, month int) Period {
	first := time.Date(year, time.Month(month), 1, 0, 0, 0, 0, time.UTC)
	return Period{Year: year, Month: month, From: Day{first}, To: Day{first.AddDate(0, 1, -1)}}
}
