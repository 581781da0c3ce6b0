package assay_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/sample"
)

// measured tests a chip on an adapter that measures under power too.
func measured(t *testing.T, plan assay.Plan, defects ...virtual.Defect) *assay.Result {
	t.Helper()
	chip, err := virtual.NewChip(plan.Type, defects...)
	require.NoError(t, err)
	a, seat, err := seatedOn(t.Context(), plan.Type, chip)
	require.NoError(t, err)
	defer a.Close()
	return assay.Run(t.Context(), seat, plan)
}

// interfaceChips is how many good chips of each type the ordinary run tries.
const interfaceChips = 4

// Parts whose outputs or inputs are no logic family's: highs through a resistor, which the
// adapter's inputs may read either way; Darlington drivers without a supply; receivers with
// resistors at their inputs. Good ones differ as their resistors do, and none is accused.
func TestGoodChipsThatAreNoLogicFamilys(t *testing.T) {
	random := sample.Random(t)
	for _, number := range []string{"930", "936", "937", "944", "946", "957", "963", "2003", "2004", "2803", "1489", "26LS32", "3486", "9637"} {
		typ, err := library.Open(number)
		require.NoError(t, err)
		for range interfaceChips {
			seed, usb := random.Uint64(), 4.75+0.5*random.Float64()
			t.Run(fmt.Sprintf("%s/%d", number, seed), func(t *testing.T) {
				t.Parallel()
				goodChip(t, typ, seed, usb)
			})
		}
	}
}

// An input of a balanced line that the die does not follow hides behind the opposite one: all
// vectors are right. With the opposite one released it shows. Without the levels, the report
// says that it was not looked for.
func TestADeadInputOfABalancedLineIsFound(t *testing.T) {
	for _, c := range []struct{ number, defect, pin string }{
		{"26LS32", "2 open", "pin 2 (1A)"}, {"26LS32", "1 open", "pin 1 (1B)"},
		{"3486", "10 open", "pin 10 (3A)"}, {"9637", "5 open", "pin 5 (2B)"},
	} {
		typ, err := library.Open(c.number)
		require.NoError(t, err)
		defect, err := virtual.ParseDefect(c.defect)
		require.NoError(t, err)
		plan, err := assay.NewPlan(typ, nil)
		require.NoError(t, err)
		r := measured(t, plan, defect)
		require.Equal(t, assay.Fail, r.Verdict, "%s, %s: %s", c.number, c.defect, r.Reason)
		require.Zero(t, r.FailureCount, "the vectors do not show it")
		require.Equal(t, "with the opposite input released, the output does not follow "+c.pin, r.Reason)

		plan.Only = []assay.Stage{assay.FunctionStage}
		r = measured(t, plan, defect)
		require.Equal(t, assay.Pass, r.Verdict)
		require.Contains(t, fmt.Sprint(r.NotTested), "have an effect each")
	}
}

// A Darlington driver without a supply is powered by its ground alone, and what the contact
// test finds of others it finds of it too.
func TestADriverWithoutASupply(t *testing.T) {
	typ, err := library.Open("2003")
	require.NoError(t, err)
	plan, err := assay.NewPlan(typ, nil)
	require.NoError(t, err)
	r := measured(t, plan)
	require.Equal(t, assay.Pass, r.Verdict, r.Reason)
	require.Negative(t, r.SupplyCurrentMA, "none is measured")
	require.InDelta(t, 5, r.SupplyVolts, 0.3, "COM is held high")
	for _, text := range r.Levels.Unmeasured {
		require.NotContains(t, text, "supply current", "there is none to be measured")
	}
	for text, verdict := range map[string]assay.Verdict{
		"3 open": assay.Fail, "12 dead pull-down": assay.Fail, "14 leaks 1 mA": assay.Fail,
		"9 open": assay.NotTested, "8 open": assay.NotTested, "reversed": assay.NotTested,
		"shifted 1": assay.NotTested, "14 shorted to 15": assay.NotTested, "empty": assay.NotTested,
	} {
		defect, err := virtual.ParseDefect(text)
		require.NoError(t, err)
		r := measured(t, plan, defect)
		require.Equal(t, verdict, r.Verdict, "%s: %s", text, r.Reason)
	}
}
