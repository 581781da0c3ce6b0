package record

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chipassay/host/marking"
	"chipassay/host/verdict"
)

func found(t testing.TB, s *Store, q Query) (serials []int64) {
	for r, err := range s.Find(t.Context(), q) {
		require.NoError(t, err)
		serials = append(serials, r.Serial)
	}
	return serials
}

// The drawers of the tram museum's workshop, in the order in which they were
// tested. The weeks are those of an ISO 8601 calendar: 1979-W01 begins on
// 1 January 1979, 1980-W01 on 31 December 1979.
func TestFind(t *testing.T) { inBoth(t, testFind) }

func testFind(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	week := func(code string, year int, monday string) func(*Record) {
		return func(r *Record) {
			from, err := parseDay(monday)
			require.NoError(t, err)
			r.DateCode, r.Year, r.From, r.To = code, year, from, from.AddDate(0, 0, 6)
		}
	}
	for _, change := range [](func(*Record)){
		week("7901", 1979, "1979-01-01"), // 1
		week("8001", 1980, "1979-12-31"), // 2
		func(r *Record) { r.DateCode, r.Year, r.From, r.To = "", 0, time.Time{}, time.Time{} }, // 3
		func(r *Record) {
			r.Drawer, r.Lot, r.Verdict, r.Grade, r.Reason = "D4", "", "fail", "reject", "Pin 8 is stuck low."
		}, // 4
		func(r *Record) { r.Part, r.Type, r.Family, r.Note = "7400", "7400", "74", "100%_sure" }, // 5
	} {
		r := nand()
		change(&r)
		appended(t, s, r)
	}
	day := func(text string) time.Time { d, _ := parseDay(text); return d }
	for name, c := range map[string]struct {
		query Query
		want  []int64
	}{
		"all":                  {Query{}, []int64{1, 2, 3, 4, 5}},
		"newest two":           {Query{NewestFirst: true, Limit: 2}, []int64{5, 4}},
		"the two before":       {Query{NewestFirst: true, Limit: 2, After: 4}, []int64{3, 2}},
		"after three":          {Query{After: 3}, []int64{4, 5}},
		"part":                 {Query{Part: "7410"}, []int64{1, 2, 3, 4}},
		"type":                 {Query{Type: "7400"}, []int64{5}},
		"family":               {Query{Family: "74"}, []int64{5}},
		"drawer":               {Query{Drawer: "D4"}, []int64{4}},
		"lot":                  {Query{Lot: "signal box 4"}, []int64{1, 2, 3, 5}},
		"verdict and grade":    {Query{Verdict: "fail", Grade: "reject"}, []int64{4}},
		"the year 1979":        {Query{From: day("1979-01-01"), To: day("1979-12-31")}, []int64{1, 4, 5}},
		"from 1980":            {Query{From: day("1980-01-01")}, []int64{2}},
		"until 1978":           {Query{To: day("1978-12-31")}, nil},
		"part, until 1979":     {Query{Part: "7410", To: day("1979-12-31")}, []int64{1, 4}},
		"text":                 {Query{Text: "STUCK low"}, []int64{4}},
		"text with a wildcard": {Query{Text: "0%_S"}, []int64{5}},
		"a wildcard's text":    {Query{Text: "1%s"}, nil},
	} {
		require.Equal(t, c.want, found(t, s, c.query), name)
	}

	stock, err := s.Stock(t.Context(), Query{})
	require.NoError(t, err)
	require.Equal(t, []Holding{
		{s.bench, "D3", "7400", "7400", "74", 1979, Tally{Strong: 1}},
		{s.bench, "D3", "7410", "74LS10", "74LS", 0, Tally{Strong: 1}},
		{s.bench, "D3", "7410", "74LS10", "74LS", 1979, Tally{Strong: 1}},
		{s.bench, "D3", "7410", "74LS10", "74LS", 1980, Tally{Strong: 1}},
		{s.bench, "D4", "7410", "74LS10", "74LS", 1979, Tally{Reject: 1}},
	}, stock)
	stock, err = s.Stock(t.Context(), Query{From: day("1980-01-01")})
	require.NoError(t, err)
	require.Equal(t, []Holding{{s.bench, "D3", "7410", "74LS10", "74LS", 1980, Tally{Strong: 1}}}, stock)

	counts, err := s.Counts(t.Context(), Query{Part: "7410"}, ByYear)
	require.NoError(t, err)
	require.Equal(t, []Count{{"0", Tally{Strong: 1}}, {"1979", Tally{Strong: 1, Reject: 1}}, {"1980", Tally{Strong: 1}}}, counts)
	_, err = s.Counts(t.Context(), Query{}, "note")
	require.Error(t, err)
	_, err = s.Get(t.Context(), 6)
	require.ErrorIs(t, err, ErrNone)
	_, err = s.History(t.Context(), 6)
	require.ErrorIs(t, err, ErrNone)
}

