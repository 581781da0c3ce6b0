package probe_test

import (
	"fmt"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/link"
	"chipassay/host/probe"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/match"
)

func TestZ(t *testing.T) {
	all, _ := library.All()
	mem, _ := library.Memories()
	cs, err := logic.CompileAll(all)
	require.NoError(t, err)
	cand := match.Of(cs, mem)
	for _, name := range os.Args[len(os.Args)-1:] {
		_ = name
	}
	for _, name := range []string{"7400", "7402", "7408", "74LS125", "74LS245", "74161", "7474", "74138", "4011B", "4013B", "4017B", "4040", "4031", "2114", "74181", "74154", "74174", "74175", "7485","74LS373","7403","74164","7491","4503"} {
		typ, err := library.Open(name)
		require.NoError(t, err)
		chip, err := virtual.NewChip(typ)
		require.NoError(t, err)
		conn, err := virtual.Open(t.Context(), virtual.NewSocket(chip, 1))
		require.NoError(t, err)
		a, err := adapter.Open(t.Context(), link.New(conn, 0))
		require.NoError(t, err)
		v := typ.Variant
		seat, err := a.Seat(len(v.Pins), v.VCC(), v.GND())
		require.NoError(t, err)
		_, err = seat.PowerOn(t.Context(), 200)
		require.NoError(t, err)
		t0 := time.Now()
		sp := seat.Spent()
		rec, err := probe.Explore(t.Context(), seat, probe.Seat{Pins: len(v.Pins), VCC: v.VCC(), GND: v.GND()}, probe.Limits{})
		require.NoError(t, err)
		t1 := time.Now()
		fits := rec.Rank(cand)
		t2 := time.Now()
		blind := rec.Blind()
		fmt.Printf("%s: steps %d, cpu %v, adapter %v, rank %v; out %b blind %.0f\n", name, len(rec.Steps), t1.Sub(t0), seat.Spent()-sp, t2.Sub(t1), rec.Outputs, blind)
		for i, f := range fits {
			if i > 3 && f.Variant.Part != typ.Part() {
				continue
			}
			fmt.Printf("   %s %.0f mism %d right %d\n", f.Variant.Part.Number, f.Bits, f.Mismatches, f.Right)
		}
		a.Close()
	}
}
