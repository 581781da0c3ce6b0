package assay_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/virtual"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// Defects inside the chip and late outputs are named; those that nothing shows are
// listed under what is not tested, and the verdict is what the vectors say.
func TestDefectsInsideAreNamed(t *testing.T) {
	for _, c := range []struct {
		typ, defect string
		verdict     assay.Verdict
		reason      string
	}{
		{"7410", "12 late 30 us", assay.Fail, "pin 12 (1Y) follows late: wrong 20 µs after a change, right after 100 µs"},
		{"4011B", "3 late 300 us", assay.Fail, "pin 3 (1Y) follows late: wrong 100 µs after a change, right after 1000 µs"},
		{"74174", "2 late 8 us", assay.Fail, "pin 2 (1Q) follows late: wrong 5 µs after a change, right after 20 µs"},
		{"7404", "2 late 3 us", assay.Fail, "pin 2 (1Y) follows late: wrong 0.5 µs after a change, right after 5 µs"},
		{"7404", "2 late 0.7 us", assay.Fail, "pin 2 (1Y) follows late: wrong 0.5 µs after a change, right after 5 µs"},
		{"7400", "3 late 2.5 us", assay.Fail, "pin 3 (1Y) follows late: wrong 0.5 µs after a change, right after 5 µs (1Y rises 2.0 ± 0.5 µs after the inputs, 1Y falls 2.0 ± 0.5 µs after the inputs)"}, // 16 steps only
		{"7442", "1 late 4 us", assay.Fail, "pin 1 (Y0) follows late: wrong 0.5 µs after a change, right after 5 µs (Y0 rises "},
		{"74L00", "3 late 2 us", assay.Fail, "pin 3 (1Y) follows late: wrong 1 µs after a change"},
		{"4011B", "3 late 3 us", assay.Pass, "as in the data sheet"},  // a good one may take as long as the adapter waits
		{"4040B", "9 late 4 us", assay.Pass, "as in the data sheet"},  // and a ripple counter longer
		{"7401", "1 late 4 us", assay.Pass, "as in the data sheet"},   // a released pin
		{"7404", "2 late 0.4 us", assay.Pass, "as in the data sheet"}, // in time: speed is not tested
		{"74174", "bit 0 of 1Q ignores clear", assay.Fail, "inside, pin 2 (1Q) does not follow rule 1 of Q (/CLR)"},
		{"74161", "bit 1 of Q obeys load at the other edge", assay.Fail, "inside, pin 13 (QB) follows rule 2 of Q (CLK, /LOAD) at the other edge"},
		{"74163", "bit 1 of Q inverts clear", assay.Fail, "inside, pin 13 (QB) takes the complement of what rule 1 of Q (/CLR, CLK) gives"},
		{"7476", "bit 0 of 1Q ignores clear", assay.Fail, "inside, 1q does not follow rule 2 of 1q (/1CLR)"},
		{"4040", "bit 11 of Q holds at reset", assay.Fail, "inside, pin 1 (Q12) does not follow rule 1 of Q (R)"}, // it comes up high
		{"74LS76", "1Q catches ones", assay.Fail, "inside, 1q catches ones, as a pulse-triggered flip-flop does"},
		{"7476", "1Q is edge-triggered", assay.Pass, "as in the data sheet"},
		{"7454", "term 3 of Y dead", assay.Fail, "pin 4 (E) is stuck low, or pin 5 (F) is stuck low"}, // which kills the same term
		{"74LS00", "1 threshold 2 V", assay.Pass, "as in the data sheet"},
		{"4011B", "3 shorted to 6 300 ohms", assay.NotTested, "pins 3 and 6 shorted"}, // found before power
		{"74LS00", "2 intermittent 20", assay.Fail, "intermittent"},                   // of rounds, or of vectors
	} {
		r := wholeAssay(t, c.typ, c.defect)
		require.Equal(t, c.verdict, r.Verdict, "%s, %s: %s", c.typ, c.defect, r.Reason)
		require.Contains(t, r.Reason, c.reason, "%s, %s", c.typ, c.defect)
		require.NotContains(t, r.Reason, ", or inside", "%s, %s: said once", c.typ, c.defect)
	}
}

// A moody socket answers right or not when it is asked again, whatever the time.
type moody struct {
	*adapter.Seat
	asked int
	wrong func(asked int) bool
}

func (m *moody) ApplySettling(_ context.Context, steps []stimulus.Step, bias adapter.Pull, _ time.Duration) (read []part.Pins, err error) {
	m.asked++
	for i, st := range steps {
		high := st.High
		if m.wrong(m.asked) && i > len(steps)/2 {
			high ^= part.PinSet(12)
		}
		read = append(read, high)
	}
	return read, nil
}

