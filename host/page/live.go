package page

import (
	"encoding/json"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"sync"
	"time"
)

// live sends what changes of a page, as server-sent events (WHATWG HTML, 9.2): an object
// with the HTML of each part, by its element's id. An event is a whole: one that is missed
// does no harm.
func (s *Server) live(w http.ResponseWriter, r *http.Request) {
	view, viewer := r.URL.Query().Get("view"), r.URL.Query().Get("viewer")
	if viewer == "" || len(viewer) > 64 {
		http.Error(w, "no viewer", http.StatusBadRequest)
		return
	}
	defer s.viewers.come(viewer)(s.Away)
	w.Header().Set("Content-Type", "text/event-stream")
	send := http.NewResponseController(w)
	var sent []byte
	for {
		state, changed := s.Bench.State()
		control, passed := s.viewers.control(viewer)
		parts, err := s.parts(view, state, control)
		if err != nil { // a fault of ours: the person is to know why nothing moves
			parts = map[string]string{"said": template.HTMLEscapeString("This page could not be made: " + err.Error())}
		}
		event, err := json.Marshal(parts)
		if err != nil {
			return
		}
		if !slices.Equal(event, sent) {
			if _, err := fmt.Fprintf(w, "data: %s\n\n", event); err != nil || send.Flush() != nil {
				return
			}
			sent = event
		}
		select {
		case <-r.Context().Done():
			return
		case <-changed:
		case <-passed:
		}
	}
}

// viewers are the pages that are open, in the order in which they came. The first of them
// holds the controls until it passes them on or is closed.
type viewers struct {
	sync.Mutex
	list    []string       // ids
	streams map[string]int // of each viewer
	holder  string
	asks    string        // a viewer that asks for the controls
	passed  chan struct{} // closed at the next change
	gone    func()        // called when the last is closed
}

// A control is how a page stands to the controls.
type control struct {
	Holds  bool
	Others int  // pages that are open besides
	Asked  bool // another page asks the one that holds them
	Asks   bool // this page asks
}

// change wakes those who wait. The lock is held.
func (v *viewers) change() {
	if v.passed != nil {
		close(v.passed)
	}
	v.passed = make(chan struct{})
}

// come notes that a viewer is there, and gives what is to be called when its stream ends:
// it counts as closed if it is not back after some time.
func (v *viewers) come(id string) (leave func(after time.Duration)) {
	v.Lock()
	defer v.Unlock()
	if v.streams == nil {
		v.streams = map[string]int{}
	}
	v.streams[id]++
	if !slices.Contains(v.list, id) {
		v.list = append(v.list, id)
	}
	if v.holder == "" {
		v.holder = id
	}
	v.change()
	return func(after time.Duration) {
		v.Lock()
		v.streams[id]--
		v.Unlock()
		time.AfterFunc(after, func() { v.close(id) })
	}
}

// close drops a viewer that did not come back.
func (v *viewers) close(id string) {
	v.Lock()
	if v.streams[id] > 0 || !slices.Contains(v.list, id) {
		v.Unlock()
		return
	}
	delete(v.streams, id)
	v.list = slices.DeleteFunc(v.list, func(o string) bool { return o == id })
	if v.holder == id {
		v.holder = ""
		if len(v.list) > 0 {
			v.holder = v.list[0]
		}
	}
	if v.asks == id || v.asks == v.holder {
		v.asks = ""
	}
	v.change()
	last := len(v.list) == 0
	v.Unlock()
	if last {
		v.gone()
	}
}

// control is how a viewer stands to the controls, and a channel that is closed when that
// may have changed.
func (v *viewers) control(id string) (control, <-chan struct{}) {
	v.Lock()
	defer v.Unlock()
	if v.passed == nil {
		v.passed = make(chan struct{})
	}
	return control{Holds: v.holder == id, Others: len(v.list) - 1, Asked: v.holder == id && v.asks != "", Asks: v.asks == id}, v.passed
}

// ask asks for the controls.
func (v *viewers) ask(id string) {
	v.Lock()
	defer v.Unlock()
	if id != v.holder && slices.Contains(v.list, id) {
		v.asks = id
		v.change()
	}
}

// pass passes the controls to the viewer that asked, else to the next one.
func (v *viewers) pass(id string) {
	v.Lock()
	defer v.Unlock()
	if v.holder != id || len(v.list) < 2 {
		return
	}
	if v.asks == "" {
		v.asks = v.list[(slices.Index(v.list, id)+1)%len(v.list)]
	}
	v.holder, v.asks = v.asks, ""
	v.change()
}
