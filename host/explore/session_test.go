package explore_test

import (
	"context"
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"chipassay/host/explore"
)

// The supply goes off after a minute without a key, and not before.
func TestSupplyGoesOffByItself(t *testing.T) {
	b := powered(t, "7400")
	begun := time.Date(1979, 9, 21, 8, 0, 0, 0, time.UTC)
	b.Touch(begun)
	for _, c := range []struct {
		after time.Duration
		left  time.Duration
	}{{0, time.Minute}, {50 * time.Second, 10 * time.Second}, {time.Minute - 1, 1}} {
		left, err := b.Watch(t.Context(), begun.Add(c.after))
		if err != nil || left != c.left || !b.On() || !b.socket.Live() {
			t.Errorf("after %v: %v left (%v), on %v", c.after, left, err, b.On())
		}
	}
	b.do("1A=H")
	b.Touch(begun.Add(30 * time.Second))
	if left, _ := b.Watch(t.Context(), begun.Add(time.Minute)); left != 30*time.Second {
		t.Errorf("a key leaves %v", left)
	}
	if left, err := b.Watch(t.Context(), begun.Add(90*time.Second)); left != 0 || err != nil || b.On() || b.socket.Live() {
		t.Errorf("it is still on: %v, %v", left, err)
	}
	if _, err := b.Refresh(t.Context()); !errors.Is(err, explore.ErrRefused) {
		t.Errorf("a chip without supply is looked at: %v", err)
	}
	if _, err := b.PowerOn(t.Context()); err != nil || b.Drive(1) != explore.Low {
		t.Errorf("powered again, pin 1 is %v: %v", b.Drive(1), err)
	}
}

// Whatever ends a session, the supply is off: also where the context is done.
func TestSupplyIsOffAtTheEnd(t *testing.T) {
	b := powered(t, "7400")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := b.Close(ctx); err != nil || b.socket.Live() {
		t.Errorf("closed: %v, live %v", err, b.socket.Live())
	}
	b = powered(t, "7400")
	if _, err := b.Set(ctx, explore.Change{Pin: 1, To: explore.High}); !errors.Is(err, context.Canceled) || b.On() || b.socket.Live() {
		t.Errorf("interrupted: %v, on %v, live %v", err, b.On(), b.socket.Live())
	}
}

// Wrong steps get a line that says what to do.
func TestWrongSteps(t *testing.T) {
	b := at(t, "7400", "7400")
	for text, says := range map[string]string{
		"":             "there is no step",
		"# nothing":    "there is no step",
		"1A":           "write PIN=H",
		"1A=Z":         "a pin is set to H, L or open",
		"9Z=H":         "it has 1A 1B 2A",
		"VCC=H":        "it has 1A 1B 2A",
		"1A=H 1A=L":    "set twice",
		"clock":        "has no clock",
		"clock 1A 1B":  "takes one pin",
		"rows 2":       "rows stands alone",
		"1A=H\n2Q=L\n": "line 2: ",
	} {
		if _, err := b.Script(text); err == nil || !strings.Contains(err.Error(), says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v", text, err)
		}
	}
	if _, err := explore.New(nil, named(t, "2114")); err == nil || !strings.Contains(err.Error(), "is a memory") {
		t.Errorf("a memory is explored: %v", err)
	}
	all, err := b.Script("1a=1 2=OPEN # the first gate\n\n  rows;1B=l")
	if err != nil || len(all) != 3 || len(all[0].Changes) != 2 || all[0].Changes[0] != (explore.Change{Pin: 1, To: explore.High}) || all[0].Changes[1] != (explore.Change{Pin: 2, To: explore.Open}) || !all[1].Rows {
		t.Errorf("%+v, %v", all, err)
	}
}

// The keys of a step's object.
func TestJSON(t *testing.T) {
	b := powered(t, "7400")
	text, err := json.Marshal(b.do("1A=H 1B=H"))
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Step int
		Did  string
		Pins map[string]struct {
			Drive, Seen, Expected string
			Volts                 *float64
			Differs               bool
			Lamp                  *struct{ MA, Share float64 }
		}
	}
	if err := json.Unmarshal(text, &got); err != nil {
		t.Fatal(err)
	}
	a, y := got.Pins["1A"], got.Pins["1Y"]
	if got.Step != 1 || got.Did != "1A=H 1B=H" || len(got.Pins) != 12 || a.Drive != "H" || a.Seen != "H" || a.Volts == nil || *a.Volts < 4 ||
		y.Drive != "none" || y.Seen != "L" || y.Expected != "L" || y.Lamp == nil || y.Lamp.MA < 8 || y.Lamp.Share != 1 {
		t.Errorf("%s", text)
	}
}
