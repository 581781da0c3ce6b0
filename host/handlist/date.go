package handlist

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"chipassay/host/marking"
)

// Dates as people write them into lists, besides a code as it is marked. What could be a week or a month, or a day
// or a month, is not guessed: 9/74 and 3/4/74 stay a note.
//
// Source: ISO 8601 for the first three; week and year with a stroke or a dot, and days with dots, are common practice
// where dates are written day first.
var (
	isoDay      = regexp.MustCompile(`^((?:19|20)\d\d-\d\d-\d\d)(?:[T ]00:00(?::00)?)?$`)
	isoWeek     = regexp.MustCompile(`^(?i)((?:19|20)\d\d)-?W(\d\d)$`)
	isoMonth    = regexp.MustCompile(`^((?:19|20)\d\d)-(\d\d)$`)
	weekAndYear = regexp.MustCompile(`^(?i)(KW|W|WK|WEEK|WOCHE|SEM|SEMAINE|TYDZ|TYDZIEŃ)?[ .]*(\d{1,2}) ?[/. ] ?((?:19|20)?\d\d)$`)
	dottedDay   = regexp.MustCompile(`^(\d{1,2})\. ?(\d{1,2})\. ?((?:19|20)?\d\d)$`)
	namedMonth  = regexp.MustCompile(`^(?:(\d{1,2})[-. ]+)?(\p{L}{3,9})[-. ]*((?:19|20)?\d\d)$`) // Sep-79, 16-Sep-79, as spreadsheets show dates
)

// months are the beginnings of their names in English, German and French.
var months = []struct {
	begins string
	month  time.Month
}{
	{"jan", 1}, {"feb", 2}, {"fév", 2}, {"mar", 3}, {"mär", 3}, {"mrz", 3}, {"apr", 4}, {"avr", 4}, {"may", 5}, {"mai", 5}, {"juin", 6}, {"juil", 7},
	{"jun", 6}, {"jul", 7}, {"aug", 8}, {"aoû", 8}, {"sep", 9}, {"oct", 10}, {"okt", 10}, {"nov", 11}, {"dec", 12}, {"dez", 12}, {"déc", 12},
}

// readDate reads what is in the column of dates. A date code as it is marked comes first.
func readDate(typed string, since int, now time.Time) (marking.DateCode, error) {
	typed = strings.TrimSpace(strings.TrimPrefix(typed, "'")) // as spreadsheets mark a text
	d, err := marking.ReadDateCode(typed, since, now)
	if err == nil {
		return d, nil
	}
	week := func(year, week int) (marking.DateCode, error) {
		d, err := marking.ReadDateCode(fmt.Sprintf("%02d%02d", year%100, week), since, now)
		d.Raw = typed
		return d, err
	}
	days := func(from, to time.Time) (marking.DateCode, error) {
		if from.After(now) {
			return marking.DateCode{}, fmt.Errorf("%s is yet to come", typed)
		}
		return marking.DateCode{Raw: typed, From: marking.Day{Time: from}, To: marking.Day{Time: to}}, nil
	}
	if m := isoDay.FindStringSubmatch(typed); m != nil {
		if day, err := time.Parse(time.DateOnly, m[1]); err == nil {
			return days(day, day)
		}
	}
	if m := isoWeek.FindStringSubmatch(typed); m != nil {
		return week(number(m[1]), number(m[2]))
	}
	if m := isoMonth.FindStringSubmatch(typed); m != nil {
		if month, err := time.Parse("2006-01", typed); err == nil {
			return days(month, month.AddDate(0, 1, -1))
		}
	}
	if m := weekAndYear.FindStringSubmatch(typed); m != nil && (m[1] != "" || number(m[2]) > 12) {
		return week(number(m[3]), number(m[2]))
	}
	if m := dottedDay.FindStringSubmatch(typed); m != nil {
		if day, err := time.Parse("2.1.2006", fmt.Sprintf("%s.%s.%d", m[1], m[2], fullYear(number(m[3]), now))); err == nil {
			return days(day, day)
		}
	}
	if m := namedMonth.FindStringSubmatch(typed); m != nil {
		for _, name := range months {
			if !strings.HasPrefix(strings.ToLower(m[2]), name.begins) {
				continue
			}
			first := time.Date(fullYear(number(m[3]), now), name.month, 1, 0, 0, 0, 0, time.UTC)
			if m[1] == "" {
				return days(first, first.AddDate(0, 1, -1))
			}
			if day := first.AddDate(0, 0, number(m[1])-1); day.Month() == name.month {
				return days(day, day)
			}
		}
	}
	return marking.DateCode{}, err
}

// number is that of digits.
func number(digits string) int {
	n, _ := strconv.Atoi(digits)
	return n
}

// fullYear is the last such year up to now.
func fullYear(year int, now time.Time) int {
	if year >= 100 {
		return year
	}
	if year += now.Year() / 100 * 100; year > now.Year() {
		year -= 100
	}
	return year
}
