package levels_test

import (
	"context"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay/levels"
	"chipassay/host/verdict"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/sample"
	"chipassay/vectors/stimulus"
)

// What a good chip and bad ones read, by Ohm's law on typical values: a standard
// input sends 4.3 V / 4.2 kΩ when driven low, an LS input 4.7 V / 21 kΩ.
func TestReadings(t *testing.T) {
	for _, c := range []struct {
		typ, defect   string
		pin           int
		q             levels.Quantity
		value, within float64
		standing      levels.Standing
	}{
		{"7400", "", 1, levels.IIL, 1.02, 0.03, levels.Roomy},
		{"74LS00", "", 1, levels.IIL, 0.224, 0.02, levels.Roomy},
		{"74LS00", "", 1, levels.Open, 1.4, 0.15, levels.Unlimited},
		{"7400", "", 1, levels.Open, 1.55, 0.1, levels.Unlimited},
		{"7400", "", 3, levels.VOH, 3.4, 0.1, levels.Roomy},
		{"74LS00", "3 weak 100 ohms", 3, levels.VOL, 0.75, 0.1, levels.Outside},
		{"74LS00", "1 leaks 0.2 mA", 1, levels.IIH, 0.143, 0.01, levels.Outside}, // 5 V over 25 kΩ and 10 kΩ
		{"74HC00", "", 3, levels.VOL, 0.2, 0.1, levels.Roomy},
		{"74HC00", "", 1, levels.IIH, 0, 0.001, levels.NotJudged}, // 1 µA is under one step of the converter
		{"4011", "", 3, levels.VOH, 4.8, 0.1, levels.Roomy},
		{"7403", "", 3, levels.IOZ, 0, 0.001, levels.Roomy},
		{"74LS00", "draws 30 mA more", 0, levels.ICC, 33, 2, levels.Outside},
	} {
		var defects []string
		if c.defect != "" {
			defects = []string{c.defect}
		}
		r := reading(t, measured(t, open(t, c.typ), defects...), c.pin, c.q)
		require.InDelta(t, c.value, r.Value, c.within, "%s %s: %v", c.typ, c.defect, r)
		require.Equal(t, c.standing, r.Standing(), "%s %s: %v", c.typ, c.defect, r)
	}
}

func TestGrades(t *testing.T) {
	for _, c := range []struct {
		typ, defect string
		grade       verdict.Grade
	}{
		{"7400", "", verdict.Strong},
		{"74LS00", "", verdict.Strong},
		{"74HC00", "", verdict.Strong},
		{"4011", "", verdict.Strong},
		{"74LS00", "6 weak 15 ohms", verdict.Sound},
		{"7400", "6 weak 20 ohms", verdict.Doubtful}, // 0.1 V at 5 mA, and 0.32 V at the rated 16 mA, on top of a good one's
		{"74LS00", "6 weak 100 ohms", verdict.Doubtful},
		{"74LS00", "draws 30 mA more", verdict.Doubtful},
		{"7400", "family 74LS", verdict.Doubtful},
		{"74LS00", "family 74HC", verdict.Doubtful},
	} {
		var defects []string
		if c.defect != "" {
			defects = []string{c.defect}
		}
		l := measured(t, open(t, c.typ), defects...)
		g, reasons, _ := levels.Grade(verdict.Pass, l)
		require.Equal(t, c.grade, g, "%s %s: %v", c.typ, c.defect, reasons)
	}
	g, _, _ := levels.Grade(verdict.Fail, nil)
	require.Equal(t, verdict.Reject, g)
	g, _, _ = levels.Grade(verdict.NotTested, nil)
	require.Equal(t, verdict.None, g)
}

// A weak output makes its own gate outside, and no other; where the supply was low its level
// is not held against it, a leak is. Data sheet: VOL at most 0.5 V, IIH 20 µA (74LS).
func TestPinsOutside(t *testing.T) {
	l := measured(t, open(t, "74LS00"), "3 weak 100 ohms", "4 leaks 0.2 mA")
	outside := func() (pins []int) {
		for pin := range 15 {
			if l.Outside(pin) {
				pins = append(pins, pin)
			}
		}
		return pins
	}
	require.Equal(t, []int{3, 4}, outside())
	l.LowSupply = true
	require.Equal(t, []int{4}, outside())
	require.False(t, (*levels.Levels)(nil).Outside(3))
}

// A good chip of every part in every family has every level inside its limit; the
// ordinary run measures one of each kind (sample.KindOf).
func TestGoodChipsOfTheWholeLibraryAreSound(t *testing.T) {
	random := sample.Random(t)
	parts, err := library.All()
	require.NoError(t, err)
	graded := map[verdict.Grade]int{}
	var types []part.Type
	for _, p := range parts {
		for _, v := range p.Variants {
			for _, f := range v.Families {
				typ := part.Type{Variant: v, Family: f}
				if v.Refusal == "" && !slices.Contains([]string{"74100", "74S114"}, typ.Name()) {
					types = append(types, typ)
				}
			}
		}
	}
	for _, typ := range sample.OfEach(random, 1, types, sample.KindOf) {
		l := measured(t, typ)
		g, _, _ := levels.Grade(verdict.Pass, l)
		graded[g]++
		for _, r := range l.Readings {
			if s := r.Standing(); s == levels.Near || s == levels.Outside {
				t.Errorf("a good %s: %s, %s", typ.Name(), r, s)
			}
		}
		if l.Family != "" {
			t.Errorf("a good %s: %s", typ.Name(), l.Family)
		}
	}
	t.Log(graded)
}

