package explore

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"chipassay/vectors/logic"
)

// notes are remarks on the present state: first what differs from the data sheet, then
// half-lit lamps, inputs that are not held low, and open inputs. Pins with the same remark
// share a note.
func (s *Session) notes() []string {
	var differ, half, heavy, open gathered
	for i := range s.state.Pins {
		p := &s.state.Pins[i]
		if p.Differs() {
			differ.add(p, fmt.Sprintf(": %s seen, %s by the data sheet", s.seen(p), Letter(p.Expected)))
		}
		if p.Lamp != nil && p.Lamp.Half() {
			half.add(p, fmt.Sprintf(": lamp half lit, %.1f of %.1f mA: %s", p.Lamp.MA, p.Lamp.MA/p.Lamp.Share, s.halfWhy(p)))
		}
		switch {
		case p.Input && p.Drive == Open:
			open.add(p, s.openWords(p))
		case p.Input && p.Drive == Low && p.Volts > s.Type.Family.VIL:
			heavy.add(p, fmt.Sprintf(": driven low, but at %.2f V, over VIL of %.1f V: a heavy input, which the data sheet's column takes for unknown", p.Volts, s.Type.Family.VIL))
		}
	}
	notes := slices.Concat(differ.notes(), half.notes(), heavy.notes())
	if s.helped {
		notes = append(notes, "load resistors of 1 kΩ help to hold heavy inputs low, and pull the outputs up")
	}
	return append(notes, open.notes()...)
}

// gathered are notes with their pins, in order.
type gathered struct {
	words []string
	names map[string][]string
}

func (g *gathered) add(p *Pin, words string) {
	if g.names == nil {
		g.names = map[string][]string{}
	}
	if g.names[words] == nil {
		g.words = append(g.words, words)
	}
	g.names[words] = append(g.names[words], p.Name)
}

func (g *gathered) notes() (notes []string) {
	for _, words := range g.words {
		notes = append(notes, strings.Join(g.names[words], " ")+words)
	}
	return notes
}

// seen is a level in words, or its volts if it is neither low nor high.
func (s *Session) seen(p *Pin) string {
	if p.Seen == Between && !math.IsNaN(p.Volts) {
		return fmt.Sprintf("%.2f V", p.Volts)
	}
	return p.Seen.String()
}

// halfWhy words why a lamp is half lit: the voltage to which its current brings the output.
func (s *Session) halfWhy(p *Pin) string {
	low, high := s.Type.Family.VIL, s.Type.Family.VIH
	switch v := p.Lamp.Volts; {
	case v > high:
		return fmt.Sprintf("with it the output stands at %.2f V, no low, %.1f V at most", v, low)
	case v > low:
		return fmt.Sprintf("with it the output stands at %.2f V, between a low, %.1f V at most, and a high, %.1f V at least", v, low, high)
	default:
		return fmt.Sprintf("with it the output stands at %.2f V", v)
	}
}

// openWords describe how an open input acts.
func (s *Session) openWords(p *Pin) string {
	if s.mos() && !s.Type.Variant.Pins[p.Number-1].PullUp {
		return s.openMOS()
	}
	if s.now.unknown.Has(p.Number) {
		return ": released; the data sheet's column takes it for unknown"
	}
	at := ": open,"
	if !math.IsNaN(p.Volts) {
		at = fmt.Sprintf(": open, floats to %.1f V and", p.Volts)
	}
	if s.Type.Variant.Pins[p.Number-1].PullUp {
		return at + " is high by a resistor inside"
	}
	switch p.Takes {
	case logic.One:
		return at + " acts as H, as the outputs show; noise can flip it"
	case logic.Zero:
		return at + " acts as L, as the outputs show; an open TTL input should act as H"
	}
	return at + " counts as H; the outputs do not show it now"
}

// openMOS describes an open MOS input and the outputs that follow it.
func (s *Session) openMOS() string {
	var follow []string
	for i := range s.state.Pins {
		if p := &s.state.Pins[i]; p.Seen == Undefined && !p.Input {
			follow = append(follow, p.Name)
		}
	}
	words := ": open; a MOS input left open is undefined, here 10 kΩ hold it low"
	if follow != nil {
		words += "; " + strings.Join(follow, " ") + " goes where it goes"
	}
	return words
}

// fightWords report that a driven pin was released.
func (s *Session) fightWords(pin int, v view) string {
	p := &s.Type.Variant.Pins[pin-1]
	volts := s.volts(v.free, pin)
	at := "it reads the other way"
	if !math.IsNaN(volts) {
		at = fmt.Sprintf("it stood at %.2f V", volts)
	}
	return fmt.Sprintf("%s was driven %v and is released: %s, so something holds it the other way: a short, or an output of another part than a %s",
		p.Name, s.now.drives[pin], at, s.Type.Name())
}
