package page

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"chipassay/host/certificate"
	"chipassay/host/chip"
	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/host/statistics"
)

// How many chips go into one paper at most.
const (
	mostCertificates = 200
	mostLabels       = 1000
	mostReported     = 500
)

// papers are the addresses of what can be printed or taken away of some chips.
type papers struct {
	Numbers string // those of the chips, with commas; empty for all of the filter
	Filter  record.Filter
	Count   int // chips that are named; 0 for all of the filter
}

func papersOf(f record.Filter, numbers []record.Number) papers {
	var words []string
	for _, n := range numbers {
		words = append(words, n.String())
	}
	return papers{strings.Join(words, ","), f, len(numbers)}
}

// Certificates is the address of certificates.
func (p papers) Certificates() string { return p.address("/certificate") }

// Report is the address of a report of all chips of the filter.
func (p papers) Report() string { return addressOf("/report", p.Filter) }

// Export is the address of all chips of the filter in a format.
func (p papers) Export(format string) string {
	return addressOf("/export", p.Filter, "format", format)
}

// Others are the addresses of other pages about the chips of the filter.
func (p papers) Others() []anchor {
	return []anchor{{addressOf("/stock", p.Filter), "Stock of these", false}, {addressOf("/charts", p.Filter), "Charts of these", false}}
}

func (p papers) address(path string) string {
	if p.Numbers == "" {
		return addressOf(path, p.Filter)
	}
	return addressOf(path, record.Filter{}, "n", p.Numbers)
}

// Hidden are the fields by which a form names the chips.
func (p papers) Hidden() (list []field) {
	if p.Numbers != "" {
		return []field{{Name: "n", Value: p.Numbers}}
	}
	for name, value := range filterFields(&p.Filter) {
		if *value != "" {
			list = append(list, field{Name: name, Value: *value})
		}
	}
	slices.SortFunc(list, func(a, b field) int { return cmp.Compare(a.Name, b.Name) })
	return list
}

// numbersOf are the numbers of the chips that an address asks for, in rising order: those
// that it names, or those of its filter.
func numbersOf(r *http.Request, records *record.Store, most int) (numbers []record.Number, err error) {
	named := strings.FieldsFunc(strings.Join(r.URL.Query()["n"], ","), func(c rune) bool { return c == ',' || c == ' ' })
	for _, typed := range named {
		letter, digits := record.SplitNumber(typed)
		n, err := chip.ParseNumber(digits)
		if err != nil {
			return nil, problem{http.StatusUnprocessableEntity, fmt.Sprintf("%q is no chip's number.", typed)}
		}
		numbers = append(numbers, record.Number{Bench: letter, Serial: n})
	}
	if len(named) == 0 {
		q, err := askedFor(r, records)
		if err != nil {
			return nil, err
		}
		q.NewestFirst, q.Limit = true, most+1
		for found, err := range records.Find(r.Context(), q) {
			if err != nil {
				return nil, err
			}
			numbers = append(numbers, found.Bag())
		}
	}
	slices.SortFunc(numbers, record.Number.Compare)
	numbers = slices.Compact(numbers)
	switch {
	case len(numbers) == 0:
		return nil, problem{http.StatusNotFound, "No chip was asked for."}
	case len(numbers) > most:
		return nil, problem{http.StatusUnprocessableEntity, fmt.Sprintf("These are more than %d chips: ask for fewer, by drawer, part or date code.", most)}
	}
	return numbers, nil
}

// askedFor is the query of an address; what is wrong with it is a problem.
func askedFor(r *http.Request, records *record.Store) (record.Query, error) {
	q, wrong, err := queryOf(r.Context(), records, filterOf(r.URL.Query()))
	for name, why := range wrong {
		return q, problem{http.StatusUnprocessableEntity, report.Sentence(strings.TrimSpace(name + ": " + why))}
	}
	return q, err
}

// currentOf are the numbers of the current records of chips.
func currentOf(ctx context.Context, records *record.Store, numbers []record.Number) (rows []record.Number, err error) {
	for _, n := range numbers {
		at, err := records.At(ctx, n.Bench)
		if err != nil {
			return nil, err
		}
		c, err := chip.Find(ctx, at, n.Serial)
		if err != nil {
			return nil, err
		}
		rows = append(rows, record.Number{Bench: n.Bench, Serial: c.Serial()})
	}
	return rows, nil
}

