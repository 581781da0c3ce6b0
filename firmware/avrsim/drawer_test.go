//go:build simavr

package avrsim

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/drawer"
	"chipassay/host/link"
	"chipassay/host/record"
	"chipassay/host/virtual"
	"chipassay/protocol"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// A drawer of chips at the firmware of the real adapter: each is noticed when it is
// put in and when it is taken out, tested and written down. Verdicts are those that
// the defects make by the data sheet's function table (from memory).
func TestDrawer(t *testing.T) {
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
	places, err := virtual.ParseTray(strings.NewReader(`
		7400   date 7806
		7400   date 7811  defect "6 stuck high"  after "retest"
		74LS00 date 8123  defect "reversed"
		4011B  date 8211`), library.Open)
	if err != nil {
		t.Fatal(err)
	}
	tray := &drawer.Tray{Station: &drawer.Station{Adapter: a, Plan: func(t part.Type) (assay.Plan, error) { return assay.NewPlan(t, nil) }}, Socket: p.bench, Places: places}
	var shown bytes.Buffer
	run := drawer.Run{Drawer: "D3", Typed: "7400", Find: library.Open, Bench: tray, Hand: tray, Records: store, Screen: &drawer.Screen{W: &shown}}
	if _, err := run.Do(t.Context()); err != nil {
		t.Fatal(err)
	}
	var got []string
	for r, err := range store.Find(t.Context(), record.Query{}) {
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, r.Type+" "+r.DateCode+" "+string(r.Verdict))
	}
	want := "7400 7806 pass, 7400 7811 fail, 4011B 8211 pass"
	if text := strings.Join(got, ", "); text != want {
		t.Errorf("written down: %s; want %s\n%s", text, want, shown.String())
	}
	if !strings.Contains(shown.String(), "put in backwards") {
		t.Errorf("the chip put in backwards is not reported:\n%s", shown.String())
	}
}

// The adapter's button tests what is in the socket.
func TestDrawerButton(t *testing.T) {
	p := open(t, "7400")
	a, err := adapter.Open(t.Context(), link.New(p.Conn, protocol.UsualRate))
	if err != nil {
		t.Fatal(err)
	}
	station := &drawer.Station{Adapter: a, Plan: func(t part.Type) (assay.Plan, error) { return assay.NewPlan(t, nil) }}
	for _, down := range []bool{false, true, false} {
		p.bench.Press(down)
		if got, err := station.Pressed(t.Context()); err != nil || got != down {
			t.Errorf("button down %v: reported %v, %v", down, got, err)
		}
	}
}
