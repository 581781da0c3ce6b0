package page

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"

	"chipassay/host/certificate"
	"chipassay/host/chip"
	"chipassay/host/record"
	"chipassay/host/report"
)

// A chipView is all that is known of one chip.
type chipView struct {
	recordView
	Number    string                   // on its bag
	Elsewhere string                   // the letter of its bench, where that is another
	Record    record.Record            // the current one, or the last where all was taken back
	Gone      bool                     // all was taken back
	Sheet     *certificate.Certificate // nil where there is none
	NoSheet   string                   // why
	Contact   contactTable
	History   []historyRow
	Correct   []field
	Why       field // of taking back
	Papers    papers
	Wrong     string // with no single field
}

// A historyRow is a row of the history.
type historyRow struct {
	record.Record
	Now bool // it is the current one
}

// When is the row's time.
func (h historyRow) When() string { return h.Time.Local().Format("2006-01-02 15:04") }

// What says what the row is; Why it is so stands beside.
func (h historyRow) What() string {
	if h.Kind == record.Void {
		return "taken back"
	}
	return chip.Words(h.Record)
}

// Current is the current record, to be shown in short.
func (v chipView) Current() row { return row{v.Record} }

// InDrawer is the list of the chips of its drawer.
func (v chipView) InDrawer() string {
	return addressOf("/drawers", record.Filter{Drawer: v.Record.Drawer}) + "#chips"
}

// InLot is the page of its lot.
func (v chipView) InLot() string { return lotAddress(v.Record.Lot) }

// Heading is what the chip is called.
func (v chipView) Heading() string {
	if v.Sheet != nil {
		return v.Sheet.Name()
	}
	return cmp.Or(v.Record.Marking, v.Record.Type, "A chip")
}

// chip shows a chip.
func (s *Server) chip(w http.ResponseWriter, r *http.Request, records *record.Store) error {
	c, at, err := chipOf(r, records)
	if err != nil {
		return err
	}
	if asked := r.PathValue("number"); asked != at.Number(c.Number) {
		http.Redirect(w, r, "/chip/"+at.Number(c.Number), http.StatusSeeOther)
		return nil
	}
	return s.chipPage(w, r, at, c, nil)
}

// chipOf is the chip of an address, and the records of its bench.
func chipOf(r *http.Request, records *record.Store) (c chip.Chip, at *record.Store, err error) {
	letter, digits := record.SplitNumber(r.PathValue("number"))
	number, err := chip.ParseNumber(digits)
	if err != nil {
		return c, nil, problem{http.StatusNotFound, "There is no such chip: a chip's number is on its bag, and in the list of the drawers."}
	}
	if letter != "" {
		benches, err := records.Benches(r.Context())
		if err != nil {
			return c, nil, err
		}
		if !slices.Contains(benches, letter) {
			return c, nil, problem{http.StatusNotFound, fmt.Sprintf("Of bench %s there is nothing here, or the server cannot be reached.", letter)}
		}
	}
	if at, err = records.At(r.Context(), letter); err != nil {
		return c, nil, err
	}
	c, err = chip.Find(r.Context(), at, number)
	return c, at, err
}

// chipPage answers with the page of a chip; wrong is what is wrong with what was typed.
func (s *Server) chipPage(w http.ResponseWriter, r *http.Request, records *record.Store, c chip.Chip, wrong map[string]string) error {
	v := chipView{recordView: s.recordView("drawers", "Chip "+records.Number(c.Number)), Number: records.Number(c.Number), Gone: c.Current == nil, Wrong: wrong[""]}
	if own := s.Bench.Records(); own != nil && own.Bench() != records.Bench() {
		v.Elsewhere = records.Bench()
	}
	if err := v.read(r.Context(), records, c); err != nil {
		return err
	}
	v.fields(r, wrong)
	status := http.StatusOK
	if wrong != nil {
		status = http.StatusUnprocessableEntity
	}
	s.answer(w, status, "chip", v)
	return nil
}

// read reads what is recorded of the chip.
func (v *chipView) read(ctx context.Context, records *record.Store, c chip.Chip) (err error) {
	for _, h := range slices.Backward(c.History) {
		v.History = append(v.History, historyRow{h, c.Current != nil && h.Serial == c.Current.Serial})
	}
	v.Papers = papersOf(record.Filter{}, []record.Number{{Bench: records.Bench(), Serial: c.Number}})
	if v.Record, err = records.Get(ctx, c.Serial()); err != nil || v.Gone {
		return err
	}
	sheet, err := certificate.Read(ctx, records, c.Serial())
	err = errors.Join(err, sheet.Check())
	if errors.Is(err, certificate.ErrNone) {
		v.NoSheet = report.Sentence(err.Error())
		return nil
	}
	v.Sheet, v.Contact = &sheet, contactOf(sheet.Document)
	return err
}

