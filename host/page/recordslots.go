package page

import (
	"cmp"
	"context"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"chipassay/host/lot"
	"chipassay/host/record"
	"chipassay/host/statistics"
	"chipassay/host/verdict"
)

// A lotsView is where the lots stand, and the form that opens one.
type lotsView struct {
	recordView
	Lots      []lotLine
	Unplanned []record.Count // lots that were not opened, by their records
	Fields    []field
	Ticks     []tick
	Wrong     string
	Planned   *plannedLot // a plan that was asked for
}

// ChipsOf is the list of a lot's chips.
func (v recordView) ChipsOf(lot string) string {
	return addressOf("/drawers", record.Filter{Lot: lot}) + "#chips"
}

// A tick is a box that can be ticked.
type tick struct {
	Name, Label, Wrong string
	Ticked             bool
}

// A lotLine is a lot in the list.
type lotLine struct {
	record.Inspection
	Sheet   statistics.LotSheet
	Address string
	Tested  string // of the sample, on a picture 100 wide
}

// Mark is the verdict whose mark the decision has.
func (l lotLine) Mark() string {
	return map[lot.Decision]string{lot.Accept: string(verdict.Pass), lot.Reject: string(verdict.Fail)}[l.Decision]
}

// A plannedLot is a plan that is not kept.
type plannedLot struct {
	statistics.LotSheet
	Because string
}

// lotAddress is the page of a lot. A browser takes . and .. for folders.
func lotAddress(name string) string {
	if strings.Trim(name, ".") == "" {
		return "/lots?" + url.Values{"name": {name}}.Encode()
	}
	return "/lots/" + url.PathEscape(name)
}

// lots shows where the lots stand.
func (s *Server) lots(w http.ResponseWriter, r *http.Request, records *record.Store) error {
	if name := r.URL.Query().Get("name"); name != "" {
		return s.lotNamed(w, r, records, name)
	}
	v := s.lotsView(url.Values{}, nil)
	return s.lotsPage(w, r, records, http.StatusOK, v)
}

func (s *Server) lotsView(typed url.Values, wrong map[string]string) lotsView {
	return lotsView{recordView: s.recordView("lots", "Lots"), Fields: lotFields(typed, wrong), Ticks: lotTicks(typed, wrong), Wrong: wrong[""]}
}

func (s *Server) lotsPage(w http.ResponseWriter, r *http.Request, records *record.Store, status int, v lotsView) error {
	if err := v.read(r.Context(), records); err != nil {
		return err
	}
	s.answer(w, status, "lots", v)
	return nil
}

// read reads the lots, the newest first.
func (v *lotsView) read(ctx context.Context, records *record.Store) error {
	list, err := records.Inspections(ctx)
	if err != nil {
		return err
	}
	opened := map[string]bool{"": true}
	for i := len(list) - 1; i >= 0; i-- {
		in := list[i]
		opened[in.Name] = true
		v.Lots = append(v.Lots, lotLine{in, statistics.LotSheet{Lot: in.Lot, Inspection: &in}, lotAddress(in.Name), hundredths(in.Tested, in.Lot.Plan.SampleSize)})
	}
	counts, err := records.Counts(ctx, record.Query{}, record.ByLot)
	for _, c := range counts {
		if !opened[c.Key] {
			v.Unplanned = append(v.Unplanned, c)
		}
	}
	return err
}

// A lotView is a lot.
type lotView struct {
	recordView
	Sheet  statistics.LotSheet
	Any    bool // it has chips
	Papers papers
}

func (s *Server) lot(w http.ResponseWriter, r *http.Request, records *record.Store) error {
	return s.lotNamed(w, r, records, r.PathValue("name"))
}

func (s *Server) lotNamed(w http.ResponseWriter, r *http.Request, records *record.Store, name string) error {
	name = strings.TrimSpace(name)
	filter := record.Filter{Lot: name}
	l, err := records.Lot(r.Context(), name)
	if errors.Is(err, record.ErrNoLot) {
		if err := records.FindLot(r.Context(), name); err != nil {
			return problem{http.StatusNotFound, "There is no such lot: " + err.Error() + "."}
		}
		http.Redirect(w, r, addressOf("/drawers", filter)+"#chips", http.StatusSeeOther) // it has chips, and no plan
		return nil
	}
	if err != nil {
		return err
	}
	i, err := records.Inspect(r.Context(), l)
	if err != nil {
		return err
	}
	v := lotView{s.recordView("lots", "Lot "+l.Name), statistics.LotSheet{Lot: l, Inspection: &i}, i.Drawn+i.Beyond > 0, papersOf(filter, nil)}
	s.answer(w, http.StatusOK, "lot", v)
	return nil
}

