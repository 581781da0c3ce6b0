package kicad

import (
	"fmt"
	"strings"

	"chipassay/vectors/part"
)

// Start gives what a symbol says of a definition's pins, by position.
func Start(l *Library, symbol string) ([]part.StartPin, error) {
	pins, ok := l.Pins(symbol)
	if !ok {
		return nil, fmt.Errorf("the file has no symbol %q; it has %s", symbol, near(l.Symbols(), symbol))
	}
	n := len(pins)
	if n < 4 || n > part.MaxPins || n%2 != 0 || pins[n-1].Number != n {
		return nil, fmt.Errorf("symbol %s has %d pins: a definition has an even number of pins from 4 to %d, numbered from 1", symbol, n, part.MaxPins)
	}
	seen := map[string]bool{}
	start := make([]part.StartPin, n)
	for i, p := range pins {
		start[i] = startPin(p)
		if s := &start[i]; s.Role != part.NoConnect && (seen[s.Name] || s.Name == "") {
			s.Name = fmt.Sprintf("P%d", p.Number)
		}
		seen[start[i].Name] = true
	}
	return start, nil
}

// near lists the symbols that begin alike, or some of them.
func near(symbols []string, want string) string {
	var alike []string
	for _, s := range symbols {
		if want != "" && strings.Contains(s, want[:min(4, len(want))]) {
			alike = append(alike, s)
		}
	}
	if alike == nil {
		alike = symbols
	}
	return strings.Join(alike[:min(len(alike), 8)], ", ")
}

// startPin reads a symbol's pin as a definition's.
func startPin(p Pin) part.StartPin {
	name := strings.Map(func(r rune) rune {
		if r == '/' || r == '_' || '0' <= r && r <= '9' || 'A' <= r && r <= 'Z' || 'a' <= r && r <= 'z' {
			return r
		}
		return -1
	}, p.Name)
	if strings.Trim(name, "0123456789/") == "" {
		name = fmt.Sprintf("P%d", p.Number)
	}
	s := part.StartPin{Name: name, Role: part.External}
	switch p.Type {
	case "input":
		s.Role = part.Input
	case "output":
		s.Role, s.Kind = part.Output, part.TotemPole
	case "tri_state":
		s.Role, s.Kind = part.Output, part.ThreeState
	case "open_collector":
		s.Role, s.Kind = part.Output, part.OpenCollector
	case "bidirectional":
		s.Role, s.Kind = part.Bidirectional, part.ThreeState
	case "power_in":
		s.Name, s.Role = "VCC", part.Supply
		if strings.Contains("GND VSS 0V", p.Name) {
			s.Name, s.Role = "GND", part.Ground
		}
	case "no_connect":
		s.Name, s.Role = "NC", part.NoConnect
	}
	return s
}
