//go:build simavr

package avrsim

import (
	"io"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"chipassay/host/adapter"
	"chipassay/host/drawer"
	"chipassay/host/identify"
	"chipassay/host/link"
	"chipassay/host/record"
	"chipassay/host/virtual"
	"chipassay/protocol"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/match"
)

// everyPart are the parts of the library that a chip may be.
func everyPart(t *testing.T) (circuits []*logic.Circuit, candidates []match.Candidate) {
	t.Helper()
	lib, err := library.With()
	if err != nil {
		t.Fatal(err)
	}
	parts, err := lib.All()
	if err != nil {
		t.Fatal(err)
	}
	if circuits, err = logic.CompileAll(parts); err != nil {
		t.Fatal(err)
	}
	memories, err := lib.Memories()
	if err != nil {
		t.Fatal(err)
	}
	return circuits, match.Of(circuits, memories)
}

// Chips without a marking are identified through the firmware of the real adapter: what they
// are, their supply pins and the technology of their inputs are the data books' (from memory).
func TestIdentify(t *testing.T) {
	circuits, candidates := everyPart(t)
	for _, c := range []struct {
		chip, defect string
		number       string
		vcc, gnd     int
		technology   string
		exit         int
	}{
		{"7400", "", "7400", 14, 7, "bipolar", 0},
		{"74LS90", "", "7490", 5, 10, "bipolar", 0},
		{"4011B", "", "4011", 14, 7, "MOS", 0},
		{"74163", "", "74163", 16, 8, "bipolar", 0},
		{"7410", "2 open", "7410", 14, 7, "bipolar", 1},
		{"7400", "reversed", "", 0, 0, "", 3},
	} {
		t.Run(c.chip+" "+c.defect, func(t *testing.T) {
			var defects []string
			if c.defect != "" {
				defects = append(defects, c.defect)
			}
			p := open(t, c.chip, defects...)
			a, err := adapter.Open(t.Context(), link.New(p.Conn, protocol.UsualRate))
			if err != nil {
				t.Fatal(err)
			}
			seat, err := a.Seat(14, 14, 7) // whatever it is
			if err != nil {
				t.Fatal(err)
			}
			answer, err := identify.Chip(t.Context(), seat, identify.Plan{
				Candidates: slices.Clone(candidates), Others: func() ([]*logic.Circuit, error) { return circuits, nil }, Seed: 1,
			})
			if err != nil {
				t.Fatal(err)
			}
			number := ""
			if len(answer.Candidates) > 0 {
				number = answer.Candidates[0].Part.Number
			}
			if number != c.number || answer.Seat.VCC != c.vcc || answer.Seat.GND != c.gnd || answer.Technology != c.technology || answer.Exit() != c.exit {
				t.Errorf("a %q, supply %d and %d, %s, exit %d: %s; doubts %q", number, answer.Seat.VCC, answer.Seat.GND,
					answer.Technology, answer.Exit(), answer.Reason, answer.Doubts)
			}
		})
	}
}

// A bag of chips without a marking becomes a list at the firmware of the real adapter.
func TestDrawerIdentifies(t *testing.T) {
	circuits, candidates := everyPart(t)
	plan := identify.Plan{Candidates: candidates, Others: func() ([]*logic.Circuit, error) { return circuits, nil }, Seed: 1}
	want := "7404 pass, 7410 fail"
	if got := drawn(t, "?  chip 7404\n74??  chip 7410  defect \"2 open\"\n?  chip 7400  defect \"reversed\"\n", &plan); got != want {
		t.Errorf("written down: %s; want %s", got, want)
	}
}

// drawn is what a run that identifies the chips of a tray writes down.
func drawn(t *testing.T, tray string, plan *identify.Plan) string {
	t.Helper()
	p := open(t, "")
	a, err := adapter.Open(t.Context(), link.New(p.Conn, protocol.UsualRate))
	if err != nil {
		t.Fatal(err)
	}
	store, err := record.Open(filepath.Join(t.TempDir(), "records.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	places, err := virtual.ParseTray(strings.NewReader(tray), library.Open)
	if err != nil {
		t.Fatal(err)
	}
	bench := &drawer.Tray{Station: &drawer.Station{Adapter: a, Identify: plan}, Socket: p.bench, Places: places}
	run := drawer.Run{Drawer: "D3", Identify: true, Bench: bench, Hand: bench, Records: store, Screen: &drawer.Screen{W: io.Discard}}
	if _, err := run.Do(t.Context()); err != nil {
		t.Fatal(err)
	}
	var got []string
	for r, err := range store.Find(t.Context(), record.Query{}) {
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, r.Type+" "+string(r.Verdict))
	}
	return strings.Join(got, ", ")
}