// certificates answers with the certificates of chips.
func (s *Server) certificates(w http.ResponseWriter, r *http.Request, records *record.Store) error {
	numbers, err := numbersOf(r, records, mostCertificates)
	if err != nil {
		return err
	}
	serials, err := currentOf(r.Context(), records, numbers)
	if err != nil {
		return err
	}
	lot := ""
	if filter := filterOf(r.URL.Query()); filter == (record.Filter{Lot: filter.Lot}) && !r.URL.Query().Has("n") {
		lot = filter.Lot
	}
	list, title, err := certificate.ReadAll(r.Context(), records, serials, lot)
	if err != nil {
		return err
	}
	standAlone(w)
	return certificate.Write(w, title, list)
}

// labels answers with labels of chips.
func (s *Server) labels(w http.ResponseWriter, r *http.Request, records *record.Store) error {
	asked := r.URL.Query()
	layout, err := certificate.LayoutWords{
		Size: asked.Get("size"), Paper: cmp.Or(asked.Get("paper"), "A4"), Margin: cmp.Or(asked.Get("margin"), "4"), Gap: cmp.Or(asked.Get("gap"), "0"),
	}.Layout()
	if err != nil {
		return err
	}
	skip := 0
	if typed := asked.Get("skip"); typed != "" {
		if skip, err = strconv.Atoi(typed); err != nil {
			return problem{http.StatusUnprocessableEntity, fmt.Sprintf("%q is no number of labels that are used already.", typed)}
		}
	}
	numbers, err := numbersOf(r, records, mostLabels)
	if err != nil {
		return err
	}
	serials, err := currentOf(r.Context(), records, numbers)
	if err != nil {
		return err
	}
	list, _, err := certificate.ReadAll(r.Context(), records, serials, "")
	if err != nil {
		return err
	}
	var page strings.Builder
	if err := certificate.WriteLabels(&page, layout, skip, list); err != nil {
		return err
	}
	standAlone(w)
	_, err = w.Write([]byte(page.String()))
	return err
}

// report answers with the report of chips as of a run.
func (s *Server) report(w http.ResponseWriter, r *http.Request, records *record.Store) error {
	q, err := askedFor(r, records)
	if err != nil {
		return err
	}
	filter := filterOf(r.URL.Query())
	tray := report.Tray{Title: "Chips " + filter.Words(), Numbered: true}
	switch filter {
	case record.Filter{}:
		tray.Title = "All chips"
	case record.Filter{Drawer: filter.Drawer}:
		tray.Title = "Drawer " + filter.Drawer
	}
	q.NewestFirst, q.Limit = true, mostReported
	for found, err := range records.FindReports(r.Context(), q) {
		if err != nil {
			return err
		}
		if len(found.Report) == 0 {
			continue
		}
		d, err := report.ReadDocument(found.Report)
		if err != nil {
			return fmt.Errorf("record %d: %w", found.Serial, err)
		}
		d.Typed, d.Place = cmp.Or(found.Marking, d.Typed), found.BagNumber()
		tray.Chips = append(tray.Chips, d)
	}
	switch len(tray.Chips) {
	case 0:
		return problem{http.StatusNotFound, "There is no report of a test among these chips."}
	case mostReported:
		tray.Title += fmt.Sprintf(", the newest %d", mostReported)
	}
	slices.SortStableFunc(tray.Chips, func(a, b report.Document) int {
		return cmp.Or(len(a.Place)-len(b.Place), cmp.Compare(a.Place, b.Place))
	})
	tray.Charts = statistics.TrayCharts(tray)
	standAlone(w)
	return tray.WriteHTML(w)
}

// export answers with a file of chips.
func (s *Server) export(w http.ResponseWriter, r *http.Request, records *record.Store) error {
	q, err := askedFor(r, records)
	if err != nil {
		return err
	}
	var write func() error
	kind, format := "", r.URL.Query().Get("format")
	switch format {
	case "csv":
		kind, write = "text/csv; charset=utf-8; header=present", func() error { _, err := records.ExportCSV(r.Context(), w, q); return err }
	case "jsonl":
		kind, write = "application/jsonl; charset=utf-8", func() error { _, err := records.ExportLines(r.Context(), w, q); return err }
	case "json":
		kind, write = "application/json; charset=utf-8", func() error { return records.ExportJSON(r.Context(), w, q) }
	default:
		return problem{http.StatusUnprocessableEntity, "Name a format: csv, json or jsonl."}
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Disposition", `attachment; filename="chips.`+format+`"`)
	if err := write(); err != nil {
		panic(http.ErrAbortHandler) // what was sent is not whole, and must not look so
	}
	return nil
}
