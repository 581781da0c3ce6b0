// Package stock is what the records say of chips to be used: the good ones and where they
// are, and what one that is only partly good is still good for.
package stock

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"chipassay/host/assay"
	"chipassay/host/assay/levels"
	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/host/verdict"
)

// A Shelf is a section of the stock: which chips, and columns with numbers of them.
type Shelf struct {
	Title   string
	Columns []string
	Counts  func(record.Tally) []int // a number for each column
}

// Shelves are the sections of the stock, the most useful first.
var Shelves = []Shelf{
	{"Good", []string{"strong", "sound", "function only"}, func(t record.Tally) []int { return []int{t.Strong, t.Sound, t.FunctionOnly} }},
	{"Doubtful: every vector right, but something else is not", []string{"doubtful"}, func(t record.Tally) []int { return []int{t.Doubtful} }},
	{"Not tested: test again", []string{"not tested"}, func(t record.Tally) []int { return []int{t.NotTested} }},
	{"To discard", []string{"reject"}, func(t record.Tally) []int { return []int{t.Reject} }},
}

// A Partly is a chip that is not wholly good, and what it is still good for.
type Partly struct {
	Bench    string   `json:"bench,omitempty"` // the letter before the number, where there are several
	Record   int64    `json:"record"`
	Drawer   string   `json:"drawer"`
	Type     string   `json:"type"`
	DateCode string   `json:"date_code"`
	Year     int      `json:"-"`
	GoodFor  string   `json:"good_for"`
	Gates    []string `json:"gates"`          // sound ones
	Tied     []string `json:"tied,omitempty"` // the one use that it was tested for

	Chip int64 `json:"-"` // its number
}

// PartlyGood are the chips asked for that failed in some of their gates, or passed in part:
// so many of them at most, 0 for all.
func PartlyGood(ctx context.Context, s *record.Store, q record.Query, most int) (list []Partly, err error) {
	q.All = false
	for r, err := range s.Find(ctx, q) {
		if err != nil {
			return nil, err
		}
		if record.IsAway(r.Drawer) && q.Drawer == "" {
			continue
		}
		if r.Verdict != verdict.Fail && (r.Verdict != verdict.Pass || !assay.InPart(r.Reason)) {
			continue
		}
		at, err := s.At(ctx, r.Bench)
		if err != nil {
			return nil, err
		}
		if r, err = at.Get(ctx, r.Serial); err != nil {
			return nil, err
		}
		p, err := partlyOf(r)
		if err != nil {
			return nil, err
		}
		if p.GoodFor == "" {
			continue
		}
		if list = append(list, p); len(list) == most {
			break
		}
	}
	return list, nil
}

// partlyOf is what a chip is still good for; with an empty GoodFor a whole one, one that is
// good for nothing, and one without a report.
func partlyOf(r record.Record) (Partly, error) {
	p := Partly{Bench: r.Bench, Record: r.Serial, Chip: r.Chip, Drawer: r.Drawer, Type: r.Type, DateCode: r.DateCode, Year: r.Year, Gates: []string{}}
	if len(r.Report) == 0 {
		return p, nil
	}
	d, err := report.ReadDocument(r.Report)
	if err != nil {
		return p, fmt.Errorf("record %d: %w", r.Serial, err)
	}
	p.Tied = d.Tied
	p.Gates = soundOf(d)
	p.GoodFor = goodFor(d, p.Gates)
	return p, nil
}

// soundOf are the names of the gates that gave every right answer, with no level or current
// of their pins outside its limit. A chip that takes too much supply current, or is of
// another family than marked, has none.
func soundOf(d report.Document) []string {
	sound := []string{}
	outside := func(pin int) bool {
		return slices.ContainsFunc(d.Levels, func(l report.Level) bool { return l.Pin == pin && l.Standing == levels.Outside.String() })
	}
	if d.FamilyCheck != "" || outside(d.VCC) {
		return sound
	}
	for _, g := range d.Gates {
		if g.State == "sound" && !slices.ContainsFunc(g.Pins, outside) {
			sound = append(sound, g.Name)
		}
	}
	return sound
}

// Bag is the chip's number on its bag.
func (p Partly) Bag() record.Number { return record.Number{Bench: p.Bench, Serial: p.Chip} }

// In reports whether the chip is one of a holding.
func (p Partly) In(h record.Holding) bool {
	return p.Bench == h.Bench && p.Drawer == h.Drawer && p.Type == h.Type && p.Year == h.Year
}

// goodFor says what a chip is still good for; empty for a whole one, and for one that is
// good for nothing.
func goodFor(d report.Document, sound []string) string {
	gates := "gate " + strings.Join(sound, "")
	if len(sound) > 1 {
		gates = fmt.Sprintf("%d gates: %s", len(sound), strings.Join(sound, " "))
	}
	switch {
	case d.Verdict == verdict.Pass && len(d.Tied) > 0:
		return "only with " + strings.Join(d.Tied, " ")
	case d.Verdict == verdict.Pass && len(d.Partial) > 0 && len(sound) > 0 && len(sound) < len(d.Gates):
		return gates
	case d.Verdict == verdict.Pass && len(d.Partial) > 0:
		return "all but " + d.PinWords(d.Partial)
	case d.Verdict == verdict.Fail && len(sound) > 0:
		return gates
	}
	return ""
}
