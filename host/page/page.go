// Package page shows a bench (host/bench) and its records in a browser. It has pages, made
// by html/template, and one stream of server-sent events for each page that is open, which
// carries the parts that change. Nothing comes from a network, and nothing is decided here:
// what a button does is a method of the bench or of the records, as for the command line.
//
// Whoever reaches the server and is let in can switch supplies and write records: Guard
// says who is.
package page

import (
	"embed"
	"io/fs"
	"net/http"
	"sync"
	"time"

	"chipassay/host/bench"
	"chipassay/host/report"
	"chipassay/vectors/library"
)

//go:embed static
var static embed.FS

// A Server answers for one bench.
type Server struct {
	Bench   *bench.Bench
	Library func() (*library.Library, error)
	Off     func() // ends the program, once the supply is off

	// Away is how long a page may be gone, as at a reload, before it counts as closed.
	Away time.Duration

	viewers viewers
	numbers sync.Once
	listed  []string // numbers of the parts, for completion
}

// New is a server for a bench. Off is called when a person switches off.
func New(b *bench.Bench, lib func() (*library.Library, error), off func()) *Server {
	s := &Server{Bench: b, Library: lib, Off: off, Away: 5 * time.Second}
	s.viewers.gone = b.Unattended
	return s
}

// Handler answers all addresses. It lets in whoever asks: wrap it in a Guard.
func (s *Server) Handler() http.Handler {
	mux := http.NewServeMux()
	files, err := fs.Sub(static, "static")
	if err != nil {
		panic(err) // the folder is embedded
	}
	mux.Handle("GET /static/", http.StripPrefix("/static/", http.FileServerFS(files)))
	mux.HandleFunc("GET /static/report.css", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/css; charset=utf-8")
		w.Write([]byte(report.Style()))
	})
	mux.HandleFunc("GET /live", s.live)
	mux.HandleFunc("GET /reading", s.reading)
	mux.HandleFunc("GET /{$}", s.shows("bench"))
	for _, name := range []string{"explore", "identify", "adapter"} {
		mux.HandleFunc("GET /"+name, s.shows(name))
	}
	s.recordPages(mux)
	s.identifyPages(mux)
	s.photoPages(mux)
	s.adapterPages(mux)
	mux.HandleFunc("POST /do/{what}", s.do)
	return mux
}
