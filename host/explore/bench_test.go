package explore_test

import (
	"strings"
	"testing"

	"chipassay/host/adapter"
	"chipassay/host/explore"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// A bench is a session at a virtual socket.
type bench struct {
	*explore.Session
	t      *testing.T
	socket *virtual.Socket
}

func named(t *testing.T, name string) part.Type {
	t.Helper()
	typ, err := library.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	return typ
}

// at puts a chip into a virtual adapter and explores it as typed.
func at(t *testing.T, typed, inside string, defects ...string) *bench {
	t.Helper()
	var broken []virtual.Defect
	for _, text := range defects {
		d, err := virtual.ParseDefect(text)
		if err != nil {
			t.Fatal(err)
		}
		broken = append(broken, d)
	}
	chip, err := virtual.NewChip(named(t, inside), broken...)
	if err != nil {
		t.Fatal(err)
	}
	socket := virtual.NewSocket(chip, 1)
	conn, err := virtual.Open(t.Context(), socket)
	if err != nil {
		t.Fatal(err)
	}
	a, err := adapter.Open(t.Context(), link.New(conn, 0))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.Close() })
	typ := named(t, typed)
	seat, err := a.SeatOf(typ.Variant)
	if err != nil {
		t.Fatal(err)
	}
	s, err := explore.New(seat, typ)
	if err != nil {
		t.Fatal(err)
	}
	return &bench{s, t, socket}
}

// powered is at, with the supply on.
func powered(t *testing.T, typed string, defects ...string) *bench {
	t.Helper()
	b := at(t, typed, typed, defects...)
	if _, err := b.PowerOn(t.Context()); err != nil {
		t.Fatal(err)
	}
	return b
}

// do takes steps, and wants each to be taken.
func (b *bench) do(text string) explore.State {
	b.t.Helper()
	if err := b.try(text); err != nil {
		b.t.Fatalf("%s: %v", text, err)
	}
	return b.State()
}

func (b *bench) try(text string) error {
	all, err := b.Script(text)
	if err != nil {
		return err
	}
	for _, st := range all {
		if err := b.Do(b.t.Context(), st, func(explore.State) error { return nil }); err != nil {
			return err
		}
	}
	return nil
}

// pin is a pin of the state at hand, by its name.
func (b *bench) pin(name string) *explore.Pin {
	b.t.Helper()
	state := b.State()
	return state.Pin(b.Type.Variant.Pin(name).Number)
}

// shows wants pins to stand at levels: "1Y=L 2Y=Z".
func (b *bench) shows(want string) {
	b.t.Helper()
	for _, word := range strings.Fields(want) {
		name, level, _ := strings.Cut(word, "=")
		if p := b.pin(name); p.Seen.String() != level {
			b.t.Errorf("after %q %s is %v at %.2f V, want %s", b.State().Did, name, p.Seen, p.Volts, level)
		}
	}
}

// said wants a note with some words; not where none is to have them.
func (b *bench) said(words string, want bool) {
	b.t.Helper()
	notes := strings.Join(b.State().Notes, "\n")
	if strings.Contains(notes, words) != want {
		b.t.Errorf("after %q: %q in the notes: want %v, they are:\n%s", b.State().Did, words, want, notes)
	}
}

func (b *bench) volts(name string, least, most float64) {
	b.t.Helper()
	if v := b.pin(name).Volts; !(v >= least && v <= most) {
		b.t.Errorf("after %q %s stands at %.3f V, want %.2f to %.2f", b.State().Did, name, v, least, most)
	}
}
