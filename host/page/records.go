package page

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"chipassay/host/certificate"
	"chipassay/host/record"
)

// recordPages answers with what is in the records.
func (s *Server) recordPages(mux *http.ServeMux) {
	for pattern, do := range map[string]recordPage{
		"GET /drawers":            s.drawers,
		"GET /stock":              s.stock,
		"GET /chip/{number}":      s.chip,
		"GET /chip/{number}/json": s.chipJSON,
		"GET /charts":             s.charts,
		"GET /lots":               s.lots,
		"GET /lots/{name}":        s.lot,
		"GET /certificate":        s.certificates,
		"GET /labels":             s.labels,
		"GET /report":             s.report,
		"GET /export":             s.export,

		"POST /chip/{number}/correct":  s.correct,
		"POST /chip/{number}/takeback": s.takeBack,
		"POST /lots":                   s.openLot,
	} {
		mux.HandleFunc(pattern, s.fromRecords(do))
	}
	mux.HandleFunc("GET /", func(w http.ResponseWriter, r *http.Request) {
		s.sayProblem(w, problem{http.StatusNotFound, "There is no such page here."})
	})
}

// A recordPage answers from the records.
type recordPage func(w http.ResponseWriter, r *http.Request, records *record.Store) error

// A problem is what a page says instead of what was asked for.
type problem struct {
	status int
	words  string
}

func (p problem) Error() string { return p.words }

// fromRecords answers from the records that are open. What went wrong is said on a page.
func (s *Server) fromRecords(do recordPage) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		records := s.Bench.Records()
		if records == nil {
			s.sayProblem(w, problem{http.StatusServiceUnavailable, "No records are open, since no adapter is connected. Look for it with Menu, Look for the adapter."})
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, 256<<10)
		records, _, err := records.Together(r.Context()) // of all benches; what waits is said in the bar
		if err == nil {
			err = do(w, r, records)
		}
		var said problem
		switch {
		case err == nil, errors.Is(err, context.Canceled): // the page was left
		case errors.As(err, &said):
			s.sayProblem(w, said)
		case errors.Is(err, record.ErrNone):
			s.sayProblem(w, problem{http.StatusNotFound, "There is no such chip: " + err.Error() + "."})
		case errors.Is(err, certificate.ErrNone), errors.Is(err, certificate.ErrLayout):
			s.sayProblem(w, problem{http.StatusUnprocessableEntity, err.Error()})
		default:
			s.sayProblem(w, problem{http.StatusInternalServerError, "The records could not be read or written: " + err.Error()})
		}
	}
}

// A recordView is what every page of the records shows.
type recordView struct {
	view
	Title string
}

// PageTitle is the page's own.
func (v recordView) PageTitle() string { return v.Title }

// recordView is that of a page with a title, in the bar under a name.
func (s *Server) recordView(name, title string) recordView {
	state, _ := s.Bench.State()
	return recordView{view{state, name, control{}, s}, title}
}

// sayProblem answers with a page that says what is wrong.
func (s *Server) sayProblem(w http.ResponseWriter, p problem) {
	s.answer(w, p.status, "problem", struct {
		recordView
		Words string
	}{s.recordView("", "Nothing to show"), p.words})
}

// answer is page with a status.
func (s *Server) answer(w http.ResponseWriter, status int, name string, shown any) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	s.page(w, name, shown)
}

// standAlone has an answer be a page with its own style in it, and nothing else that could
// be executed.
func standAlone(w http.ResponseWriter) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
}

// filterFields are the fields of a filter, by their names in an address.
func filterFields(f *record.Filter) map[string]*string {
	return map[string]*string{
		"bench": &f.Bench, "part": &f.Part, "family": &f.Family, "drawer": &f.Drawer, "lot": &f.Lot, "verdict": &f.Verdict, "grade": &f.Grade,
		"from": &f.From, "to": &f.To, "text": &f.Text,
	}
}

// filterOf is the filter of an address.
func filterOf(asked url.Values) (f record.Filter) {
	for name, field := range filterFields(&f) {
		*field = strings.Join(strings.Fields(asked.Get(name)), " ")
	}
	f.Drawer, f.Lot = strings.TrimSpace(asked.Get("drawer")), strings.TrimSpace(asked.Get("lot")) // as they are written
	return f
}

// addressOf is a filter in an address, with other values behind it in pairs.
func addressOf(path string, f record.Filter, more ...string) string {
	values := url.Values{}
	for name, field := range filterFields(&f) {
		if *field != "" {
			values.Set(name, *field)
		}
	}
	for i := 0; i+1 < len(more); i += 2 {
		values.Set(more[i], more[i+1])
	}
	if len(values) == 0 {
		return path
	}
	return path + "?" + values.Encode()
}

// benchesOf are the letters of the benches to choose from; none where there is one.
func benchesOf(ctx context.Context, records *record.Store) ([]string, error) {
	if !records.Shared() {
		return nil, nil
	}
	return records.Benches(ctx)
}

// queryOf understands a filter. What is wrong with it is said beside its fields.
func queryOf(ctx context.Context, records *record.Store, f record.Filter) (record.Query, map[string]string, error) {
	q, err := f.Query()
	if err != nil {
		return q, record.FieldErrors(err), nil
	}
	if q.Bench != "" {
		benches, err := records.Benches(ctx)
		if err != nil {
			return q, nil, err
		}
		if !slices.Contains(benches, q.Bench) {
			return q, map[string]string{"bench": "of that bench there is nothing here, or the server cannot be reached"}, nil
		}
	}
	err = records.FindLot(ctx, q.Lot)
	var unknown *record.UnknownLotError
	if errors.As(err, &unknown) {
		return q, map[string]string{"lot": unknown.Error()}, nil
	}
	return q, nil, err
}
