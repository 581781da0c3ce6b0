package page

import (
	"errors"
	"io"
	"maps"
	"net/http"
	"net/url"
	"strings"

	"chipassay/host/bench"
)

// An action is what a button or a form does; its values are the form's.
type action func(s *Server, form url.Values) error

// actions are those that need the controls of the bench.
var actions = merged(runActions, exploreActions, identifyActions, adapterActions, photoActions)

func merged(all ...map[string]action) map[string]action {
	list := map[string]action{}
	for _, m := range all {
		maps.Copy(list, m)
	}
	return list
}

// runActions are those of a drawer run, and what every work has.
var runActions = map[string]action{
	"run": func(s *Server, f url.Values) error {
		return s.Bench.Run(bench.Order{
			Drawer: f.Get("drawer"), Part: f.Get("part"), Operator: f.Get("operator"), Lot: f.Get("lot"), DateCode: f.Get("date"),
			KeepDate: f.Get("keep") != "", Identify: f.Get("identify") != "",
			Capacitor: bench.Capacitor{Marked: f.Get("capacitor"), Resistor: f.Get("resistor")},
		})
	},
	"start":   func(s *Server, _ url.Values) error { return s.Bench.Start() },
	"stop":    func(s *Server, _ url.Values) error { s.Bench.Stop(); return nil },
	"retest":  tells("retest"),
	"undo":    tells("undo"),
	"skip":    tells("skip"),
	"pause":   tells("pause"),
	"go":      tells("go"),
	"end":     tells("end"),
	"part":    says("part"),
	"date":    says("date"),
	"note":    says("note"),
	"marking": says("marking"),
}

// tells is the action of a word of a drawer run.
func tells(word string) action {
	return func(s *Server, _ url.Values) error { return s.Bench.Tell(word) }
}

// says is that of a word with what was typed behind it.
func says(word string) action {
	return func(s *Server, f url.Values) error {
		text := strings.Join(strings.Fields(f.Get(word)), " ")
		if text == "" {
			return errors.New("nothing was typed")
		}
		return s.Bench.Tell(word + " " + text)
	}
}

// do does what a page asks for, if it holds the controls. What cannot be done is
// answered in one line for a person.
func (s *Server) do(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, 64<<10)
	if err := r.ParseForm(); err != nil {
		http.Error(w, "the form is too long", http.StatusBadRequest)
		return
	}
	viewer := r.Header.Get("X-Viewer")
	if !isViewer(viewer) {
		http.Error(w, "no viewer", http.StatusBadRequest)
		return
	}
	// A page that asks for something is there, though its stream may not have come yet: a
	// person presses Enter as soon as the page is drawn.
	defer s.viewers.come(viewer)(s.Away)
	what := r.PathValue("what")
	switch {
	case what == "ask":
		s.viewers.ask(viewer)
	case what != "stop" && !s.viewers.claim(viewer): // to stop is everybody's
		http.Error(w, "another page has the controls: ask for them", http.StatusConflict)
		return
	case what == "pass":
		s.viewers.pass(viewer)
	case what == "off":
		s.Off()
	case what == "look":
		before, _ := s.Bench.State()
		if err := s.Bench.Open(r.Context()); err != nil {
			http.Error(w, err.Error(), http.StatusUnprocessableEntity)
			return
		}
		if now, _ := s.Bench.State(); now.Message.Number != before.Message.Number { // not every view has it
			w.Header().Set("Content-Type", "text/plain; charset=utf-8")
			io.WriteString(w, now.Message.Text)
			return
		}
	case actions[what] == nil:
		http.NotFound(w, r)
		return
	default:
		if err := actions[what](s, r.PostForm); err != nil {
			line, _, _ := strings.Cut(onBench(err.Error()), "\n") // what is listed behind, the page has
			http.Error(w, line, http.StatusUnprocessableEntity)
			return
		}
	}
	w.WriteHeader(http.StatusNoContent)
}