// fields are those of the forms, with what was typed where that was wrong.
func (v *chipView) fields(r *http.Request, wrong map[string]string) {
	typed := func(name, now string) string {
		if wrong != nil && r.PostForm.Has(name) {
			return r.PostForm.Get(name)
		}
		return now
	}
	now := v.Record
	v.Correct = []field{
		{Name: "marking", Label: "Marking", Value: typed("marking", now.Marking), Reading: "part"},
		{Name: "date-code", Label: "Date code; empty for none", Value: typed("date-code", now.DateCode), Reading: "date"},
		{Name: "drawer", Label: "Drawer", Value: typed("drawer", now.Drawer)},
		{Name: "lot", Label: "Lot", Value: typed("lot", now.Lot)},
		{Name: "operator", Label: "Operator", Value: typed("operator", now.Operator)},
		{Name: "note", Label: "Note", Value: typed("note", now.Note)},
	}
	for i, f := range v.Correct {
		v.Correct[i].Wrong = wrong[f.Name]
	}
	v.Why = field{Name: "why", Label: "Reason", Value: typed("why", ""), Wrong: wrong["why"], Hint: "the wrong chip was in the socket"}
}

// chipJSON gives the report of a chip's test, or its record where there is none.
func (s *Server) chipJSON(w http.ResponseWriter, r *http.Request, records *record.Store) error {
	c, records, err := chipOf(r, records)
	if err != nil {
		return err
	}
	now, err := records.Get(r.Context(), c.Serial())
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	if len(now.Report) == 0 {
		_, err := records.ExportLines(r.Context(), w, record.Query{All: true, After: now.Serial - 1, Limit: 1})
		return err
	}
	d, err := report.ReadDocument(now.Report)
	if err != nil {
		return err
	}
	return d.WriteJSON(w)
}

// correct corrects what a person wrote of a chip. What is wrong is said beside its field.
func (s *Server) correct(w http.ResponseWriter, r *http.Request, records *record.Store) error {
	c, records, err := s.posted(r, records)
	if err != nil {
		return err
	}
	if c.Current == nil {
		return s.chipPage(w, r, records, c, map[string]string{"": "All records of this chip were taken back."})
	}
	var wanted chip.Correction
	for name, to := range map[string]**string{
		"marking": &wanted.Marking, "date-code": &wanted.DateCode, "drawer": &wanted.Drawer, "lot": &wanted.Lot, "operator": &wanted.Operator, "note": &wanted.Note,
	} {
		if r.PostForm.Has(name) {
			*to = new(r.PostForm.Get(name))
		}
	}
	wanted = wanted.Changes(*c.Current)
	if wanted.Lot != nil {
		if err := records.FindLot(r.Context(), *wanted.Lot); errors.Is(err, record.ErrNoLot) && !record.FirstLot(err) {
			return s.chipPage(w, r, records, c, map[string]string{"lot": err.Error() + ": open a new one on the page Lots"})
		}
	}
	_, err = chip.Correct(r.Context(), records, c.Number, wanted)
	return s.replaced(w, r, records, c, err)
}

// takeBack takes the last record of a chip back.
func (s *Server) takeBack(w http.ResponseWriter, r *http.Request, records *record.Store) error {
	c, records, err := s.posted(r, records)
	if err != nil {
		return err
	}
	_, err = chip.TakeBack(r.Context(), records, c.Number, r.PostForm.Get("why"))
	if errors.Is(err, chip.ErrNoReason) {
		err = &record.FieldError{Field: "why", Why: "say why, for who reads it later"}
	}
	return s.replaced(w, r, records, c, err)
}

// posted is the chip of a form that was sent, which is one of this bench.
func (s *Server) posted(r *http.Request, records *record.Store) (chip.Chip, *record.Store, error) {
	if err := r.ParseForm(); err != nil {
		return chip.Chip{}, nil, problem{http.StatusBadRequest, "The form is too long."}
	}
	c, at, err := chipOf(r, records)
	if own := s.Bench.Records(); err == nil && own != nil && own.Bench() != at.Bench() {
		err = problem{http.StatusUnprocessableEntity, fmt.Sprintf("Chip %s is of bench %s, and is corrected there.", at.Number(c.Number), at.Bench())}
	}
	return c, at, err
}

// replaced shows the chip after a record of it was replaced, or why it was not.
func (s *Server) replaced(w http.ResponseWriter, r *http.Request, records *record.Store, c chip.Chip, err error) error {
	if err == nil {
		http.Redirect(w, r, fmt.Sprintf("/chip/%s#history", records.Number(c.Number)), http.StatusSeeOther)
		return nil
	}
	wrong := record.FieldErrors(err)
	if errors.Is(err, chip.ErrUnchanged) {
		wrong = map[string]string{"": "Nothing was changed: write what is to read otherwise."}
	}
	return s.chipPage(w, r, records, c, wrong)
}
