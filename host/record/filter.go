package record

import (
	"errors"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"chipassay/host/marking"
	"chipassay/host/verdict"
	"chipassay/vectors/part"
)

// A Filter is what of the records is asked for, as a person types it.
type Filter struct {
	Bench string // its letter, where there are several

	Part, Family, Drawer, Lot, Verdict, Grade, From, To, Text string
}

// A FieldError says what is wrong with one field of what a person typed.
type FieldError struct {
	Field string // "verdict", "from": the flag's or form field's name
	Typed string
	Why   string
}

func (e *FieldError) Error() string {
	return strings.TrimSpace(e.Field+" "+e.Typed) + ": " + e.Why
}

// FieldErrors are the fields with what is wrong with each. What is wrong with none of them is
// under "".
func FieldErrors(err error) map[string]string {
	wrong := map[string]string{}
	var all func(error)
	all = func(err error) {
		var field *FieldError
		switch joined := err.(type) {
		case nil:
		case interface{ Unwrap() []error }:
			for _, e := range joined.Unwrap() {
				all(e)
			}
		default:
			if !errors.As(err, &field) {
				field = &FieldError{Why: err.Error()}
			}
			if wrong[field.Field] == "" {
				wrong[field.Field] = field.Why
			}
		}
	}
	all(err)
	return wrong
}

// Query understands what was typed. What is wrong with it are FieldErrors, all of them.
func (f Filter) Query() (q Query, err error) {
	q = Query{Bench: strings.ToUpper(strings.TrimSpace(f.Bench)), Drawer: strings.TrimSpace(f.Drawer), Lot: strings.TrimSpace(f.Lot), Text: f.Text}
	if typed := strings.ToUpper(strings.TrimSpace(f.Part)); typed != "" {
		if number, _, ok := part.SplitTypeName(typed); ok && number != typed {
			q.Type = typed
		} else {
			q.Part = typed
		}
	}
	wrong := make([]error, 6)
	if q.Bench != "" && !letters.MatchString(q.Bench) {
		wrong[5] = &FieldError{"bench", f.Bench, "a bench is named by one to three letters: A"}
	}
	if typed := strings.TrimSpace(f.Family); typed != "" {
		if family := part.FamilyByName(typed); family != nil {
			q.Family = family.Name
		} else {
			wrong[0] = &FieldError{"family", typed, "there is no such family: as 74, 74LS, HC or B"}
		}
	}
	q.Verdict, wrong[1] = OneOf("verdict", f.Verdict, verdict.All...)
	q.Grade, wrong[2] = OneOf("grade", f.Grade, verdict.Grades[:len(verdict.Grades)-1]...)
	q.From, _, wrong[3] = period("from", f.From)
	_, q.To, wrong[4] = period("to", f.To)
	if err := errors.Join(wrong...); err != nil {
		return q, err
	}
	if !q.From.IsZero() && !q.To.IsZero() && q.To.Before(q.From) {
		return q, &FieldError{"to", f.To, "is before " + f.From}
	}
	return q, nil
}

// Words say which chips are asked for: "of part 7400, from drawer D3"; empty for all.
func (f Filter) Words() string {
	var chosen []string
	for _, c := range []struct{ word, value string }{
		{"of part", f.Part}, {"of family", f.Family}, {"from drawer", f.Drawer}, {"of lot", f.Lot}, {"with verdict", f.Verdict}, {"of grade", f.Grade},
		{"with a date code from", f.From}, {"up to", f.To}, {"with the text", f.Text}, {"of bench", f.Bench},
	} {
		if value := strings.TrimSpace(c.value); value != "" {
			chosen = append(chosen, c.word+" "+value)
		}
	}
	return strings.Join(chosen, ", ")
}

// OneOf understands a word of a few, typed into a field.
func OneOf[W ~string](field, typed string, words ...W) (W, error) {
	word := W(strings.ReplaceAll(strings.ToLower(strings.TrimSpace(typed)), " ", "-"))
	if word != "" && !slices.Contains(words, word) {
		return "", &FieldError{field, typed, "one of " + verdict.List(words)}
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
func period(field, typed string) (first, last time.Time, err error) {
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
		return first, last, &FieldError{field, typed, "fits " + strings.Join(fits, ", ") + ": give one of them"}
	case err != nil && (len(code) != 4 || strings.ContainsFunc(code, unicode.IsLetter)):
		return first, last, &FieldError{field, typed, "give a year (1979), a month (1979-09), a week (1979-W38), a day (1979-09-17) or a date code (7938, SEP79)"}
	case err != nil:
		return first, last, &FieldError{field, typed, err.Error()}
	}
	return d.From.Time, d.To.Time, nil
}
