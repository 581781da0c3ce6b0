package assay_test

import (
	"context"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
	"chipassay/vectors/sample"
	"chipassay/vectors/stimulus"
)

// A bench is the board of an adapter by hand: it probes a virtual socket directly.
type bench struct{ prober }

// A prober is a bench without a voltmeter.
type prober struct{ *virtual.Socket }

func (b prober) step(st stimulus.Step, bias, load adapter.Pull) {
	b.Pulls(bias, load)
	b.Drive(positionsWord(st.Driven), positionsWord(st.Drive))
}

func positionsWord(positions part.Pins) (w adapter.Word) {
	for p := range positions.All() {
		w |= adapter.At(p)
	}
	return w
}

func (b prober) Probe(_ context.Context, steps []stimulus.Step, bias, load adapter.Pull) ([]part.Pins, error) {
	var read []part.Pins
	for _, st := range steps {
		b.step(st, bias, load)
		var pins part.Pins
		for p := range b.Sample().Positions() {
			pins = pins.With(p, true)
		}
		read = append(read, pins)
	}
	return read, nil
}

func (b bench) ProbeMeasure(ctx context.Context, steps []adapter.MeasureStep) (measured []adapter.Measured, err error) {
	for _, st := range steps {
		read, _ := b.Probe(ctx, []stimulus.Step{st.Step}, st.Bias, st.Load)
		m := adapter.Measured{High: read[0]}
		for p := range m.Volts {
			m.Volts[p] = math.NaN()
			if p > 0 && virtual.Sensed.Has(p) && st.Pins.Has(p) {
				m.Volts[p] = float64(b.Millivolts(p)) / 1000
			}
		}
		measured = append(measured, m)
	}
	return measured, nil
}

// seating finds how a chip with defects lies in a socket.
func seating(t testing.TB, typ part.Type, defects ...string) assay.Seating {
	t.Helper()
	s, err := assay.Contact(t.Context(), bench{prober{socketOf(t, typ, defects...)}}, typ)
	require.NoError(t, err)
	return s
}

func socketOf(t testing.TB, typ part.Type, defects ...string) *virtual.Socket {
	t.Helper()
	var all []virtual.Defect
	for _, text := range defects {
		d, err := virtual.ParseDefect(text)
		require.NoError(t, err)
		all = append(all, d)
	}
	chip, err := virtual.NewChip(typ, all...)
	require.NoError(t, err)
	return virtual.NewSocket(chip, 1)
}

func TestSeating(t *testing.T) {
	for _, c := range []struct{ typ, defect, found string }{
		{"7410", "empty", "empty socket"},
		{"7410", "3 open", "pin 3 makes no contact"},
		{"7410", "12 bent", "pin 12 makes no contact"},
		{"7410", "7 open", "pin 7 makes no contact"},
		{"4011", "7 open", "pin 7 makes no contact"},
		{"7401", "7 open", "pin 7 makes no contact"}, // open collectors
		{"7410", "14 open", "pin 14 makes no contact"},
		{"7410", "reversed", "put in backwards"},
		{"74LS10", "reversed", "put in backwards"},
		{"4011", "reversed", "put in backwards"},
		{"74LS244", "reversed", "put in backwards"},
		{"74LS244", "reversed", "put in backwards"},
		{"7410", "shifted", "shifted by one"},
		{"74HC00", "shifted 2", "shifted by two"},
		{"7410", "5 shorted to 6", "pins 5 and 6 shorted"},
		{"4066", "1 shorted to 2", "pins 1 and 2 shorted"},
		{"7410", "14 shorted to 7", "supply shorted to ground"},
		{"74LS244", "20 shorted to 10", "supply shorted to ground"},
		{"4011", "3 shorted to ground", "pin 3 shorted to ground"},
		{"7400", "1 shorted to ground", "pin 1 shorted to ground"},
		{"74LS244", "2 shorted to ground", "pin 2 shorted to ground"},
		{"7400", "1 shorted to supply", "pin 1 shorted to the supply"},
		{"74HC00", "3 shorted to supply", "pin 3 shorted to the supply"},
	} {
		typ, err := library.Open(c.typ)
		require.NoError(t, err)
		s := seating(t, typ, c.defect)
		require.Equal(t, c.found, s.Found, "%s with %q", c.typ, c.defect)
		require.NotEmpty(t, s.Advice)
	}
}