// A month is found by the day in its middle, and counted to its own year: 1 January 1982
// is in the last week of 1981 by ISO 8601.
func TestMonths(t *testing.T) { inBoth(t, testMonths) }

func testMonths(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	for _, code := range []string{"JAN82", "DEC81", "8202", "SEP79", "SEP79"} {
		d, err := marking.ReadDateCode(code, 0, time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC))
		require.NoError(t, err)
		r := nand()
		r.SetDate(&d)
		appended(t, s, r)
	}
	day := func(text string) time.Time { d, _ := parseDay(text); return d }
	for _, c := range []struct {
		from, to string
		want     []int64
	}{
		{"1982-01-01", "1982-12-31", []int64{1, 3}},
		{"1981-01-01", "1981-12-31", []int64{2}},
		{"1979-09-01", "1979-09-30", []int64{4, 5}},
		{"1979-09-15", "", []int64{1, 2, 3, 4, 5}}, // the middle of 1 to 30 September is the 15th
		{"1979-09-16", "", []int64{1, 2, 3}},
		{"1979-01-01", "1979-09-15", []int64{4, 5}},
		{"1979-01-01", "1979-09-14", nil},
		{"1982-01-14", "1982-01-14", []int64{3}}, // the Thursday of its second week
		{"1982-01-16", "1982-01-16", []int64{1}},
	} {
		q := Query{From: day(c.from)}
		if c.to != "" {
			q.To = day(c.to)
		}
		require.Equal(t, c.want, found(t, s, q), "%s to %s", c.from, c.to)
	}
	r, err := s.Get(t.Context(), 1)
	require.NoError(t, err)
	require.Equal(t, "JAN82 1982-01-01 1982-01-31 1982", fmt.Sprintf("%s %s %s %d", r.DateCode, r.From.Format(time.DateOnly), r.To.Format(time.DateOnly), r.Year))
	counts, err := s.Counts(t.Context(), Query{}, ByYear)
	require.NoError(t, err)
	require.Equal(t, []Count{{"1979", Tally{Strong: 2}}, {"1981", Tally{Strong: 1}}, {"1982", Tally{Strong: 2}}}, counts)
}

func TestRetestCorrectionAndUndo(t *testing.T) { inBoth(t, testRetestCorrectionAndUndo) }

func testRetestCorrectionAndUndo(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	first := appended(t, s, nand())
	appended(t, s, nand()) // 2, another chip
	again := nand()
	again.RetestOf, again.Verdict, again.Grade = first.Serial, "fail", "reject"
	again = appended(t, s, again) // 3
	require.Equal(t, []int64{2, 3}, found(t, s, Query{}))

	moved := again
	moved.Kind, moved.RetestOf, moved.Corrects, moved.Drawer = Correction, 0, again.Serial, "D5"
	moved = appended(t, s, moved) // 4
	require.Equal(t, first.Serial, moved.Chip)
	require.Equal(t, []int64{4}, found(t, s, Query{Drawer: "D5"}))

	_, err := s.Append(t.Context(), Record{Kind: Void, Corrects: again.Serial})
	require.ErrorIs(t, err, ErrNotCurrent)
	for i, want := range [][]int64{{2, 3}, {1, 2}, {2}} { // undone one after the other
		appended(t, s, Record{Kind: Void, Corrects: []int64{4, 3, 1}[i], Note: "wrong chip"})
		require.Equal(t, want, found(t, s, Query{}))
	}
	require.Len(t, found(t, s, Query{All: true}), 7)
	rows, err := s.History(t.Context(), again.Serial)
	require.NoError(t, err)
	require.Len(t, rows, 6)
	require.Nil(t, Current(rows))

	third := nand() // the chip is tested after all; a retest of a retest is one of the first
	third.RetestOf = again.Serial
	third = appended(t, s, third)
	require.Equal(t, first.Serial, third.RetestOf)
	require.Equal(t, []int64{2, 8}, found(t, s, Query{}))
	verified(t, s, 8)
}

