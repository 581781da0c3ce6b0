// Package offer is a list of good chips to sell or swap by: what they are, how old and how good,
// and the numbers and digests of their certificates, so that who gets one can check it.
package offer

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"strconv"
	"strings"
	"time"

	"chipassay/host/assay"
	"chipassay/host/photo"
	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/host/verdict"
)

// A List is what is offered.
type List struct {
	Rows    []Row
	Day     time.Time // on which ages are
	Virtual bool      // the chips are those of practice: none is to be had
}

// A Row is chips of one type, date code and grade.
type Row struct {
	Type, Title, Family, DateCode string
	Year                          int // of the date code, or 0
	Grade                         verdict.Grade
	Chips                         []Chip
}

// A Chip is one of them.
type Chip struct {
	Number record.Number // on its bag, and on its certificate
	Record record.Number // its current record
	Digest string        // of that
	Photo  *report.Photo
}

// pictureSide is the longer side of a picture in a list, pixels: some 20 kB each.
const pictureSide = 480

// Gather finds the good chips asked for that were not given away. A chip that was tested in part,
// or is doubtful, is no good one.
func Gather(ctx context.Context, s *record.Store, q record.Query, day time.Time, title func(typ string) string) (List, error) {
	l := List{Day: day}
	type key struct {
		typ, date string
		grade     verdict.Grade
	}
	rows := map[key]*Row{}
	q.All = false
	for r, err := range s.Find(ctx, q) {
		if err != nil {
			return l, err
		}
		var t record.Tally
		if t.Add(r.Verdict, r.Grade, 1); t.Good() != 1 || record.IsAway(r.Drawer) || assay.InPart(r.Reason) {
			continue
		}
		l.Virtual = l.Virtual || strings.HasPrefix(r.Adapter, "virtual")
		grade := r.Grade
		if grade == verdict.None {
			grade = verdict.FunctionOnly
		}
		k := key{r.Type, r.DateCode, grade}
		if rows[k] == nil {
			rows[k] = &Row{Type: r.Type, Title: title(r.Type), Family: r.Family, DateCode: r.DateCode, Year: r.Year, Grade: grade}
		}
		rows[k].Chips = append(rows[k].Chips, Chip{Number: r.Bag(), Record: r.Row(), Digest: r.Digest})
	}
	for _, r := range rows {
		slices.SortFunc(r.Chips, func(a, b Chip) int { return a.Number.Compare(b.Number) })
		l.Rows = append(l.Rows, *r)
	}
	slices.SortFunc(l.Rows, func(a, b Row) int {
		return cmp.Or(strings.Compare(a.Type, b.Type), cmp.Compare(a.Year, b.Year), strings.Compare(a.DateCode, b.DateCode), cmp.Compare(a.Grade.Rank(), b.Grade.Rank()))
	})
	return l, nil
}

// AddPhotos reads the chips' photos, made small.
func (l List) AddPhotos(ctx context.Context, s *record.Store) error {
	for _, r := range l.Rows {
		for i := range r.Chips {
			at, err := s.At(ctx, r.Chips[i].Number.Bench)
			if err != nil {
				return err
			}
			p, picture, err := at.Photo(ctx, r.Chips[i].Number.Serial)
			if errors.Is(err, record.ErrNoPhoto) {
				continue
			}
			if err != nil {
				return err
			}
			small, width, height, err := photo.Thumbnail(picture.JPEG, pictureSide)
			if err != nil {
				return err
			}
			r.Chips[i].Photo = &report.Photo{JPEG: small, SHA256: picture.SHA256, Width: width, Height: height, Added: p.Time}
		}
	}
	return nil
}

// Total is how many chips there are.
func (l List) Total() (n int) {
	for _, r := range l.Rows {
		n += len(r.Chips)
	}
	return n
}

// Age is how old chips are on a day, in years; empty where that is not known.
func (r Row) Age(day time.Time) string {
	if r.Year == 0 {
		return ""
	}
	return strconv.Itoa(day.Year() - r.Year)
}

// Meaning says what a grade asks for.
func (r Row) Meaning() string {
	for _, c := range verdict.Criteria {
		if c.Grade == r.Grade {
			return c.Asks
		}
	}
	return ""
}

// Header are the columns of Table.
var Header = []string{"type", "title", "family", "date_code", "date_year", "age_years", "grade", "grade_means", "count", "certificates", "digests"}

// Table is the list for spreadsheets. Certificates and digests are in the same order.
func (l List) Table() (rows [][]string) {
	for _, r := range l.Rows {
		var numbers, digests []string
		for _, c := range r.Chips {
			numbers, digests = append(numbers, c.Number.String()), append(digests, c.Digest)
		}
		year := ""
		if r.Year != 0 {
			year = strconv.Itoa(r.Year)
		}
		rows = append(rows, []string{r.Type, r.Title, r.Family, r.DateCode, year, r.Age(l.Day), r.Grade.String(), r.Meaning(),
			strconv.Itoa(len(r.Chips)), strings.Join(numbers, " "), strings.Join(digests, " ")})
	}
	return rows
}
