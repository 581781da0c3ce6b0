package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/spf13/cobra"

	"chipassay/host/marking"
	"chipassay/host/record"
	"chipassay/host/verdict"
	"chipassay/vectors/part"
)

// A filter is what of the records is asked for, as typed.
type filter struct {
	part, family, drawer, lot, verdict, grade, from, to, text string
}

// flags gives a command the flags that choose records.
func (f *filter) flags(cmd *cobra.Command) {
	f.chipFlags(cmd)
	flags := cmd.Flags()
	flags.StringVar(&f.verdict, "verdict", "", "with this verdict: pass, pass-but, fail, not-tested")
	flags.StringVar(&f.grade, "grade", "", "of this grade: strong, sound, function-only, doubtful, reject")
	flags.StringVar(&f.text, "text", "", "with this in marking, operator, reason or note")
}

// chipFlags gives a command the flags that choose chips whatever came of them.
func (f *filter) chipFlags(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&f.part, "part", "", "of this part: 7400 for all families, 74LS00 for one")
	flags.StringVar(&f.family, "family", "", "of this family: 74, 74LS, HC …")
	flags.StringVar(&f.drawer, "drawer", "", "from this drawer")
	flags.StringVar(&f.lot, "lot", "", "of this lot")
	flags.StringVar(&f.from, "from", "", "with a date code from here on: 1979, 1979-09, 1979-W38, 1979-09-17, 7938 or SEP79")
	flags.StringVar(&f.to, "to", "", "with a date code up to and including this")
}

// query understands what was typed.
func (f filter) query() (q record.Query, err error) {
	q = record.Query{Drawer: strings.TrimSpace(f.drawer), Lot: strings.TrimSpace(f.lot), Text: f.text}
	if typed := strings.ToUpper(strings.TrimSpace(f.part)); typed != "" {
		if number, _, ok := part.SplitTypeName(typed); ok && number != typed {
			q.Type = typed
		} else {
			q.Part = typed
		}
	}
	if f.family != "" {
		family := part.FamilyByName(f.family)
		if family == nil {
			return q, fmt.Errorf("there is no family %q: as 74, 74LS, HC or B", f.family)
		}
		q.Family = family.Name
	}
	if q.Verdict, err = oneOf("--verdict", f.verdict, verdict.All...); err != nil {
		return q, err
	}
	if q.Grade, err = oneOf("--grade", f.grade, verdict.Grades[:len(verdict.Grades)-1]...); err != nil {
		return q, err
	}
	if q.From, _, err = period("--from", f.from); err != nil {
		return q, err
	}
	if _, q.To, err = period("--to", f.to); err != nil {
		return q, err
	}
	if !q.From.IsZero() && !q.To.IsZero() && q.To.Before(q.From) {
		return q, fmt.Errorf("--to %s is before --from %s", f.to, f.from)
	}
	return q, nil
}

// oneOf understands a word of a few.
func oneOf[W ~string](flag, typed string, words ...W) (W, error) {
	word := W(strings.ReplaceAll(strings.ToLower(strings.TrimSpace(typed)), " ", "-"))
	if word != "" && !slices.Contains(words, word) {
		return "", fmt.Errorf("%s %s: one of %s", flag, typed, verdict.List(words))
	}
	return word, nil
}

// Four digits from firstYear to lastYear are a year, others a date code.
const (
	firstYear = 1960
	lastYear  = 2099
)

// period understands a year, a month, a week or a day, or a date code that stands for one
// week or month, and gives its first and last day; zero times for nothing.
func period(flag, typed string) (first, last time.Time, err error) {
	typed = strings.ToUpper(strings.TrimSpace(typed))
	if typed == "" {
		return first, last, nil
	}
	if day, err := time.Parse(time.DateOnly, typed); err == nil {
		return day, day, nil
	}
	if year, err := strconv.Atoi(typed); err == nil && year >= firstYear && year <= lastYear {
		return time.Date(year, time.January, 1, 0, 0, 0, 0, time.UTC), time.Date(year, time.December, 31, 0, 0, 0, 0, time.UTC), nil
	}
	if month, err := time.Parse("2006-01", typed); err == nil {
		return month, month.AddDate(0, 1, -1), nil
	}
	code := typed
	if year, week, ok := strings.Cut(typed, "-W"); ok && len(year) == 4 && len(week) == 2 {
		code = year[2:] + week
	}
	d, err := marking.ReadDateCode(code, 0, time.Now())
	var fits []string
	for _, p := range d.Candidates {
		fits = append(fits, p.String())
	}
	switch {
	case err == nil && len(fits) > 1:
		return first, last, fmt.Errorf("%s %s fits %s: give one of them", flag, typed, strings.Join(fits, ", "))
	case err != nil && (len(code) != 4 || strings.ContainsFunc(code, unicode.IsLetter)):
		return first, last, fmt.Errorf("%s %s: give a year (1979), a month (1979-09), a week (1979-W38), a day (1979-09-17) or a date code (7938, SEP79)", flag, typed)
	case err != nil:
		return first, last, fmt.Errorf("%s %s: %w", flag, typed, err)
	}
	return d.From.Time, d.To.Time, nil
}
