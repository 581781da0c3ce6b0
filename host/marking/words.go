package marking

import (
	"fmt"
	"strings"
)

// String gives the period in the notation of ISO 8601: "1979-W38", or "1979-09".
func (p Period) String() string {
	if p.Month > 0 {
		return fmt.Sprintf("%d-%02d", p.Year, p.Month)
	}
	return fmt.Sprintf("%d-W%02d", p.Year, p.Week)
}

// Period is the period taken, by Rule, from the candidates.
func (d DateCode) Period() Period {
	for _, p := range d.Candidates {
		if p.From.Equal(d.From.Time) {
			return p
		}
	}
	p := Period{From: d.From, To: d.To}
	if !d.From.IsZero() {
		p.Year, p.Week = d.From.ISOWeek()
	}
	return p
}

// Days gives the code and the days it stands for: "7938: 1979-09-17 to 1979-09-23".
func (d DateCode) Days() string {
	var others []string
	for _, p := range d.Candidates {
		if p != d.Period() {
			others = append(others, p.String())
		}
	}
	words := fmt.Sprintf("%s: %s to %s", d.Raw, d.From, d.To)
	if others != nil {
		words += " (or " + strings.Join(others, ", ") + ")"
	}
	return words
}

// Words say what a date code stands for: "week 38 of 1979, 17 to 23 September
// 1979", and the other years where the code does not give the decade.
func (d DateCode) Words() string {
	taken := d.Period()
	if taken.Year == 0 {
		return "period not known"
	}
	from := "2"
	switch {
	case d.From.Year() != d.To.Year():
		from = "2 January 2006"
	case d.From.Month() != d.To.Month():
		from = "2 January"
	}
	words, again := fmt.Sprintf("week %d of %d, %s to %s", taken.Week, taken.Year, d.From.Format(from), d.To.Format("2 January 2006")), "the same week of "
	if taken.Month > 0 {
		words, again = d.From.Format("January 2006"), ""
	}
	var others []string
	for _, p := range d.Candidates {
		switch {
		case p == taken:
		case taken.Month > 0:
			others = append(others, p.From.Format("January 2006"))
		default:
			others = append(others, fmt.Sprint(p.Year))
		}
	}
	if others != nil {
		words += "; or " + again + strings.Join(others, ", ")
	}
	return words
}

// Year is the year that a date code was taken for; 0 for none, or nil.
func (d *DateCode) Year() int {
	if d == nil {
		return 0
	}
	return d.Period().Year
}

// String is a date code with its year, for a line of a list: "7938 (1979)", with a
// question mark where the decade is not known; of nil "none given".
func (d *DateCode) String() string {
	switch {
	case d == nil:
		return "none given"
	case d.Year() == 0:
		return d.Raw
	}
	mark := ""
	if len(d.Candidates) > 1 || d.Doubt != "" {
		mark = "?"
	}
	return fmt.Sprintf("%s (%d%s)", d.Raw, d.Year(), mark)
}