// Whatever is appended, what is found, the stock and the counts are what a list
// of chips on paper says, on which a retest or correction is written under the
// chip and an undo strikes out the last line.
func TestStockIsWhatPaperSays(t *testing.T) { inBoth(t, testStockIsWhatPaperSays) }

func testStockIsWhatPaperSays(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	var chips [][]Record // on paper: lines of each chip that are not struck out
	rapid.Check(t, func(t *rapid.T) {
		for range rapid.IntRange(1, 8).Draw(t, "rows") {
			r := nand()
			r.Drawer = rapid.SampledFrom([]string{"D1", "D2", "D7"}).Draw(t, "drawer")
			r.Verdict, r.Grade = "pass", rapid.SampledFrom([]verdict.Grade{"strong", "sound", "function-only", "doubtful", ""}).Draw(t, "grade")
			if rapid.Bool().Draw(t, "fails") {
				r.Verdict, r.Grade = "fail", "reject"
			}
			chip := rapid.IntRange(0, len(chips)).Draw(t, "chip")
			action := rapid.SampledFrom([]string{"test", "retest", "correct", "undo"}).Draw(t, "action")
			if chip == len(chips) || len(chips[chip]) == 0 {
				chip, action, chips = len(chips), "test", append(chips, nil)
			}
			lines := &chips[chip]
			switch action {
			case "retest":
				r.RetestOf = (*lines)[0].Serial
			case "correct":
				r.Kind, r.Corrects = Correction, (*lines)[len(*lines)-1].Serial
			case "undo":
				r = Record{Kind: Void, Corrects: (*lines)[len(*lines)-1].Serial}
			case "test":
				if len(*lines) > 0 {
					chips = append(chips, nil)
					lines = &chips[len(chips)-1]
				}
			}
			r, err := s.Append(t.Context(), r)
			if err != nil {
				t.Fatal(err)
			}
			if action == "undo" {
				*lines = (*lines)[:len(*lines)-1]
			} else {
				*lines = append(*lines, r)
			}
		}
		var serials []int64
		drawers := map[string]*Tally{}
		for _, lines := range chips {
			if len(lines) == 0 {
				continue
			}
			r := lines[len(lines)-1]
			serials = append(serials, r.Serial)
			if drawers[r.Drawer] == nil {
				drawers[r.Drawer] = &Tally{}
			}
			switch d := drawers[r.Drawer]; r.Grade {
			case "strong":
				d.Strong++
			case "sound":
				d.Sound++
			case "doubtful":
				d.Doubtful++
			case "reject":
				d.Reject++
			default:
				d.FunctionOnly++
			}
		}
		slices.Sort(serials)
		var have []int64
		for r, err := range s.Find(t.Context(), Query{}) {
			if err != nil {
				t.Fatal(err)
			}
			have = append(have, r.Serial)
		}
		if !slices.Equal(serials, have) {
			t.Fatalf("found %v, on paper %v", have, serials)
		}
		for _, q := range []Query{{}, {To: time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)}} { // from the counts kept, and counted
			counts, err := s.Counts(t.Context(), q, ByDrawer)
			if err != nil || len(counts) != len(drawers) {
				t.Fatal(counts, err)
			}
			for _, c := range counts {
				if c.Tally != *drawers[c.Key] {
					t.Fatalf("%+v, on paper %+v", c, *drawers[c.Key])
				}
			}
		}
	})
	n, bad, err := s.Verify(t.Context())
	require.NoError(t, err)
	require.Nil(t, bad)
	require.Positive(t, n)
}

func TestAppendThatWasCalledOffLeavesNothing(t *testing.T) {
	inBoth(t, testAppendThatWasCalledOffLeavesNothing)
}

func testAppendThatWasCalledOffLeavesNothing(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := s.Append(ctx, nand())
	require.ErrorIs(t, err, context.Canceled)
	verified(t, s, 0)
}
