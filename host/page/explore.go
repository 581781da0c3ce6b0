package page

import (
	"errors"
	"net/url"
	"strconv"
	"strings"
)

// exploreActions are those of an exploration.
var exploreActions = map[string]action{
	"explore": func(s *Server, f url.Values) error {
		return s.Bench.Explore(f.Get("part"), f.Get("chip"), strings.Split(f.Get("defect"), ";")...)
	},
	"toggle": func(s *Server, f url.Values) error { return withPin(f, s.Bench.Toggle) },
	"pulse":  func(s *Server, f url.Values) error { return withPin(f, s.Bench.Pulse) },
	"step":   func(s *Server, f url.Values) error { return s.Bench.Step(f.Get("step")) },
	"power":  func(s *Server, _ url.Values) error { return s.Bench.Power() },
}

// withPin does something at the pin that a form names.
func withPin(f url.Values, do func(pin int) error) error {
	pin, err := strconv.Atoi(f.Get("pin"))
	if err != nil {
		return errors.New("no pin was named")
	}
	return do(pin)
}
