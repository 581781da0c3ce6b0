package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"chipassay/host/assay"
	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/host/verdict"
)

// A partlyGood is a chip that is not wholly good, and what it is still good for.
type partlyGood struct {
	Record   int64    `json:"record"`
	Drawer   string   `json:"drawer"`
	Type     string   `json:"type"`
	DateCode string   `json:"date_code"`
	Year     int      `json:"-"`
	GoodFor  string   `json:"good_for"`
	Gates    []string `json:"gates"`          // sound ones
	Tied     []string `json:"tied,omitempty"` // the one use that it was tested for
}

// partlyGoods are the chips asked for that failed in some of their gates, or passed in
// part.
func partlyGoods(ctx context.Context, s *record.Store, q record.Query) (list []partlyGood, err error) {
	q.All = false
	var likely []int64
	for r, err := range s.Find(ctx, q) {
		if err != nil {
			return nil, err
		}
		if r.Verdict == verdict.Fail || r.Verdict == verdict.Pass && assay.InPart(r.Reason) {
			likely = append(likely, r.Serial)
		}
	}
	for _, serial := range likely {
		r, err := s.Get(ctx, serial)
		if err != nil {
			return nil, err
		}
		if len(r.Report) == 0 {
			continue
		}
		d, err := report.ReadDocument(r.Report)
		if err != nil {
			return nil, fmt.Errorf("record %d: %w", r.Serial, err)
		}
		p := partlyGood{Record: r.Serial, Drawer: r.Drawer, Type: r.Type, DateCode: r.DateCode, Year: r.Year, Gates: []string{}, Tied: d.Tied}
		for _, g := range d.Gates {
			if g.State == "sound" {
				p.Gates = append(p.Gates, g.Name)
			}
		}
		if p.GoodFor = goodFor(d, p.Gates); p.GoodFor != "" {
			list = append(list, p)
		}
	}
	return list, nil
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

// writePartlyGoods lists them for a person.
func writePartlyGoods(w io.Writer, list []partlyGood) error {
	if len(list) == 0 {
		return nil
	}
	fmt.Fprintf(w, "\nStill good for something: %d\n", len(list))
	var rows [][]string
	for _, p := range list {
		rows = append(rows, []string{p.Drawer, p.Type, p.DateCode, fmt.Sprint(p.Record), p.GoodFor})
	}
	return writeAligned(w, []string{"drawer", "type", "date_code", "record", "good_for"}, rows)
}
