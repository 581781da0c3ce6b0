//go:build simavr

package avrsim

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/bench"
	"chipassay/host/explore"
	"chipassay/host/link"
	"chipassay/host/record"
	"chipassay/host/verdict"
	"chipassay/host/virtual"
	"chipassay/protocol"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// What the bench page does at the firmware of the real adapter: a chip that is seated by hand
// is tested as it comes, a long test is stopped, and a chip is explored. The levels are those
// of the 7400's function table (data book).
func TestWorkbench(t *testing.T) {
	p := open(t, "")
	const long = time.Minute // of the adapter's time
	b := bench.New(bench.Means{
		Find: library.Open,
		Plan: func(typ part.Type) (assay.Plan, error) {
			plan, err := assay.NewPlan(typ, nil)
			if typ.Name() == "7404" {
				plan.AtLeast = long
			}
			return plan, err
		},
		Adapter: func(ctx context.Context) (*adapter.Adapter, error) {
			return adapter.Open(ctx, link.New(p.Conn, protocol.UsualRate))
		},
		Records: func(context.Context, bool) (*record.Store, error) {
			return record.Open(filepath.Join(t.TempDir(), "records.db"))
		},
		Pace: time.Millisecond,
	})
	defer b.Close()
	until := func(what string, holds func(s bench.State) bool) bench.State {
		t.Helper()
		for limit := time.After(5 * time.Minute); ; {
			s, changed := b.State()
			if holds(s) {
				return s
			}
			select {
			case <-changed:
			case <-limit:
				t.Fatalf("not %s: %+v", what, s)
			}
		}
	}
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	seat := func(name string) {
		chip, err := virtual.NewChip(named(t, name))
		must(err)
		p.bench.Swap(chip)
	}
	must(b.Open(t.Context()))
	must(b.Run(bench.Order{Drawer: "D3", Part: "7400"}))
	seat("7400")
	s := until("tested", func(s bench.State) bool {
		return s.Drawer.Verdicts == 1 && !s.Drawer.Standing.Testing && s.Drawer.Standing.Sheet != nil
	})
	if s.Drawer.Standing.Sheet.Verdict != verdict.Pass {
		t.Errorf("a good chip: %v, %s", s.Drawer.Standing.Sheet.Verdict, s.Drawer.Standing.Sheet.Reason)
	}
	p.bench.Swap(nil)
	until("empty", func(s bench.State) bool { return s.Drawer.Standing.Empty })
	must(b.Tell("part 7404"))
	until("told", func(s bench.State) bool { return s.Drawer.Part == "7404" })
	seat("7404")
	until("testing", func(s bench.State) bool { return s.Drawer.Standing.Testing })
	b.Stop()
	s = until("stopped", func(s bench.State) bool { return !s.Drawer.Standing.Testing && !s.Stopping })
	if s.Drawer.Verdicts != 1 {
		t.Errorf("a test that was stopped gave a verdict: %v", s.Drawer.Verdicts)
	}
	must(b.Tell("end"))
	until("over", func(s bench.State) bool { return s.Work == bench.Idle })
	seat("7400")
	must(b.Explore("7400", "", ""))
	until("powered", func(s bench.State) bool { return s.Explore != nil && s.Explore.On })
	must(b.Step("1A=H 1B=H"))
	s = until("seen", func(s bench.State) bool { return s.Explore.State.Did != "" })
	if seen := s.Explore.State.Pin(3).Seen; seen != explore.StandsLow {
		t.Errorf("1Y with both inputs high: %v", seen)
	}
	b.Stop()
	until("off", func(s bench.State) bool { return s.Work == bench.Idle })
}
