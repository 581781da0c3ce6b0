// Package marking reads what is printed on a chip: the part number, with the
// letters around it, and the date code.
//
// A date code is most often the week in which the chip was sealed, as EIA-476 marks
// it: two digits of the year and two of the week (YYWW), or, on older chips, one
// digit of the year and two of the week (YWW). Weeks are those of ISO 8601:
// week 1 is the week, Monday to Sunday, with the year's first Thursday. Other codes
// give the month, with a letter for the month or the year (ParseMonthCode). ReadDateCode
// reads both.
package marking

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
)

// FirstYear is the first year in which chips were sold in dual in-line
// packages; no date code is read as earlier.
//
// Source: from memory.
const FirstYear = 1965

// A DateCode is a date code and the weeks or months that it can stand for.
type DateCode struct {
	Raw        string   `json:"raw"` // as marked: "7938"
	From       Day      `json:"from"`
	To         Day      `json:"to"`              // last day of the period taken, by Rule
	Candidates []Period `json:"candidates"`      // every period the code can stand for, the earliest first; one or more
	Rule       string   `json:"rule"`            // how From and To were chosen, a sentence for the report
	Doubt      string   `json:"doubt,omitempty"` // why the code does not fit the chip, a sentence; empty where it does
}

// A Period is one week of a year, as ISO 8601 counts both, or one month.
type Period struct {
	Year  int `json:"year"`
	Week  int `json:"week,omitempty"`  // 0 where the code gives a month
	Month int `json:"month,omitempty"` // 1 to 12; 0 where the code gives a week
	From  Day `json:"from"`
	To    Day `json:"to"` // last day
}

// A Day begins at midnight UTC. In JSON it is that of ISO 8601, "1979-09-17", and "" for none.
type Day struct{ time.Time }

func (d Day) String() string {
	if d.IsZero() {
		return ""
	}
	return d.Format(time.DateOnly)
}

// MarshalJSON writes the day.
func (d Day) MarshalJSON() ([]byte, error) { return json.Marshal(d.String()) }

// UnmarshalJSON reads a day.
func (d *Day) UnmarshalJSON(object []byte) (err error) {
	var text string
	if err := json.Unmarshal(object, &text); err != nil {
		return err
	}
	if d.Time = (time.Time{}); text != "" {
		d.Time, err = time.Parse(time.DateOnly, text)
	}
	return err
}

// ParseDateCode reads a YYWW or YWW date code. The year is one from FirstYear
// on whose last digits are those of the code; a week that begins after now, or
// a week 53 in a year of 52, is not a candidate. Where several years remain,
// the earliest from madeSince on is taken: the first year in which the chip's
// family was made (see MadeSince), 0 where that is not known.
func ParseDateCode(raw string, madeSince int, now time.Time) (DateCode, error) {
	raw = strings.TrimSpace(raw)
	year, week, err := digits(raw)
	if err != nil {
		return DateCode{}, err
	}
	step := 100 // years between two that the code can stand for
	if len(raw) == 3 {
		step = 10
	}
	d := DateCode{Raw: raw}
	first := FirstYear + mod(year-FirstYear, step)
	for y := first; y <= now.Year()+1; y += step {
		if p := weekOf(y, week); week <= weeksIn(y) && !p.From.After(now) {
			d.Candidates = append(d.Candidates, p)
		}
	}
	if len(d.Candidates) == 0 {
		return DateCode{}, refuse(raw, first, week)
	}
	d.choose(madeSince)
	return d, nil
}

// digits splits a code into its year's last digits and its week.
func digits(raw string) (year, week int, err error) {
	if raw == "" {
		return 0, 0, errors.New("the date code is empty: give year and week, as 7938 or 938")
	}
	n := 0
	for _, c := range raw {
		if c < '0' || c > '9' {
			return 0, 0, fmt.Errorf("date code %q: %q is not a digit; year and week are digits, as 7938 or 938", raw, c)
		}
		n = min(n*10+int(c-'0'), 9999)
	}
	if len(raw) != 3 && len(raw) != 4 {
		return 0, 0, fmt.Errorf("date code %q has %d digits, not 4 (YYWW, as 7938) or 3 (YWW, as 938)", raw, len(raw))
	}
	year, week = n/100, n%100
	switch {
	case week == 0:
		return 0, 0, fmt.Errorf("date code %q: there is no week 00; weeks are numbered from 01", raw)
	case week > 53:
		return 0, 0, fmt.Errorf("date code %q: there is no week %d; a year has 52 weeks, or 53", raw, week)
	}
	return year, week, nil
}

// refuse says why a code has no candidate, given the first year it could mean.
func refuse(raw string, year, week int) error {
	if len(raw) == 3 { // several past years: only a week 53 can be in none of them
		return fmt.Errorf("date code %q: no year that ends in %s, from %d until now, has a week %d", raw, raw[:1], FirstYear, week)
	}
	if week > weeksIn(year) {
		return fmt.Errorf("date code %q: %d has 52 weeks, not 53", raw, year)
	}
	return fmt.Errorf("date code %q is in the future: week %d of %d begins on %s",
		raw, week, year, weekOf(year, week).From)
}

// choose takes one of the candidates and states the rule: the earliest from
// madeSince on, or the latest of all where there is none.
func (d *DateCode) choose(madeSince int) {
	taken := slices.IndexFunc(d.Candidates, func(p Period) bool { return p.Year >= madeSince })
	if taken < 0 {
		taken = len(d.Candidates) - 1
		d.Doubt = fmt.Sprintf("Date code %s is earlier than the family, made since about %d: read the marking again.", d.Raw, madeSince)
	}
	d.From, d.To = d.Candidates[taken].From, d.Candidates[taken].To
	month, several := d.Candidates[taken].Month > 0, "The code does not give the decade"
	if month {
		several = "The code fits several months"
	}
	switch {
	case len(d.Candidates) == 1 && month:
		d.Rule = fmt.Sprintf("The only month from %d until now that the code can stand for.", FirstYear)
	case len(d.Candidates) == 1:
		d.Rule = fmt.Sprintf("The only week from %d until now that the code can stand for.", FirstYear)
	case d.Doubt != "":
		d.Rule = several + ", and no candidate fits the family: the latest is taken."
	case madeSince > FirstYear:
		d.Rule = fmt.Sprintf("%s: the earliest year since the family was first made, about %d, is taken.", several, madeSince)
	default:
		d.Rule = fmt.Sprintf("%s: the earliest year from %d on, when dual in-line packages came, is taken.", several, FirstYear)
	}
	if !month {
		d.Rule += " Weeks are those of ISO 8601."
	}
}

// weekOf gives week number week of a year. Week 1 is the one with 4 January
// in it, which is the same as the one with the first Thursday.
func weekOf(year, week int) Period {
	fourth := time.Date(year, time.January, 4, 0, 0, 0, 0, time.UTC)
	monday := fourth.AddDate(0, 0, -mod(int(fourth.Weekday()-time.Monday), 7)+7*(week-1))
	return Period{Year: year, Week: week, From: Day{monday}, To: Day{monday.AddDate(0, 0, 6)}}
}

// weeksIn counts the weeks of a year: those from its week 1 to the next year's.
func weeksIn(year int) int {
	return int(weekOf(year+1, 1).From.Sub(weekOf(year, 1).From.Time).Hours()) / (7 * 24)
}

// mod is the remainder of a by n that is never negative.
func mod(a, n int) int { return (a%n + n) % n }