// Late is only what is late each time, and in time with each longer wait. 100, 20 and
// 5 µs are tried, each under both levels of the bias rail; then once more the longest
// that was too short.
func TestWhatFailsAtRandomIsNotLate(t *testing.T) {
	for _, c := range []struct {
		name  string
		wrong func(asked int) bool
		late  bool
	}{
		{"wrong with 20 µs and less, each time", func(asked int) bool { return asked > 2 }, true},
		{"wrong with 100 µs", func(asked int) bool { return asked <= 2 }, false},
		{"wrong with 20 µs and less, but not again", func(asked int) bool { return asked > 2 && asked <= 6 }, false},
		{"wrong with 20 µs, but not with 5", func(asked int) bool { return asked > 2 && asked != 5 && asked != 6 }, false},
		{"never wrong again", func(int) bool { return false }, false},
		{"always wrong", func(int) bool { return true }, false},
	} {
		typ := open(t, "7410")
		d, err := virtual.ParseDefect("12 late 30 us")
		require.NoError(t, err)
		chip, err := virtual.NewChip(typ, d)
		require.NoError(t, err)
		a, seat, err := seatedOn(t.Context(), typ, chip)
		require.NoError(t, err)
		defer a.Close()
		plan, err := assay.NewPlan(typ, nil)
		require.NoError(t, err)
		r := assay.Run(t.Context(), &moody{Seat: seat, wrong: c.wrong}, plan)
		require.Equal(t, assay.Fail, r.Verdict, c.name)
		require.Equal(t, c.late, strings.Contains(r.Reason, "follows late"), "%s: %s", c.name, r.Reason)
	}
}

// What no step shows is said not to be tested.
func TestWhatDefectsHideFrom(t *testing.T) {
	for typ, wants := range map[string][]string{
		"74LS00": {"speed", "input thresholds", "resistances between pins"},
		"7476":   {"catches ones"},
	} {
		listed := ""
		for _, text := range wholeAssay(t, typ).NotTested {
			listed += text + "\n"
		}
		for _, want := range wants {
			require.Contains(t, listed, want, typ)
		}
	}
}

// wholeAssay is all of a test of a chip with defects, from its contacts to its levels.
func wholeAssay(t *testing.T, typed string, defects ...string) *assay.Result {
	t.Helper()
	typ := open(t, typed)
	var all []virtual.Defect
	for _, text := range defects {
		d, err := virtual.ParseDefect(text)
		require.NoError(t, err)
		all = append(all, d)
	}
	chip, err := virtual.NewChip(typ, all...)
	require.NoError(t, err)
	a, seat, err := seatedOn(t.Context(), typ, chip)
	require.NoError(t, err)
	defer a.Close()
	plan, err := assay.NewPlan(typ, nil)
	require.NoError(t, err)
	return assay.Run(t.Context(), seat, plan)
}

// What a late output is timed at, both ways, holds its delay: the one that the defect has.
func TestLateOutputsAreTimed(t *testing.T) {
	for _, us := range []float64{1.3, 2.7, 9, 60, 700} {
		r := wholeAssay(t, "7400", fmt.Sprintf("6 late %g us", us))
		require.Len(t, r.Late, 2, "%g µs: %s", us, r.Reason)
		for i, d := range r.Late {
			at, off := d.Microseconds()
			require.Equal(t, 6, d.Pin)
			require.Equal(t, i == 0, d.High)
			require.InDelta(t, us, at, off+0.15, "%g µs, %+v", us, d)
			require.LessOrEqual(t, off, 1.0, "%g µs", us)
		}
		require.Equal(t, []int{6}, r.PinsFailed)
	}
}

// Right answers after a short wait are said for what they prove, where there was one.
func TestWhatAShortWaitProves(t *testing.T) {
	for typ, want := range map[string]string{
		"7400": "right 1.6 µs after each change, which finds a sick output, not a slow grade", "74L00": "right 2.1 µs after each change",
		"74LS244": "right 1.6 µs after each change between L and H, not out of Z, which finds",
		"74LS173": "1.6 µs after changes between L and H, not out of Z, in the first ",
		"4011B":   "", "4060B": "", "7401": "", "4502B": "",
	} {
		r := wholeAssay(t, typ)
		for _, text := range r.NotTested {
			if strings.HasPrefix(text, "speed") {
				require.Contains(t, text, want, typ)
				require.Equal(t, want != "", strings.Contains(text, "µs after "), typ)
			}
		}
	}
}
