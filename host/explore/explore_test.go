package explore_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/explore"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A bench is a session at a virtual socket.
type bench struct {
	*explore.Session
	t      *testing.T
	socket *virtual.Socket
}

// at puts a chip into a virtual adapter and explores it as typed.
func at(t *testing.T, typed, inside string, defects ...string) *bench {
	t.Helper()
	open := func(name string) part.Type {
		typ, err := library.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		return typ
	}
	var broken []virtual.Defect
	for _, text := range defects {
		d, err := virtual.ParseDefect(text)
		if err != nil {
			t.Fatal(err)
		}
		broken = append(broken, d)
	}
	chip, err := virtual.NewChip(open(inside), broken...)
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
	typ := open(typed)
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

func TestDump(t *testing.T) {
	for _, c := range []struct{ name, steps, defect string }{{"7400", "1A=H 1B=H; 1B=open; 1A=open;1B=L", ""}, {"74LS00", "1A=H 1B=H; 1B=open", ""}, {"7410", "1A=L 1B=H 1C=H", "2 open"}, {"4011", "1A=H 1B=open; 1A=L", ""}, {"7474", "/1CLR=H /1PRE=H 1D=H; clock 1CLK; rows", ""}, {"74125", "/1G=H;1A=H; /1G=L; rows", ""}, {"7405", "rows", ""}, {"74LS245", "DIR=H /G=H; A1=H; /G=L; B1=open;DIR=L", ""}, {"7400", "1A=H 1B=H", "1 stuck low"}, {"7400", "1A=H 1B=H", "3 at 1.7 V"}} {
		var d []string
		if c.defect != "" {
			d = append(d, c.defect)
		}
		b := at(t, c.name, c.name, d...)
		begin := time.Now()
		st, err := b.PowerOn(t.Context())
		fmt.Println("=====", c.name, err, time.Since(begin), st.SupplyVolts, st.CurrentMA)
		if err != nil {
			continue
		}
		all, err := b.Script(c.steps)
		if err != nil {
			fmt.Println(err)
			continue
		}
		for _, one := range all {
			begin := time.Now()
			err := b.Do(t.Context(), one, func(st explore.State) error {
				fmt.Println("--", st.Step, st.Did, "|", strings.Join(st.Notes, " | "))
				for _, p := range st.Pins {
					if p.Number > 6 && len(st.Pins) < 15 {
						break
					}
					fmt.Printf("  %-5s in=%v %-5v %-9v %5.2f ", p.Name, p.Input, p.Drive, p.Seen, p.Volts)
					if p.Compared {
						fmt.Print("want ", explore.Letter(p.Expected), p.Differs())
					}
					if p.Lamp != nil {
						fmt.Printf(" lamp %+v", *p.Lamp)
					}
					if p.Takes != logic.X {
						fmt.Print(" takes ", p.Takes)
					}
					fmt.Println()
				}
				return nil
			})
			fmt.Println(time.Since(begin), err)
		}
		for _, tb := range b.Tables() {
			a, bb, c := tb.Ticked()
			fmt.Println(tb.Title, a, bb, c)
		}
	}
	_ = math.NaN
	_ = errors.Is
}
