package page

import (
	"net/http"
	"strconv"

	"chipassay/host/assay"
	"chipassay/host/chip"
	"chipassay/host/record"
	"chipassay/host/statistics"
	"chipassay/host/verdict"
)

// perPage is how many chips a page of the list has.
const perPage = 50

// A drawerCard is a drawer with how many chips and what share of them is good.
type drawerCard struct {
	statistics.Group
	Chips   int
	Address string
	Here    bool
}

// A row is a chip in the list.
type row struct{ record.Record }

// Class is the verdict as a class of the style sheet.
func (r row) Class() string {
	if r.Verdict.Known() {
		return string(r.Verdict)
	}
	return string(verdict.NotTested)
}

// Headline is the verdict as a heading.
func (r row) Headline() string { return r.Verdict.Heading(assay.InPart(r.Reason)) }

// Date is the date code with its year.
func (r row) Date() string { return chip.DateCode(r.Record) }

// Why is why the verdict is what it is.
func (r row) Why() string { return chip.Remark(r.Record) }

// A drawersView is what is where.
type drawersView struct {
	recordView
	Cards  []drawerCard
	Form   filterForm
	Rows   []row
	Older  string // address of the next page; empty on the last
	Newest string // address of the first page; empty on that
	Papers papers
}

// drawers shows what is where. Counts are those that the records keep, and the list is read
// from where the page before it ended, so that it takes as long with many chips as with few.
func (s *Server) drawers(w http.ResponseWriter, r *http.Request, records *record.Store) error {
	asked := r.URL.Query()
	filter := filterOf(asked)
	v := drawersView{recordView: s.recordView("drawers", "Drawers"), Form: filterForm{Filter: filter, Path: "/drawers"}}
	counts, err := records.Counts(r.Context(), record.Query{}, record.ByDrawer)
	if err != nil {
		return err
	}
	for _, c := range counts {
		v.Cards = append(v.Cards, cardOf(c, filter))
	}
	v.Form.Drawers = named(counts)
	if v.Form.Benches, err = benchesOf(r.Context(), records); err != nil {
		return err
	}
	q, wrong, err := queryOf(r.Context(), records, filter)
	if err != nil {
		return err
	}
	status := http.StatusOK
	if v.Form.Wrong = wrong; wrong != nil {
		status = http.StatusUnprocessableEntity
	} else {
		// A place in the list that is none is its start.
		letter, digits := record.SplitNumber(asked.Get("after"))
		after, _ := strconv.ParseInt(digits, 10, 64)
		if err := v.list(r, records, q, record.Number{Bench: letter, Serial: max(after, 0)}); err != nil {
			return err
		}
	}
	s.answer(w, status, "drawers", v)
	return nil
}

// list reads a page of the list.
func (v *drawersView) list(r *http.Request, records *record.Store, q record.Query, after record.Number) error {
	q.NewestFirst, q.AfterRow, q.Limit = true, after, perPage+1 // one more shows whether there are more
	for found, err := range records.Find(r.Context(), q) {
		if err != nil {
			return err
		}
		v.Rows = append(v.Rows, row{found})
	}
	filter := v.Form.Filter
	if len(v.Rows) > perPage {
		v.Rows = v.Rows[:perPage]
		v.Older = addressOf("/drawers", filter, "after", v.Rows[perPage-1].Row().String()) + "#chips"
	}
	if after.Serial > 0 {
		v.Newest = addressOf("/drawers", filter) + "#chips"
	}
	var shown []record.Number
	for _, row := range v.Rows {
		shown = append(shown, row.Bag())
	}
	v.Papers = papersOf(filter, shown)
	return nil
}

func cardOf(c record.Count, filter record.Filter) drawerCard {
	card := drawerCard{Group: statistics.GroupOf(c.Key, c.Tally), Chips: c.Tested() + c.NotTested, Here: c.Key != "" && c.Key == filter.Drawer}
	if c.Key != "" {
		card.Address = addressOf("/drawers", record.Filter{Drawer: c.Key}) + "#chips"
	}
	return card
}

// named are the drawers that have a name.
func named(drawers []record.Count) (names []string) {
	for _, c := range drawers {
		if c.Key != "" {
			names = append(names, c.Key)
		}
	}
	return names
}
