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
	"chipassay/host/verdict"
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

// A chip with two pins shorted goes the whole way: not tested, reseated, a reject
// whose record and sheet say which pins (common practice).
func TestAShortedChipInADrawer(t *testing.T) {
	typ, err := library.Open("7404")
	require.NoError(t, err)
	socket := virtual.NewSocket(nil, 1)
	conn, err := virtual.Open(t.Context(), socket)
	require.NoError(t, err)
	a, err := adapter.Open(t.Context(), link.New(conn, 0))
	require.NoError(t, err)
	defer a.Close()
	chip, err := virtual.NewChip(typ, virtual.Defect{Kind: virtual.Shorted, Pin: 1, Other: 2})
	require.NoError(t, err)
	store, err := record.Open(filepath.Join(t.TempDir(), "records.db"))
	require.NoError(t, err)
	defer store.Close()
	plan := func(typ part.Type) (assay.Plan, error) { return assay.NewPlan(typ, nil) }
	tray := &Tray{Station: &Station{Adapter: a, Plan: plan}, Socket: socket, Places: []virtual.Place{
		{Marking: "7404", Chip: chip}, {Marking: "7404", Chip: chip, Before: []string{"retest"}},
	}}
	r := Run{Drawer: "D3", Typed: "7404", Find: library.Open, Bench: tray, Hand: tray, Records: store, Screen: &Screen{W: io.Discard}}
	s, err := r.Do(t.Context())
	require.NoError(t, err)
	require.Len(t, s.Tray.Chips, 1)
	sheet := s.Tray.Chips[0]
	require.Equal(t, assay.Fail, sheet.Verdict)
	require.Equal(t, verdict.Reject, sheet.Grade)
	require.Equal(t, "the same after reseating: pins 1 and 2 shorted", sheet.Reason)
	require.Contains(t, sheet.Cause, "broken inside")
	require.Equal(t, []int{1, 2}, sheet.PinsFailed)
}