// openLot opens a lot, or shows the plan that it would have.
func (s *Server) openLot(w http.ResponseWriter, r *http.Request, records *record.Store) error {
	if err := r.ParseForm(); err != nil {
		return problem{http.StatusBadRequest, "The form is too long."}
	}
	order, err := orderOf(r.PostForm)
	var p record.PlannedLot
	switch {
	case err != nil:
	case r.PostForm.Get("do") == "plan":
		p, err = records.PlanLot(r.Context(), order)
	default:
		p, err = records.OrderLot(r.Context(), order)
	}
	v := s.lotsView(r.PostForm, record.FieldErrors(err))
	switch {
	case err != nil:
		return s.lotsPage(w, r, records, http.StatusUnprocessableEntity, v)
	case r.PostForm.Get("do") == "plan":
		p.Name = "" // it is not open
		v.Planned = &plannedLot{statistics.LotSheet{Lot: p.Lot}, strings.TrimPrefix(p.Because, ", ")}
		return s.lotsPage(w, r, records, http.StatusOK, v)
	}
	http.Redirect(w, r, lotAddress(p.Name), http.StatusSeeOther)
	return nil
}

// orderOf is the lot that a form asks for.
func orderOf(f url.Values) (record.LotOrder, error) {
	o := record.LotOrder{
		Name: f.Get("name"), Source: f.Get("source"), Level: f.Get("level"), Severity: f.Get("severity"), Decides: f.Get("decides"),
		Reduced: f.Get("reduced") != "", Resume: f.Get("resume") != "",
	}
	var err1, err2 error
	if typed := strings.TrimSpace(f.Get("size")); typed != "" {
		if o.Size, err1 = strconv.Atoi(typed); err1 != nil {
			err1 = &record.FieldError{Field: "size", Typed: typed, Why: "write a whole number of chips, as 500"}
		}
	}
	if typed := strings.TrimSpace(f.Get("aql")); typed != "" {
		if o.AQL, err2 = strconv.ParseFloat(typed, 64); err2 != nil {
			err2 = &record.FieldError{Field: "aql", Typed: typed, Why: "write per cent, as 1.0"}
		}
	}
	return o, errors.Join(err1, err2)
}

// lotFields are the fields of the form that opens a lot.
func lotFields(typed url.Values, wrong map[string]string) []field {
	words := func(list []string, chosen string) (all []option) {
		for _, w := range list {
			all = append(all, option{w, w, w == chosen})
		}
		return all
	}
	var aqls, levels, severities []string
	for _, a := range lot.AQLs() {
		if a <= lot.PerCent {
			aqls = append(aqls, lot.FormatAQL(a))
		}
	}
	for _, l := range lot.Levels() {
		levels = append(levels, string(l))
	}
	for _, s := range lot.Severities() {
		severities = append(severities, string(s))
	}
	list := []field{
		{Name: "name", Label: "Name of the lot", Hint: "depot-1"},
		{Name: "size", Label: "Chips in it", Hint: "500", Number: true},
		{Name: "aql", Label: "Acceptance quality limit, % nonconforming", Options: words(aqls, cmp.Or(typed.Get("aql"), "1.0"))},
		{Name: "level", Label: "Inspection level; II is the usual one", Options: words(levels, cmp.Or(typed.Get("level"), string(lot.II)))},
		{Name: "decides", Label: "A chip is nonconforming by", Options: []option{
			{string(record.ByLevels), "a wrong vector, or a PASS, BUT", typed.Get("decides") != string(record.ByFunction)},
			{string(record.ByFunction), "a wrong vector alone", typed.Get("decides") == string(record.ByFunction)},
		}},
		{Name: "source", Label: "Supplier; lots of one supplier are a series", Hint: "signal department"},
		{Name: "severity", Label: "Severity", Options: append([]option{{"", "by the switching rules", typed.Get("severity") == ""}}, words(severities, typed.Get("severity"))...)},
	}
	for i, f := range list {
		list[i].Value, list[i].Wrong = typed.Get(f.Name), wrong[f.Name]
	}
	return list
}

func lotTicks(typed url.Values, wrong map[string]string) []tick {
	return []tick{
		{"reduced", "The supply is steady and the buyer agrees: the rules may lead to reduced inspection", wrong["reduced"], typed.Get("reduced") != ""},
		{"resume", "The supplier has acted since inspection was discontinued", wrong["resume"], typed.Get("resume") != ""},
	}
}
