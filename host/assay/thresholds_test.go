package assay_test

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/assay/levels"
	"chipassay/host/assay/thresholds"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/protocol"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
)

// clipped is a whole assay of a chip, marked as a type, with a capacitor that is clipped to one input after
// the other; farads are its own, marked those that are printed on it.
func clipped(t *testing.T, marking, inside string, farads, marked float64, clip func(s *virtual.Socket, position int), defects ...string) *assay.Result {
	t.Helper()
	return clippedTo(t, chipOf(t, open(t, inside), defects...), open(t, marking), farads, marked, clip)
}

func clippedTo(t *testing.T, chip *virtual.Chip, typ part.Type, farads, marked float64, clip func(s *virtual.Socket, position int)) *assay.Result {
	t.Helper()
	return clippedAmong(t, nil, chip, typ, farads, marked, clip)
}

// clippedAmong knows the parts that may be in the socket instead.
func clippedAmong(t *testing.T, others proof.Others, chip *virtual.Chip, typ part.Type, farads, marked float64, clip func(s *virtual.Socket, position int)) *assay.Result {
	t.Helper()
	socket := virtual.NewSocket(chip, 1)
	conn, err := virtual.Open(t.Context(), socket)
	require.NoError(t, err)
	t.Cleanup(func() { conn.Close() })
	a, err := adapter.Open(t.Context(), link.New(conn, protocol.UsualRate))
	require.NoError(t, err)
	seat, err := a.SeatOf(typ.Variant)
	require.NoError(t, err)
	plan, err := assay.NewPlan(typ, others)
	require.NoError(t, err)
	if clip == nil {
		clip = func(s *virtual.Socket, position int) { s.Clip(virtual.Capacitor{Farads: farads, P: position}) }
	}
	plan.Thresholds = &thresholds.Request{Farads: marked, Clip: func(_ context.Context, pin int) error {
		socket.Unclip()
		if pin != 0 {
			clip(socket, adapter.PositionOf(pin, len(typ.Variant.Pins)))
		}
		return nil
	}}
	return assay.Run(t.Context(), seat, plan)
}

// The thresholds that are measured are those of the model, at each input, within the uncertainty that is stated and 30 mV:
// of Schmitt triggers the typical ones of the data sheets, of other inputs the middle of good chips'. Those in
// proportion to the supply are at 4.93 V. The capacitor's own tolerance is measured away.
func TestThresholdsOfFamilies(t *testing.T) {
	for _, c := range []struct {
		typ          string
		farads       float64
		inputs       int
		rising, fall float64 // V
		share        bool
	}{
		{"7414", 1e-6, 6, 1.7, 0.9, false},
		{"7414", 0.8e-6, 6, 1.7, 0.9, false}, // marked 1 µF
		{"7413", 1e-6, 8, 1.7, 0.9, false},
		{"74132", 1.2e-6, 8, 1.7, 0.9, false},
		{"74LS14", 1e-6, 6, 1.6, 0.8, false},
		{"74HC14", 1e-6, 6, 2.6, 1.6, true},
		{"4093B", 1e-6, 8, 2.9, 2.0, true},
		{"40106B", 0.47e-6, 6, 3.0, 2.2, true},
		{"4584B", 1e-6, 6, 2.7, 2.1, true},
		{"7400", 1e-6, 4, 1.35, 1.35, false},
		{"7401", 1e-6, 4, 1.35, 1.35, false},      // released outputs
		{"74LS244", 1e-6, 9, 1.175, 1.175, false}, // far pins, and an enable that serves four gates
		{"4011B", 1e-6, 4, 2.5, 2.5, true},
	} {
		marked := c.farads
		if math.Abs(marked/1e-6-1) < 0.3 {
			marked = 1e-6
		}
		r := clipped(t, c.typ, c.typ, c.farads, marked, nil)
		require.Equal(t, assay.Pass, r.Verdict, "%s: %s %v", c.typ, r.Reason, r.But)
		require.Len(t, r.Thresholds, c.inputs, "%s: %v", c.typ, r.NotTested)
		for _, in := range r.Thresholds {
			scale := 1.0
			if c.share {
				scale = in.SupplyVolts / 5
			}
			require.InDelta(t, c.rising*scale, in.Rising.Volts, in.Rising.Uncertainty+0.005, "%s pin %d rising", c.typ, in.Pin)
			require.InDelta(t, c.fall*scale, in.Falling.Volts, in.Falling.Uncertainty+0.005, "%s pin %d falling", c.typ, in.Pin)
			require.Less(t, in.Rising.Uncertainty+in.Falling.Uncertainty, 0.06, "%s pin %d", c.typ, in.Pin)
			require.InDelta(t, c.farads, in.Farads, 0.05*c.farads, "%s", c.typ)
		}
		for _, text := range r.NotTested {
			require.False(t, strings.HasPrefix(text, "input thresholds"), "%s: %s", c.typ, text)
		}
	}
}

