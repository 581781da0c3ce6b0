package assay_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/assay/contact"
	"chipassay/host/link"
	"chipassay/host/verdict"
	"chipassay/host/virtual"
	"chipassay/vectors/part"
)

func chipOf(t testing.TB, typ part.Type, defects ...string) *virtual.Chip {
	t.Helper()
	var all []virtual.Defect
	for _, text := range defects {
		d, err := virtual.ParseDefect(text)
		require.NoError(t, err)
		all = append(all, d)
	}
	chip, err := virtual.NewChip(typ, all...)
	require.NoError(t, err)
	return chip
}

// pumped is a 4164 whose substrate hangs on its charge pump.
func pumped(t testing.TB, defects ...string) (part.Type, *virtual.Chip) {
	t.Helper()
	typ := open(t, "4164")
	chip := chipOf(t, typ, defects...)
	v := virtual.Nominal(typ)
	v.Substrate = virtual.Pumped
	chip.Vary(v)
	return typ, chip
}

// What answers nothing before power is said so.
func TestPumpedSubstrate(t *testing.T) {
	typ, chip := pumped(t)
	a, seat, err := seatedOn(t.Context(), typ, chip)
	require.NoError(t, err)
	defer a.Close()
	r := assay.RunMemory(t.Context(), seat, assay.MemoryPlan{Type: typ, Only: []assay.Stage{assay.ContactStage}})
	require.Contains(t, r.Reason, "how the chip is seated could not be checked")
}

// partly is an adapter with some groups only, with a chip in it.
func partly(t *testing.T, typ part.Type, chip *virtual.Chip, groups ...carrier.Group) (*adapter.Adapter, *adapter.Seat) {
	t.Helper()
	b := virtual.NewBoard()
	b.Groups(groups...)
	conn, err := virtual.Open(t.Context(), b.Socket(chip, 1))
	require.NoError(t, err)
	a, err := adapter.Open(t.Context(), link.New(conn, 0))
	require.NoError(t, err)
	t.Cleanup(func() { a.Close() })
	seat, err := a.SeatOf(typ.Variant)
	require.NoError(t, err)
	return a, seat
}

// A starter does the whole job for what it seats but for levels under load, and one
// without far converters names the pins it did not judge.
func TestPartlyBuiltAdapters(t *testing.T) {
	starter := []carrier.Group{carrier.Starter}
	noConverters := []carrier.Group{carrier.Starter, carrier.Load, carrier.FarHalf, carrier.Switches}
	for _, c := range []struct {
		groups  []carrier.Group
		typ     string
		defects []string
		verdict assay.Verdict
		says    string
	}{
		{starter, "7400", nil, assay.Pass, ""},
		{starter, "74LS138", nil, assay.Pass, ""},
		{starter, "4011", nil, assay.Pass, ""},
		{starter, "74LS138", []string{"5 shorted to 6"}, assay.NotTested, "pins 5 and 6 shorted"},
		{starter, "74LS138", []string{"reversed"}, assay.NotTested, "put in backwards"},
		{noConverters, "74LS245", nil, assay.Pass, ""},
		{noConverters, "74181", nil, assay.Pass, ""},
		{noConverters, "74LS373", []string{"reversed"}, assay.NotTested, "put in backwards"},
		{noConverters, "74LS373", []string{"10 open"}, assay.NotTested, "pin 10 makes no contact"},
		{noConverters, "74LS373", []string{"empty"}, assay.NotTested, "empty socket"},
		{noConverters, "74LS245", []string{"11 open"}, assay.Fail, "pin 11 (B8) acts as if not connected"},
	} {
		typ := open(t, c.typ)
		_, seat := partly(t, typ, chipOf(t, typ, c.defects...), c.groups...)
		plan, err := assay.NewPlan(typ, nil)
		require.NoError(t, err)
		r := assay.Run(t.Context(), seat, plan)
		require.Equal(t, c.verdict, r.Verdict, "%s %v: %s", c.typ, c.defects, r.Reason)
		require.Contains(t, r.Reason, c.says)
		if c.verdict != assay.Pass {
			continue
		}
		bare := len(c.groups) == 1 && typ.Family.Technology.Bipolar()
		require.Equal(t, bare, r.Levels.Unloaded, c.typ)
		require.False(t, bare && r.Grade == verdict.Strong, "levels under load were not looked at")
	}
	typ := open(t, "74LS245")
	_, seat := partly(t, typ, chipOf(t, typ), noConverters...)
	s, err := contact.Test(t.Context(), seat, typ)
	require.NoError(t, err)
	require.Equal(t, []int{9, 11, 12}, s.Unjudged, "pins at positions 9 to 20")
}

// With all groups, levels are measured at all positions: a good chip of 20 and 24
// pins is strong or sound.
func TestLevelsAtAllPositions(t *testing.T) {
	for _, name := range []string{"74LS245", "74LS373", "74181"} {
		r := wholeAssay(t, name)
		require.Equal(t, assay.Pass, r.Verdict, r.Reason)
		require.Contains(t, []verdict.Grade{verdict.Strong, verdict.Sound}, r.Grade, "%s: %v", name, r.GradeReasons)
		require.InDelta(t, 4.95, r.SupplyVolts, 0.06, "5 V less what fuse, shunt and switch take of some 10 to 100 mA")
	}
}

// A path inside joins the pins of an analog switch: a short between them is no finding
// before power, and the vectors find it where the switch is off.
func TestAShortedSwitchIsFoundByTheVectors(t *testing.T) {
	r := wholeAssay(t, "4066", "1 shorted to 2")
	require.Nil(t, r.Seating)
	require.Equal(t, assay.Fail, r.Verdict)
	require.Contains(t, r.Reason, "pin 13 (E1) is stuck high", "which is what it looks like: nothing distinguishes them")
}

// What the thresholds do not decide is not powered, unless a person says so.
func TestPowerAnyway(t *testing.T) {
	typ := open(t, "74LS00")
	for _, anyway := range []bool{false, true} {
		_, seat := partly(t, typ, chipOf(t, typ, "3 open", "11 open"), carrier.Starter, carrier.Load)
		plan, err := assay.NewPlan(typ, nil)
		require.NoError(t, err)
		plan.PowerAnyway = anyway
		r := assay.Run(t.Context(), seat, plan)
		require.Equal(t, "pins 3 and 11 make no contact", r.Seating.Found)
		if anyway {
			require.Equal(t, assay.Fail, r.Verdict)
			require.Contains(t, r.Cautions[len(r.Cautions)-1], "at most 34 mA", "30 mA over what a 74LS00 draws, 2 to 4 mA")
		} else {
			require.Equal(t, assay.NotTested, r.Verdict)
			require.Negative(t, r.SupplyCurrentMA, "the chip was powered")
		}
	}
}
