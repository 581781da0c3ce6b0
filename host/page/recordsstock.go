package page

import (
	"cmp"
	"context"
	"net/http"
	"slices"
	"strconv"

	"chipassay/host/record"
	"chipassay/host/stock"
)

// What a page of the stock lists at most.
const (
	mostHoldings = 500 // lines of a shelf
	mostPartly   = 200 // chips
)

// A shelfView is a section of the stock.
type shelfView struct {
	stock.Shelf
	Lines []shelfLine
	Sum   int // chips, also of lines that are left out
	Left  int // lines that are left out
	most  int // chips on the fullest line
}

// A shelfLine is what a drawer holds of one type and year.
type shelfLine struct {
	record.Holding
	Numbers []int // by the shelf's columns
	All     int
	Wide    string // of its bar, 0 to 100
	Address string // of the list of these chips
}

// A stockView is what is there to be used.
type stockView struct {
	recordView
	Form    filterForm
	Shelves []shelfView
	Partly  []stock.Partly
	Shared  bool // of several benches
	Most    int  // partly good chips that are listed at most
}

// stock shows the good chips by part, year, grade and drawer, and what others are good for.
func (s *Server) stock(w http.ResponseWriter, r *http.Request, records *record.Store) error {
	filter := filterOf(r.URL.Query())
	v := stockView{recordView: s.recordView("drawers", "Stock"), Form: filterForm{Filter: filter, Path: "/stock"}, Shared: records.Shared(), Most: mostPartly}
	drawers, err := records.Counts(r.Context(), record.Query{}, record.ByDrawer)
	if err != nil {
		return err
	}
	v.Form.Drawers = named(drawers)
	if v.Form.Benches, err = benchesOf(r.Context(), records); err != nil {
		return err
	}
	q, wrong, err := queryOf(r.Context(), records, filter)
	if err != nil {
		return err
	}
	if v.Form.Wrong = wrong; wrong != nil {
		s.answer(w, http.StatusUnprocessableEntity, "stock", v)
		return nil
	}
	if err := v.fill(r.Context(), records, q); err != nil {
		return err
	}
	s.answer(w, http.StatusOK, "stock", v)
	return nil
}

func (v *stockView) fill(ctx context.Context, records *record.Store, q record.Query) error {
	holdings, err := records.Stock(ctx, q)
	if err != nil {
		return err
	}
	slices.SortStableFunc(holdings, func(a, b record.Holding) int { // 7400 before 74138
		return cmp.Or(len(a.Part)-len(b.Part), cmp.Compare(a.Part, b.Part), cmp.Compare(a.Type, b.Type), a.Year-b.Year, cmp.Compare(a.Bench, b.Bench), cmp.Compare(a.Drawer, b.Drawer))
	})
	for _, shelf := range stock.Shelves {
		if filled := shelfOf(shelf, holdings); filled.Sum > 0 {
			v.Shelves = append(v.Shelves, filled)
		}
	}
	q.NewestFirst = true
	v.Partly, err = stock.PartlyGood(ctx, records, q, mostPartly)
	return err
}

func shelfOf(shelf stock.Shelf, holdings []record.Holding) shelfView {
	v := shelfView{Shelf: shelf}
	for _, h := range holdings {
		line := shelfLine{Holding: h, Numbers: shelf.Counts(h.Tally)}
		for _, n := range line.Numbers {
			line.All += n
		}
		if line.All == 0 {
			continue
		}
		v.Sum, v.most = v.Sum+line.All, max(v.most, line.All)
		if len(v.Lines) == mostHoldings {
			v.Left++
			continue
		}
		these := record.Filter{Bench: h.Bench, Part: h.Type, Family: h.Family, Drawer: h.Drawer}
		if h.Year != 0 {
			these.From, these.To = strconv.Itoa(h.Year), strconv.Itoa(h.Year)
		}
		line.Address = addressOf("/drawers", these) + "#chips"
		v.Lines = append(v.Lines, line)
	}
	for i, line := range v.Lines {
		v.Lines[i].Wide = hundredths(line.All, v.most)
	}
	return v
}

// hundredths is a share on a picture that is 100 wide.
func hundredths(n, of int) string {
	return strconv.FormatFloat(100*float64(n)/float64(max(of, 1)), 'f', 1, 64)
}