// Of parts that remember, and of pins of both directions, the thresholds are the model's too; the clock of a ripple
// counter has the one of the edge that counts, a reset the one that resets, and what is missing is said.
func TestThresholdsOfPartsThatRemember(t *testing.T) {
	for _, c := range []struct {
		typ, defect string
		pin         int
		only        thresholds.Way
		rising      float64 // V
		falling     float64
		missing     string
		but         string
	}{
		{"4024B", "", 1, thresholds.OnlyFalling, 0, 2.2 * 4.94 / 5, "VT+ of pin 1 (CLK): no output follows the input as it rises", ""},
		{"7490", "2 threshold 2.3 V", 2, thresholds.OnlyRising, 2.3, 0, "", "pin 2 (R01): VT 2.30"},
		{"74LS373", "", 1, thresholds.Both, 1.175, 1.175, "", ""},
		{"8838", "15 no hysteresis", 15, thresholds.Both, 1.775, 1.775, "", "pin 15 (BUS1): too little hysteresis: it switches at 1.78 V as it rises and at 1.7"}, // 1.775 V is written either way,
		{"74HC7241", "2 no hysteresis", 2, thresholds.Both, 2.1 * 4.94 / 5, 2.1 * 4.94 / 5, "", "pin 2 (1A1): too little hysteresis: it switches at 2.07 V"},      // no data sheet at hand
	} {
		var defects []string
		if c.defect != "" {
			defects = append(defects, c.defect)
		}
		r := clipped(t, c.typ, c.typ, 1e-6, 1e-6, nil, defects...)
		at := slices.IndexFunc(r.Thresholds, func(in thresholds.Input) bool { return in.Pin == c.pin })
		require.GreaterOrEqual(t, at, 0, "%s: %v", c.typ, r.NotTested)
		in := r.Thresholds[at]
		require.Equal(t, c.only, in.Only, c.typ)
		require.InDelta(t, c.rising, in.Rising.Volts, in.Rising.Uncertainty+0.005, "%s %s rising", c.typ, c.defect)
		require.InDelta(t, c.falling, in.Falling.Volts, in.Falling.Uncertainty+0.005, "%s %s falling", c.typ, c.defect)
		require.Contains(t, strings.Join(r.NotTested, "; "), c.missing)
		require.Contains(t, strings.Join(r.But, "; "), c.but, "%s %s", c.typ, c.defect)
		require.Equal(t, c.but == "", r.Verdict == assay.Pass, "%s %s: %s %v", c.typ, c.defect, r.Verdict, r.But)
	}
}