// Without a voltmeter most is told all the same, and no good chip is refused.
func TestSeatingByLevelsAlone(t *testing.T) {
	for _, c := range []struct{ typ, defect, found string }{
		{"7410", "empty", "empty socket"},
		{"7410", "3 open", "pin 3 makes no contact"},
		{"4011", "7 open", "pin 7 makes no contact"},
		{"7410", "14 open", "pin 14 makes no contact"},
		{"74LS10", "reversed", "put in backwards"},
		{"4011", "reversed", "put in backwards"},
		{"7410", "shifted", "shifted by one"},
		{"7410", "5 shorted to 6", "pins 5 and 6 shorted"},
	} {
		typ, err := library.Open(c.typ)
		require.NoError(t, err)
		s, err := assay.Contact(t.Context(), prober{socketOf(t, typ, c.defect)}, typ)
		require.NoError(t, err)
		require.Equal(t, c.found, s.Found, "%s with %q", c.typ, c.defect)
	}
	parts, err := library.All()
	require.NoError(t, err)
	for _, p := range parts {
		for _, f := range p.Families() {
			typ := part.Type{Variant: p.In(f), Family: f}
			s, err := assay.Contact(t.Context(), prober{socketOf(t, typ)}, typ)
			require.NoError(t, err)
			require.Empty(t, s.Found, "a good %s", typ.Name())
		}
	}
}

func TestSeatingOfSeveralOpenPins(t *testing.T) {
	typ, err := library.Open("74LS00")
	require.NoError(t, err)
	require.Equal(t, "pins 3 and 11 make no contact", seating(t, typ, "3 open", "11 open").Found)
	require.Equal(t, "pins 1, 3 and 11 make no contact", seating(t, typ, "3 open", "11 open", "1 bent").Found)
}

// No good part of any family is refused before power, and every reversed,
// shifted, empty and one-pin-open insertion of every part is caught. The ordinary
// run opens a few pins of each part.
func TestSeatingOfTheWholeLibrary(t *testing.T) {
	const openPins = 3
	random := sample.Random(t)
	parts, err := library.All()
	require.NoError(t, err)
	caught, tried := map[string]int{}, map[string]int{}
	good, untold := 0, map[string]bool{}
	insert := func(kind, want string, typ part.Type, defect string) {
		tried[kind]++
		switch s := seating(t, typ, defect); {
		case s.Found == want:
			caught[kind]++
		case kind == "reversed" && len(s.Pins) > 1: // refused all the same, for pins that cannot all be open
			caught["reversed, told as many pins without contact"]++
		default:
			t.Errorf("%s %s: %q, want %q", typ.Name(), defect, s.Found, want)
		}
	}
	for _, p := range parts {
		for _, v := range p.Variants {
			if v.Refusal != "" {
				continue
			}
			seen := map[part.Technology]bool{}
			for _, f := range v.Families {
				typ := part.Type{Variant: v, Family: f}
				require.Empty(t, seating(t, typ).Found, "a good %s", typ.Name())
				good++
				if seen[f.Technology] {
					continue
				}
				seen[f.Technology] = true
				insert("empty", "empty socket", typ, "empty")
				insert("reversed", "put in backwards", typ, "reversed")
				if len(v.Pins) <= 26 {
					insert("shifted", "shifted by one", typ, "shifted")
				}
				if f.Technology != v.Families[0].Technology {
					continue // every pin once
				}
				for _, pin := range sample.Of(random, openPins, v.Pins) {
					switch {
					case pin.Role == part.NoConnect:
					case pin.Role == part.External || pin.Role == part.Expander || pin.Untested != "" || pin.Stage == part.OpenEmitter:
						untold[fmt.Sprintf("%s pin %d", p.Number, pin.Number)] = true
					default:
						insert("open", fmt.Sprintf("pin %d makes no contact", pin.Number), typ, fmt.Sprintf("%d open", pin.Number))
					}
				}
			}
		}
	}
	t.Logf("%d good types of %d parts refused by none; caught: %v of %v; %d pins that nothing tells: %v",
		good, len(parts), caught, tried, len(untold), untold)
}
