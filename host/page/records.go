package page

import "net/http"

// recordPages answers with what is in the records.
func (s *Server) recordPages(mux *http.ServeMux) {
}