// What the vectors do not show: a lost hysteresis, a drifted threshold, and inputs of another family.
func TestThresholdFaultsAreNamed(t *testing.T) {
	for _, c := range []struct {
		marking, inside, defect string
		verdict                 assay.Verdict
		but                     string
	}{
		{"7414", "7414", "5 no hysteresis", assay.PassBut, "pin 5 (3A): too little hysteresis: it switches at 1.3"},
		{"40106B", "40106B", "13 no hysteresis", assay.PassBut, "pin 13 (6A): too little hysteresis: it switches at 2.5"},
		{"7414", "7404", "", assay.PassBut, "pins 1 (1A), 3 (2A), 5 (3A), 9 (4A), 11 (5A) and 13 (6A): too little hysteresis"},
		{"74LS00", "74LS00", "4 threshold 2.4 V", assay.PassBut, "pin 4 (2A): VT 2."},
		{"74LS00", "74LS00", "4 threshold 1.6 V", assay.Pass, ""}, // between VIL and VIH
		{"4011B", "4011B", "8 threshold 1.2 V", assay.PassBut, "pin 8 (3A): VT 1.18"},
		{"74LS00", "74LS00", "4 threshold 2.4 V", assay.PassBut, "an input that has drifted, for others of the chip switch where they should"},
		{"74HC00", "74HCT00", "", assay.PassBut, "probably another family than marked (74HCT00, 74ACT00, 74ALS00), less likely inputs that have drifted"},
		{"74HC14", "74HCT14", "", assay.PassBut, "VT+ 1.58"},
		{"74HC14", "74HCT14", "", assay.PassBut, "V: probably another family than marked (74HCT14, 74ACT14), less likely"},
		{"74HC14", "74LS14", "", assay.PassBut, "probably another family than marked (7414, 74LS14"}, // whose inputs the bias does not pull down
	} {
		var defects []string
		if c.defect != "" {
			defects = []string{c.defect}
		}
		r := clipped(t, c.marking, c.inside, 1e-6, 1e-6, nil, defects...)
		require.Equal(t, c.verdict, r.Verdict, "%s, %s: %s", c.marking, c.defect, r.Reason)
		require.Contains(t, strings.Join(r.But, "; "), c.but, "%s, %s", c.marking, c.defect)
		if c.verdict == assay.PassBut {
			require.EqualValues(t, "doubtful", r.Grade)
		}
	}
}

// No vector tells a Schmitt trigger from the ordinary part on its pins; their thresholds do: 0.4 V of hysteresis or more, or none
// (SN7414, SN7404, MC14093B; data books, from memory). A bus driver that has some by its data sheet is none, nor is one input alone that has none.
func TestSchmittTriggersAndTheirTwins(t *testing.T) {
	for _, c := range []struct {
		marking, inside, defect string
		first                   string
	}{
		{"7414", "7404", "", "probably a 7404 (or "},
		{"7404", "7414", "", "probably a 7414 (or 7419), not a 7404: its inputs have 0.80 V"},
		{"7400", "74132", "", "probably a 74132"},
		{"4011B", "4093B", "", "probably a 4093, not a 4011B"},
		{"4093B", "4011B", "", "probably a 4011, not a 4093B: pins 1 (1A), 2 (1B)"},
		{"7414", "7414", "5 no hysteresis", "pin 5 (3A): too little hysteresis: it switches at 1.30 V as it rises"},
		{"7404", "7404", "", ""},
		{"74LS240", "74LS240", "", ""},
	} {
		var defects []string
		if c.defect != "" {
			defects = []string{c.defect}
		}
		r := clippedAmong(t, wholeLibrary, chipOf(t, open(t, c.inside), defects...), open(t, c.marking), 1e-6, 1e-6, nil)
		if c.first == "" {
			require.Equal(t, assay.Pass, r.Verdict, "%s: %s", c.marking, r.But)
			continue
		}
		require.Equal(t, assay.PassBut, r.Verdict, "%s in a %s: %s", c.inside, c.marking, r.Reason)
		require.Contains(t, r.But[0], c.first, "%s in a %s", c.inside, c.marking)
	}
}

// What hinders the measurement is said, and not held against the chip.
func TestCapacitorsThatAreNotAsTheyShouldBe(t *testing.T) {
	for _, c := range []struct {
		name   string
		marked float64
		clip   func(s *virtual.Socket, position int)
		why    string
	}{
		{"none", 1e-6, func(*virtual.Socket, int) {}, "is it clipped to the right pin"},
		{"ten times smaller", 1e-6, func(s *virtual.Socket, p int) { s.Clip(virtual.Capacitor{Farads: 1e-7, P: p}) }, "is it clipped to the right pin"},
		{"four times larger", 1e-6, func(s *virtual.Socket, p int) { s.Clip(virtual.Capacitor{Farads: 4e-6, P: p}) }, "capacitor"},
		{"at the next pin", 1e-6, func(s *virtual.Socket, p int) { s.Clip(virtual.Capacitor{Farads: 1e-6, P: p + 1}) }, "is it clipped to the right pin"},
		{"shorted", 1e-6, func(s *virtual.Socket, p int) { s.ClipResistor(virtual.Resistor{P: p, Ohms: 1}) }, "shorted to ground"},
	} {
		r := clipped(t, "74LS14", "74LS14", 1e-6, c.marked, c.clip)
		require.Equal(t, assay.Pass, r.Verdict, c.name)
		require.Empty(t, r.Thresholds, c.name)
		require.Contains(t, strings.Join(r.NotTested, "; "), c.why, c.name)
		require.Contains(t, strings.Join(r.NotTested, "; "), "input thresholds: the voltages at which an input switches", c.name)
	}
}

