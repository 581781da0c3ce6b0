package drawer

import (
	"io"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/link"
	"chipassay/host/record"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// A chip whose bond wire opens now and then fails in a drawer run too, whatever the
// chance, and the good ones around it pass.
func TestAnIntermittentChipInADrawer(t *testing.T) {
	plan := func(typ part.Type) (assay.Plan, error) {
		p, err := assay.NewPlan(typ, nil)
		p.AtLeast = assay.DefaultAtLeast
		return p, err
	}
	typ, err := library.Open("7404")
	require.NoError(t, err)
	for seed := uint64(1); seed <= 20; seed++ {
		socket := virtual.NewSocket(nil, seed)
		conn, err := virtual.Open(t.Context(), socket)
		require.NoError(t, err)
		a, err := adapter.Open(t.Context(), link.New(conn, 0))
		require.NoError(t, err)
		defer a.Close()
		var places []virtual.Place
		for _, defects := range [][]virtual.Defect{nil, {{Kind: virtual.Intermittent, Pin: 12}}, nil} {
			chip, err := virtual.NewChip(typ, defects...)
			require.NoError(t, err)
			places = append(places, virtual.Place{Marking: "7404", Chip: chip})
		}
		store, err := record.Open(filepath.Join(t.TempDir(), "records.db"))
		require.NoError(t, err)
		defer store.Close()
		tray := &Tray{Station: &Station{Adapter: a, Plan: plan}, Socket: socket, Places: places}
		r := Run{Drawer: "D3", Typed: "7404", Find: library.Open, Bench: tray, Hand: tray, Records: store, Screen: &Screen{W: io.Discard}}
		s, err := r.Do(t.Context())
		require.NoError(t, err)
		var verdicts []assay.Verdict
		for _, sheet := range s.Tray.Chips {
			verdicts = append(verdicts, sheet.Verdict)
		}
		require.Equal(t, []assay.Verdict{assay.Pass, assay.Fail, assay.Pass}, verdicts, "seed %d", seed)
	}
}
