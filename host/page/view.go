package page

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"time"

	"chipassay/host/bench"
	"chipassay/host/drawer"
	"chipassay/host/marking"
	"chipassay/host/report"
	"chipassay/host/statistics"
	"chipassay/vectors/library"
)

//go:embed *.html
var texts embed.FS

var templates = parsed()

// parsed are all templates, with the pieces of the reports.
func parsed() *template.Template {
	var all strings.Builder
	names, err := fs.Glob(texts, "*.html")
	if err != nil {
		panic(err) // the pattern is right
	}
	for _, name := range names {
		text, err := texts.ReadFile(name)
		if err != nil {
			panic(err) // they are embedded
		}
		all.Write(text)
	}
	all.WriteString(statistics.Pieces())
	return report.Page(all.String(), template.FuncMap{"link": func(address, words string, here bool) anchor { return anchor{address, words, here} }, "sentence": report.Sentence})
}

// An anchor is a link of the bar.
type anchor struct {
	Address, Words string
	Here           bool
}

// A view is what a page of the bench shows.
type view struct {
	bench.State
	View    string // its name: bench, explore, …
	Control control
	server  *Server
}

// titles are those of the views.
var titles = map[string]string{"bench": "Bench", "explore": "Explore", "identify": "Identify", "adapter": "Adapter"}

// PageTitle is the page's own.
func (v view) PageTitle() string { return titles[v.View] }

// Practice is how many virtual chips there are to practise with.
func (v view) Practice() int { return v.server.Bench.Practice() }

// Behind says what is not handed over to the server yet, and why; empty where nothing is.
func (v view) Behind() string {
	records := v.server.Bench.Records()
	if records == nil {
		return ""
	}
	return records.LateWords()
}

// Pictured is the chip that is drawn: the one that was tested, with what failed, or one
// of those that are to come; nil where that is not known.
func (v view) Pictured() *report.Document {
	d := v.State.Drawer
	if d.Standing.Sheet != nil && !d.Standing.Empty {
		return d.Standing.Sheet
	}
	t, err := v.server.Bench.Find(d.Part)
	if err != nil {
		return d.Standing.Sheet
	}
	drawn := report.Pinout(t)
	return &drawn
}

// said makes words for a terminal name what a page has instead.
var said = strings.NewReplacer(
	"; help lists more", "", "; help lists what you can type", "",
	"paused; go, or Enter, goes on", "paused", "paused: go, or Enter, goes on", "paused: Enter goes on", "type go first", "go on first",
	"type retest and seat", "press Test again and seat", "type retest", "test it again", "retest seats it again", "Test again seats it again",
	": chipassay parts lists them", "", "chipassay yield --by lot lists them", "the page Lots lists them",
	"with a capacitor to clip on, add --capacitor 100n", "a run that begins with a capacitor of 100n times them",
	"run chipassay adapter check", "check the adapter on its page", "; the forms are\n", ": Every form lists them\n",
)

// tested is the command that tests a part.
var tested = regexp.MustCompile(`chipassay test [^ ;]+`)

// onBench is what is said for a terminal as a page says it.
func onBench(text string) string {
	return tested.ReplaceAllString(said.Replace(text), "a run on the Bench page")
}

// Said is what was said, as a page says it.
func (view) Said(text string) string { return onBench(text) }

// recent is how many of the last chips are listed.
const recent = 20

// Recent are the last chips of the run, the latest first.
func (v view) Recent() []drawer.Written {
	list := v.State.Drawer.Standing.Written
	list = slices.Clone(list[max(0, len(list)-recent):])
	slices.Reverse(list)
	return list
}

// Numbers are those of the library's parts, for completion.
func (v view) Numbers() []string {
	s := v.server
	s.numbers.Do(func() {
		lib, err := s.Library()
		if err != nil {
			return // there is no completion then
		}
		s.listed, _ = lib.Numbers()
	})
	return s.listed
}

// shows answers with the page of a view.
func (s *Server) shows(name string) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		state, _ := s.Bench.State()
		s.page(w, name, view{state, name, control{}, s})
	}
}

// page writes a page.
func (s *Server) page(w http.ResponseWriter, name string, data any) {
	var b bytes.Buffer
	if err := report.Execute(&b, templates, name+"-page", data); err != nil {
		http.Error(w, "this page could not be made: "+err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Write(b.Bytes())
}

// parts are the parts of a page that change, by their ids. A page of records has only the
// bar, which all have.
func (s *Server) parts(name string, state bench.State, c control) (map[string]string, error) {
	v := view{state, name, c, s}
	list := map[string]string{}
	for id, template := range map[string]string{"bar": "page-bar", "live": name + "-live"} {
		if templates.Lookup(template) == nil {
			continue
		}
		var b bytes.Buffer
		if err := report.Execute(&b, templates, template, v); err != nil {
			return nil, err
		}
		list[id] = b.String()
	}
	return list, nil
}

// reading says what a marking or a date code that is being typed is taken for.
func (s *Server) reading(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	lib, err := s.Library()
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Write([]byte(onBench(Reading(lib, r.URL.Query().Get("part"), r.URL.Query().Get("date"), time.Now()))))
}

// datesIn says what of a whole marking is read as a date code, beside the part's number.
func datesIn(typed string, lib *library.Library, now time.Time) (words []string) {
	if len(strings.Fields(typed)) < 2 { // a number alone is the part's
		return nil
	}
	m, err := marking.Read(typed, lib, now)
	if err != nil {
		return nil
	}
	for _, d := range m.Dates {
		if !slices.ContainsFunc(m.Parts, func(p marking.PartReading) bool { return p.Token == d.Token }) {
			words = append(words, fmt.Sprintf("%s is read as a date code, %s", d.Token, d.Code.Words()))
		}
	}
	return words
}

// Reading says in a line what a marking, a date code, or both are taken for.
func Reading(lib *library.Library, typed, date string, now time.Time) string {
	var words []string
	since := 0
	if strings.TrimSpace(typed) != "" {
		t, _, err := marking.Resolve(typed, lib)
		if err != nil {
			return err.Error()
		}
		since = marking.MadeSince(t.Family)
		words = append(words, t.String())
		if strings.TrimSpace(date) == "" {
			words = append(words, datesIn(typed, lib, now)...)
		}
	}
	if date = strings.TrimSpace(date); date != "" {
		d, err := marking.ReadDateCode(date, since, now)
		if err != nil {
			return err.Error()
		}
		words = append(words, d.Words())
	}
	return strings.Join(words, "; ")
}