// A person who gives up leaves the verdict as it is.
func TestNobodyClips(t *testing.T) {
	typ := open(t, "7414")
	chip, err := virtual.NewChip(typ)
	require.NoError(t, err)
	a, seat, err := seatedOn(t.Context(), typ, chip)
	require.NoError(t, err)
	defer a.Close()
	plan, err := assay.NewPlan(typ, nil)
	require.NoError(t, err)
	plan.Thresholds = &thresholds.Request{Farads: 1e-6, Clip: func(context.Context, int) error { return errors.New("nobody pressed Enter") }}
	r := assay.Run(t.Context(), seat, plan)
	require.Equal(t, assay.Pass, r.Verdict)
	require.Contains(t, strings.Join(r.NotTested, "; "), "nobody pressed Enter")
}

// Judgements at the limits of a 7414: inside, too near by the uncertainty, and outside.
func TestThresholdsAtTheirLimits(t *testing.T) {
	typ := open(t, "7414")
	limits, known := typ.Schmitt(5)
	require.True(t, known)
	require.Equal(t, part.Band{Min: 1.5, Max: 2.0}, limits.Rising)
	for _, c := range []struct {
		rising, falling      float64
		up, down, hysteresis levels.Standing
	}{
		{1.7, 0.9, levels.Inside, levels.Inside, levels.Inside},
		{1.99, 0.9, levels.Near, levels.Inside, levels.Inside},
		{2.01, 0.9, levels.Near, levels.Inside, levels.Inside},
		{2.05, 0.9, levels.Outside, levels.Inside, levels.Inside},
		{1.45, 0.9, levels.Outside, levels.Inside, levels.Inside},
		{1.7, 1.15, levels.Inside, levels.Outside, levels.Inside},
		{1.7, 0.55, levels.Inside, levels.Outside, levels.Inside},
		{1.49, 1.1, levels.Near, levels.Near, levels.Near},
		{1.4, 1.2, levels.Outside, levels.Outside, levels.Outside},
	} {
		in := thresholds.Input{Pin: 1, Schmitt: true, Limited: true, Limits: limits, Rising: thresholds.Value{Volts: c.rising, Uncertainty: 0.02}, Falling: thresholds.Value{Volts: c.falling, Uncertainty: 0.02}}
		j := in.Judge(typ.Family)
		require.Equal(t, []levels.Standing{c.up, c.down, c.hysteresis}, []levels.Standing{j[0].Standing, j[1].Standing, j[2].Standing}, "%+v", c)
	}
}

// Of good chips of all kinds, by their resistors, gains and thresholds of their own, the switching point is measured
// within its uncertainty, for the die's ground and contacts of up to 2 Ω 25 mV more.
func TestThresholdsOfVarieties(t *testing.T) {
	for _, name := range []string{"7400", "74LS00", "74S04", "4011B", "74HC00", "74HCT00"} {
		for seed := range uint64(4) {
			typ := open(t, name)
			chip := chipOf(t, typ)
			v := virtual.Sampled(typ, seed)
			chip.Vary(v)
			r := clippedTo(t, chip, typ, 1e-6, 1e-6, nil)
			require.NotEmpty(t, r.Thresholds, "%s, seed %d: %s %v", name, seed, r.Reason, r.NotTested)
			for _, in := range r.Thresholds {
				want := v.Threshold
				if typ.Family.Technology == part.CMOS {
					want *= in.SupplyVolts / 5
				}
				require.InDelta(t, want, in.Rising.Volts, in.Rising.Uncertainty+0.025, "%s, seed %d, pin %d rising", name, seed, in.Pin)
				require.InDelta(t, want, in.Falling.Volts, in.Falling.Uncertainty+0.025, "%s, seed %d, pin %d falling", name, seed, in.Pin)
				require.Less(t, in.Rising.Uncertainty, 0.04, "%s, seed %d", name, seed)
			}
		}
	}
}
