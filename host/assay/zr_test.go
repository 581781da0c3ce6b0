package assay_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/link"
	"chipassay/host/virtual"
)

func TestZR(t *testing.T) {
	for _, name := range []string{"7400", "74LS00", "74HC00", "74LS245", "74LS373", "74181", "4011"} {
		typ := open(t, name)
		chip, err := virtual.NewChip(typ)
		require.NoError(t, err)
		conn, err := virtual.Open(t.Context(), virtual.NewSocket(chip, 1))
		require.NoError(t, err)
		l := link.New(conn, 0)
		a, err := adapter.Open(t.Context(), l)
		require.NoError(t, err)
		seat, err := a.SeatOf(typ.Variant)
		require.NoError(t, err)
		plan, err := assay.NewPlan(typ, nil)
		require.NoError(t, err)
		for _, only := range [][]assay.Stage{{assay.ContactStage}, nil} {
			plan.Only = only
			before, carried := a.Spent(), l.Carried
			r := assay.Run(t.Context(), seat, plan)
			t.Log(name, only, r.Verdict, r.Reason, r.Grade, r.GradeReasons, a.Spent()-before, l.Carried-carried, r.Cautions, r.SupplyCurrentMA)
		}
		a.Close()
	}
}
