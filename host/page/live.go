package page

import (
	"encoding/json"
	"fmt"
	"html/template"
	"net/http"
	"slices"
)

// live sends what changes of a page, as server-sent events (WHATWG HTML, 9.2): an object
// with the HTML of each part, by its element's id. An event is a whole: one that is missed
// does no harm.
func (s *Server) live(w http.ResponseWriter, r *http.Request) {
	view, viewer := r.URL.Query().Get("view"), r.URL.Query().Get("viewer")
	if !isViewer(viewer) {
		http.Error(w, "no viewer", http.StatusBadRequest)
		return
	}
	defer s.viewers.come(viewer)(s.Away)
	w.Header().Set("Content-Type", "text/event-stream")
	send := http.NewResponseController(w)
	// Not told when, browsers come back after 3 s or 5 (from memory): by then a page counts as closed.
	fmt.Fprintf(w, "retry: %d\n\n", (s.Away / 5).Milliseconds())
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
