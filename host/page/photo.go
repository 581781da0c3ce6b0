package page

import "net/http"

// photoPages takes and gives pictures of chips.
func (s *Server) photoPages(mux *http.ServeMux) {
}