// The families are distinguished, and no good chip of the library is taken for another.
func TestFamilyCheck(t *testing.T) {
	for _, c := range [][2]string{
		{"7400", "74LS"}, {"7400", "74HC"}, {"74LS00", "74"}, {"74LS00", "74HC"}, {"74HC00", "74LS"}, {"74HC00", "74"}, {"74HC00", "4000B"},
	} {
		l := measured(t, open(t, c[0]), "family "+c[1])
		require.Contains(t, l.Family, "another family", "a %s chip marked %s", c[1], c[0])
	}
	parts, err := library.All()
	require.NoError(t, err)
	n := 0
	for _, p := range parts {
		if p.Kind != "gate" {
			continue
		}
		for _, f := range p.Families() {
			n++
			typ := part.Type{Variant: p.In(f), Family: f}
			require.Empty(t, measured(t, typ).Family, "a good %s", typ.Name())
		}
	}
	t.Logf("%d good types", n)
}

// A strobe of four unit loads, 6.4 mA at worst, is over VIL through 145 Ω
// (Ohm's law: from 5.5 mA on).
func TestMargins(t *testing.T) {
	margins := levels.Margins(open(t, "7425"))
	require.Len(t, margins, 2)
	require.InDelta(t, 6.4e-3*145, margins[0].Volts, 1e-9)
	require.Equal(t, open(t, "7425").Variant.Pins[margins[0].Pin-1].Name, margins[0].Name)
	require.Empty(t, levels.Margins(open(t, "7400")))
	require.Empty(t, levels.Margins(open(t, "4011")))
}

// How often the tester's own errors change a grade: converter and resistors at
// random within their bounds, seed fixed. A chip at the limit may be called
// doubtful; one past it by a tenth must not be called sound.
func TestGradeDecisionsUnderTheTestersErrors(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 1))
	const draws = 10_000
	for _, c := range []struct {
		what            string
		value           float64 // of the limit of 0.5 V for an LS low
		tolerance       float64 // of the load resistors
		passed, doubted float64 // at most, shares
	}{
		{"a typical chip, 1 % resistors", 0.70, 0.01, 1, 0},
		{"a typical chip, 5 % resistors", 0.70, 0.05, 1, 0},
		{"at the limit, 1 % resistors", 1.00, 0.01, 0.001, 1},
		{"at nine tenths of the limit, 1 % resistors", 0.90, 0.01, 1, 0},
		{"at nine tenths of the limit, 5 % resistors", 0.90, 0.05, 1, 0.2},
		{"at the limit, 5 % resistors", 1.00, 0.05, 0.3, 1},
		{"past it by a twentieth, 1 % resistors", 1.05, 0.01, 0, 1},
		{"past it by a twentieth, 5 % resistors", 1.05, 0.05, 0.02, 1},
		{"past it by a tenth, 5 % resistors", 1.10, 0.05, 0, 1},
	} {
		passed, doubted := 0, 0
		for range draws {
			volts := 0.5 * c.value * (1 + c.tolerance*(2*random.Float64()-1)) // in proportion to the load current
			volts += 0.01 * (2*random.Float64() - 1)
			r := levels.Reading{Quantity: levels.VOL, Value: volts, Limit: 0.5, Uncertainty: 0.01 + 0.01*volts, LoadMA: 5.1, RatedMA: 8}
			if s := r.Standing(); s == levels.Roomy || s == levels.Inside {
				passed++
			} else {
				doubted++
			}
		}
		t.Logf("%s: sound or strong %.2f %%, doubtful %.2f %%", c.what, 100*float64(passed)/draws, 100*float64(doubted)/draws)
		require.LessOrEqual(t, float64(passed)/draws, c.passed, c.what)
		require.LessOrEqual(t, float64(doubted)/draws, c.doubted, c.what)
	}
}

// calibratedBench is a meterBench whose adapter says that its load resistors are
// of another value.
type calibratedBench struct {
	meterBench
	loadOhms float64
}

func (b calibratedBench) Constants(context.Context) (adapter.Constants, error) {
	return adapter.Constants{SupplyVolts: 5, BiasOhms: 10_000, LoadOhms: b.loadOhms, DriveOhms: 145}, nil
}

// What the calibration says of the resistors is gone by: the same voltage across
// 1,050 Ω is a current smaller by a twenty-first (Ohm's law).
func TestCalibratedResistorsAreGoneBy(t *testing.T) {
	typ := open(t, "74LS00")
	c, err := logic.Compile(typ.Variant)
	require.NoError(t, err)
	s, err := stimulus.For(c)
	require.NoError(t, err)
	var currents []float64
	for _, ohms := range []float64{1_000, 1_050} {
		socket := virtual.NewSocket(chipOf(t, typ), 1)
		powerOn(socket, typ.Variant)
		l, err := levels.Measure(t.Context(), calibratedBench{meterBench{socket, 14}, ohms}, typ, s.Steps)
		require.NoError(t, err)
		currents = append(currents, reading(t, l, 1, levels.IIL).Value)
	}
	require.InDelta(t, currents[0]*20/21, currents[1], 1e-9)
}
