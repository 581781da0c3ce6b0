package explore

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"chipassay/vectors/part"
)

// A Statement is one step that a person asks for.
type Statement struct {
	Text    string
	Changes []Change // pins to set
	Clock   int      // pin to pulse, or 0
	Rows    bool     // walk the function table
}

// Script reads statements: a line each, or several with semicolons between them. What
// follows a # is a comment. The error names the line.
func (s *Session) Script(text string) (all []Statement, err error) {
	lines := strings.Split(text, "\n")
	for i, line := range lines {
		line, _, _ = strings.Cut(line, "#")
		for _, one := range strings.Split(line, ";") {
			if strings.TrimSpace(one) == "" {
				continue
			}
			st, err := s.Parse(one)
			if err != nil {
				if len(lines) > 1 {
					err = fmt.Errorf("line %d: %w", i+1, err)
				}
				return nil, err
			}
			all = append(all, st)
		}
	}
	if len(all) == 0 {
		return nil, errors.New("there is no step: write pins and levels, such as 1A=H 1B=L; 1B=open")
	}
	return all, nil
}

// Typed reads what a person types who looks on: statements, or the name of a pin alone,
// which toggles it.
func (s *Session) Typed(text string) ([]Statement, error) {
	text = strings.TrimSpace(text)
	for _, p := range s.Type.Variant.Pins {
		if strings.EqualFold(p.Name, text) {
			return []Statement{s.Setting(p.Number, s.now.drives[p.Number].Next())}, nil
		}
	}
	return s.Script(text)
}

// Setting is the statement that sets a pin.
func (s *Session) Setting(pin int, to Drive) Statement {
	return Statement{Text: fmt.Sprintf("%s=%v", s.Type.Variant.Pins[pin-1].Name, to), Changes: []Change{{pin, to}}}
}

// Parse reads a statement: PIN=H, PIN=L or PIN=open, any number of them; clock PIN; rows.
func (s *Session) Parse(text string) (Statement, error) {
	words := strings.Fields(text)
	st := Statement{Text: strings.Join(words, " ")}
	switch {
	case len(words) == 0:
		return st, errors.New("an empty step")
	case strings.EqualFold(words[0], "rows") && len(words) > 1:
		return st, errors.New("rows stands alone in its step: put a semicolon behind it")
	case strings.EqualFold(words[0], "rows"):
		st.Rows = true
		return st, nil
	case strings.EqualFold(words[0], "clock"):
		return s.parseClock(st, words[1:])
	}
	var set part.Pins
	for _, word := range words {
		name, level, ok := strings.Cut(word, "=")
		if !ok {
			return st, fmt.Errorf("%q is no step: write PIN=H, PIN=L or PIN=open, clock PIN, or rows", word)
		}
		pin, err := s.pinNamed(name)
		if err != nil {
			return st, err
		}
		to, ok := map[string]Drive{"H": High, "1": High, "L": Low, "0": Low, "OPEN": Open}[strings.ToUpper(level)]
		if !ok {
			return st, fmt.Errorf("%s=%s: a pin is set to H, L or open", name, level)
		}
		if set.Has(pin) {
			return st, fmt.Errorf("%s is set twice in one step: put a semicolon between them", name)
		}
		c := Change{pin, to}
		if err := s.settable(c); err != nil {
			return st, err
		}
		set = set.With(pin, true)
		st.Changes = append(st.Changes, c)
	}
	return st, nil
}

// parseClock reads what follows the word clock: a pin, or nothing if the part has one clock.
func (s *Session) parseClock(st Statement, words []string) (Statement, error) {
	clocks := s.Clocks()
	names := part.PinSet(clocks...)
	switch {
	case len(words) == 1:
		pin, err := s.pinNamed(words[0])
		if err == nil {
			err = s.settable(Change{Pin: pin})
		}
		st.Clock = pin
		return st, err
	case len(words) > 1:
		return st, errors.New("clock takes one pin: clock CLK")
	case len(clocks) == 1:
		st.Clock = clocks[0]
		return st, nil
	case len(clocks) == 0:
		return st, fmt.Errorf("a %s has no clock: clock PIN pulses any input", s.Type.Name())
	}
	return st, fmt.Errorf("a %s has several clocks, %s: name one", s.Type.Name(), s.Type.Variant.Named(names))
}

// pinNamed finds a signal pin by its data-sheet name, in any case, or by its number.
func (s *Session) pinNamed(name string) (int, error) {
	v := s.Type.Variant
	var names []string
	for _, p := range v.Pins {
		if strings.EqualFold(p.Name, name) && (p.Signal() || p.Drivable()) {
			return p.Number, nil
		}
		if s.Settable(p.Number) {
			names = append(names, p.Name)
		}
	}
	if n, err := strconv.Atoi(name); err == nil && n >= 1 && n <= len(v.Pins) && (v.Pins[n-1].Signal() || v.Pins[n-1].Drivable()) {
		return n, nil
	}
	return 0, fmt.Errorf("a %s has no input %q: it has %s", s.Type.Name(), name, strings.Join(names, " "))
}

// Do takes a statement's step, or a step for each row of the function tables that can be
// reached. It passes each state to see, whose error ends it.
func (s *Session) Do(ctx context.Context, st Statement, see func(State) error) error {
	if st.Rows {
		return s.doRows(ctx, see)
	}
	var err error
	if s.state.Did = st.Text; st.Clock != 0 {
		_, err = s.Pulse(ctx, st.Clock)
	} else {
		_, err = s.Set(ctx, st.Changes...)
	}
	if err != nil {
		return err
	}
	return see(s.state)
}

func (s *Session) doRows(ctx context.Context, see func(State) error) error {
	walk, err := s.Walk()
	if err != nil {
		return err
	}
	for walk.Left() > 0 {
		_, err := walk.Next(ctx)
		if errors.Is(err, ErrRefused) {
			continue // it stays without its tick
		}
		if err != nil {
			return err
		}
		if err := see(s.state); err != nil {
			return err
		}
	}
	return nil
}

// Words name a row by its inputs.
func (t *Table) Words(row int) string {
	text := fmt.Sprintf("row %d", row+1)
	for i, name := range t.Columns {
		if name == "|" {
			break
		}
		if cell := t.Rows[row].Cells[i]; cell != "X" && cell != "" {
			text += " " + name + "=" + cell
		}
	}
	return text
}
