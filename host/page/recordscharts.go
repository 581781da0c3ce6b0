package page

import (
	"net/http"

	"chipassay/host/record"
	"chipassay/host/statistics"
)

// mostLevels is from how many chips the levels are, the newest: reports are long.
const mostLevels = 1000

// A chartsView is what the records say as a whole.
type chartsView struct {
	recordView
	Form  filterForm
	Yield *statistics.YieldPage // nil where the filter is wrong
	List  string                // address of the chips
}

// charts shows yields, date codes, levels and the commonest faults.
func (s *Server) charts(w http.ResponseWriter, r *http.Request, records *record.Store) error {
	asked := r.URL.Query()
	filter := filterOf(asked)
	filter.Verdict, filter.Grade, filter.Text = "", "", "" // a yield is of chips whatever came of them
	by := field{Name: "by", Label: "By", Value: asked.Get("by")}
	kinds := []string{record.ByPart, record.ByType, record.ByFamily, record.ByDrawer, record.ByLot, record.ByYear}
	benches, err := benchesOf(r.Context(), records)
	if err != nil {
		return err
	}
	if len(benches) > 0 {
		kinds = append(kinds, record.ByBench)
	}
	chosen, err := record.OneOf("by", by.Value, kinds...)
	if by.Wrong = record.FieldErrors(err)["by"]; chosen == "" {
		chosen = record.ByPart
	}
	for _, k := range kinds {
		by.Options = append(by.Options, option{k, statistics.Names[k], k == chosen})
	}
	v := chartsView{
		recordView: s.recordView("charts", "Charts"),
		Form:       filterForm{Filter: filter, Path: "/charts", Chips: true, Benches: benches, More: []field{by}},
		List:       addressOf("/drawers", filter) + "#chips",
	}
	drawers, err := records.Counts(r.Context(), record.Query{}, record.ByDrawer)
	if err != nil {
		return err
	}
	v.Form.Drawers = named(drawers)
	q, wrong, err := queryOf(r.Context(), records, filter)
	if err != nil {
		return err
	}
	if v.Form.Wrong = wrong; wrong != nil || by.Wrong != "" {
		s.answer(w, http.StatusUnprocessableEntity, "charts", v)
		return nil
	}
	y, err := statistics.Collect(r.Context(), records, q, chosen)
	if err != nil {
		return err
	}
	yield, err := statistics.PageOf(r.Context(), records, q, y, filter.Words(), mostLevels)
	if err != nil {
		return err
	}
	v.Yield = &yield
	s.answer(w, http.StatusOK, "charts", v)
	return nil
}
