package page

import (
	"errors"
	"io"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"chipassay/host/bench"
	"chipassay/host/identified"
	"chipassay/host/identify"
	"chipassay/host/report"
	"chipassay/vectors/part"
)

// identifyActions are those of an identification.
var identifyActions = map[string]action{
	"identify": func(s *Server, f url.Values) error {
		h := identify.Hint{Marking: f.Get("marking"), Kind: f.Get("kind")}
		if text := strings.TrimSpace(f.Get("pins")); text != "" {
			var err error
			if h.Pins, err = strconv.Atoi(text); err != nil {
				return errors.New("how many pins it has is a number")
			}
		}
		return s.Bench.Identify(h, f.Get("chip"), f.Get("defect"))
	},
}

// identifyPages give what the last identification found as files.
func (s *Server) identifyPages(mux *http.ServeMux) {
	file := func(name, kind string, write func(*identified.Document, io.Writer) error) http.HandlerFunc {
		return func(w http.ResponseWriter, r *http.Request) {
			state, _ := s.Bench.State()
			if i := state.Identify; i == nil || i.Answer == nil {
				http.Error(w, "nothing was identified yet", http.StatusNotFound)
				return
			}
			w.Header().Set("Content-Type", kind)
			w.Header().Set("Content-Disposition", `attachment; filename="`+name+`"`)
			write(state.Identify.Answer, w)
		}
	}
	mux.HandleFunc("GET /identify/identified.html", file("identified.html", "text/html; charset=utf-8",
		func(d *identified.Document, w io.Writer) error { return d.WriteHTML(w) }))
	mux.HandleFunc("GET /identify/measured.part", file("measured.part", "text/plain; charset=utf-8",
		func(d *identified.Document, w io.Writer) error {
			if d.Table == nil {
				return nil
			}
			_, err := io.WriteString(w, d.Table.Definition)
			return err
		}))
}

// Identifying reports whether a chip is being identified.
func (v view) Identifying() bool { return v.Work == bench.Identifying && v.State.Identify != nil }

// Kinds are those of the library's parts.
func (view) Kinds() []string { return part.Kinds }

// PinCounts are how many pins a package in the socket may have.
func (view) PinCounts() []int { return []int{8, 14, 16, 18, 20, 22, 24, 28} }

// A finding is the answer to an identification, as it is shown.
type finding struct {
	*identified.Document
}

// Answer is the last answer; nil where there is none.
func (v view) Answer() *finding {
	if i := v.State.Identify; i != nil && i.Answer != nil {
		return &finding{i.Answer}
	}
	return nil
}

// apart are the facts that say what would tell the chip from what else it could be.
var apart = []string{"Same logic", "Or else", "Doubt"}

// Said is why it is the answer, as a page says it.
func (a finding) Said() string { return onBench(a.Sentence()) }

// Proof are the facts that speak for the answer.
func (a finding) Proof() []report.Fact {
	return slices.DeleteFunc(a.Evidence(), func(f report.Fact) bool { return slices.Contains(apart, f.Label) })
}

// Apart are those that say what else it could be, and what would tell them apart.
func (a finding) Apart() []report.Fact {
	return slices.DeleteFunc(a.Evidence(), func(f report.Fact) bool { return !slices.Contains(apart, f.Label) })
}

// A funnel draws how the candidates fell out, a bar for each number that was left. Measures
// are in the drawing's own units.
type funnel struct {
	Width, Height int
	Alt           string
	Bars          []funnelBar
}

// A funnelBar is as long as the logarithm of how many were left.
type funnelBar struct {
	Y, Width, TextX int
	Left            int
	Steps           string
}

const (
	funnelWidth = 344
	barPitch    = 26
	barsFrom    = 112 // their left edge: before it are the steps
	barsLength  = funnelWidth - barsFrom - 44
)

// Funnel draws the last identification; nil where nothing fell out.
func (v view) Funnel() *funnel {
	i := v.State.Identify
	if i == nil || len(i.History) == 0 {
		return nil
	}
	f := &funnel{Width: funnelWidth}
	most := math.Log(float64(i.History[0].Left) + 1)
	for _, p := range i.History {
		if n := len(f.Bars); n > 0 && f.Bars[n-1].Left <= p.Left {
			continue // it starts again at other supply pins, or with a part that may be broken
		}
		b := funnelBar{Y: len(f.Bars) * barPitch, Left: p.Left, Steps: stepWords(p.Steps)}
		if p.Steps == 0 && len(f.Bars) > 0 {
			b.Steps = "this package"
		}
		b.Width = max(1, int(math.Round(barsLength*math.Log(float64(p.Left)+1)/most)))
		b.TextX = barsFrom + b.Width + 6
		f.Bars = append(f.Bars, b)
		f.Alt += b.Steps + ": " + strconv.Itoa(p.Left) + " left. "
	}
	if len(f.Bars) < 2 {
		return nil
	}
	f.Height = len(f.Bars) * barPitch
	return f
}

func stepWords(n int) string {
	switch n {
	case 0:
		return "the library"
	case 1:
		return "1 step"
	}
	return strconv.Itoa(n) + " steps"
}
