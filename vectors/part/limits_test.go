package part_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/part"
)

// How the tables below name their sources: a sheet by its type, its number and its
// page where one was read ("read"); else the type whose sheet prints the row, from
// memory. Columns are the data books': a current out of a pin is negative there and
// positive here.

// Recommended operating conditions and input currents.
var inputLimits = []struct {
	family    string
	low, high float64 // V, supply
	vih, vil  float64 // V, min and max
	iih, iil  float64 // µA and mA, max
	source    string
}{
	//           VCC         VIH   VIL   IIH  IIL
	{"74", 4.75, 5.25, 2.0, 0.8, 40, 1.6, "DM7402, DS006492, p. 2, read"},
	{"74H", 4.75, 5.25, 2.0, 0.8, 50, 2.0, "SN74H00, from memory"},
	{"74L", 4.75, 5.25, 2.0, 0.7, 10, 0.18, "SN74L00, from memory"},
	{"74S", 4.75, 5.25, 2.0, 0.8, 50, 2.0, "DM74S00, DS006489, p. 2, read; IIH and IIL from memory"},
	// DS006439 gives IIL of 0.36 mA for its own DM74LS00; the family's is 0.4 mA.
	{"74LS", 4.75, 5.25, 2.0, 0.8, 20, 0.4, "SN74LS00, SDLS025B, p. 5, read"},
	{"74ALS", 4.5, 5.5, 2.0, 0.8, 20, 0.1, "SN74ALS00A, SDAS187A, p. 2, read; currents IN74ALS240A, p. 2, read"},
	{"74AS", 4.5, 5.5, 2.0, 0.8, 20, 0.5, "SN74AS1008A, SDAS071B, p. 2, read"},
	// Later sheets, such as 74F373's, give IIH of 5 µA.
	{"74F", 4.5, 5.5, 2.0, 0.8, 20, 0.6, "N74F00, 4 October 1990, p. 3, read"},
	{"74BCT", 4.5, 5.5, 2.0, 0.8, 20, 1.0, "SN74BCT240, from memory"},
	// VIL and the currents at 4.5 V, 6 V and 85 °C; VIH see TestHCInputsAt5V.
	{"74HC", 2.0, 6.0, 3.5, 1.35, 1, 0.001, "MM74HC04, p. 3, read"},
	{"74HCT", 4.5, 5.5, 2.0, 0.8, 1, 0.001, "CD74HCT21, read"},
	// VIH see TestHCInputsAt5V.
	{"74AC", 2.0, 6.0, 3.5, 1.35, 1, 0.001, "MC74AC32, DC characteristics, read"},
	{"74ACT", 4.5, 5.5, 2.0, 0.8, 1, 0.001, "74ACT08, STMicroelectronics, DC specifications, read"},
	{"74C", 3, 15, 3.5, 1.5, 1, 0.001, "MM74C00, DS005877, p. 2, read"},
	// 25 °C. CD4001B prints 0.1 µA at 18 V, from memory.
	{"4000B", 3, 15, 3.5, 1.5, 0.3, 0.0003, "CD4001BC and CD4011BC, TL/F/5939, read"},
	// Noise immunity 1.5 V at 5 V and 25 °C; the input current there is 10 pA typical, and its maximum not printed.
	{"4000A", 3, 12, 3.5, 1.5, 0.3, 0.0003, "CD4002C and CD4012C, National, DC electrical characteristics, read"},
	{"4000UB", 3, 15, 4.0, 1.0, 0.3, 0.0003, "CD4069UBC, TL/F/5975, read"},
	// Over 0 to 75 °C, as the MC830 series prints VIH at 0 °C and VIL at 75 °C; IIL is the military
	// range's. The NTE9936 runs on 4.5 to 5.5 V, read.
	{"DTL", 4.5, 5.5, 2.0, 0.95, 5, 1.6, "MC830 and MC930 series, from memory"},
}

func TestInputLimits(t *testing.T) {
	require.Len(t, inputLimits, len(part.Families))
	for i, c := range inputLimits {
		f := part.FamilyByName(c.family)
		require.Same(t, part.Families[i], f)
		require.InDelta(t, c.vih, f.VIH, 1e-9, "%s VIH, %s", c.family, c.source)
		require.InDelta(t, c.vil, f.VIL, 1e-9, "%s VIL, %s", c.family, c.source)
		require.InDelta(t, c.iih, f.IIH*1000, 1e-9, "%s IIH, %s", c.family, c.source)
		require.InDelta(t, c.iil, f.IIL, 1e-9, "%s IIL, %s", c.family, c.source)

		// The least supply of the bench, which no load pulls down, is one the family works at.
		bench := part.PullUp(f, 0, 1).Volts
		require.LessOrEqual(t, c.low, bench, c.family)
		require.Less(t, bench, c.high, c.family)
	}
}

// Output levels, and the currents at which they hold.
var outputLimits = []struct {
	family   string
	drive    part.Drive
	vol, iol float64 // V max, mA
	voh, ioh float64 // V min, mA
	source   string
}{
	//                                 VOL   IOL   VOH   IOH
	{"74", part.StandardDrive, 0.4, 16, 2.4, 0.4, "DM7402, DS006492, p. 2, read"},
	{"74", part.BufferDrive, 0.4, 48, 2.4, 1.2, "IN7440, p. 2, read"},
	{"74", part.BusDrive, 0.4, 16, 2.4, 5.2, "SN74125, from memory; SN74365A sinks 32 mA"},
	{"74H", part.StandardDrive, 0.4, 20, 2.4, 0.5, "SN74H00, from memory"},
	{"74H", part.BufferDrive, 0.4, 60, 2.4, 1.5, "SN74H40, from memory"},
	{"74H", part.BusDrive, 0.4, 20, 2.4, 0.5, "no such type: the gate's"},
	{"74L", part.StandardDrive, 0.4, 3.6, 2.4, 0.2, "SN74L00, from memory"},
	{"74L", part.BufferDrive, 0.4, 3.6, 2.4, 0.2, "no such type: the gate's"},
	{"74L", part.BusDrive, 0.4, 3.6, 2.4, 0.2, "no such type: the gate's"},
	{"74S", part.StandardDrive, 0.5, 20, 2.7, 1.0, "DM74S02, DS006490, p. 2, read; VOL from memory"},
	{"74S", part.BufferDrive, 0.5, 60, 2.7, 3.0, "DM74S140, DS006467, p. 2, read"},
	// SN74S373 sinks 20 mA at 0.5 V, from memory.
	{"74S", part.BusDrive, 0.55, 64, 2.4, 3.0, "SN74S240, from memory"},
	// The other pair of all LS sheets is 0.4 V at half the current.
	{"74LS", part.StandardDrive, 0.5, 8, 2.7, 0.4, "SN74LS00, SDLS025B, p. 5, and DM74LS00, DS006439, p. 2, read"},
	{"74LS", part.BufferDrive, 0.5, 24, 2.7, 1.2, "SN74LS37, from memory"},
	// DM74LS240: 2.4 V at 3 mA, read.
	{"74LS", part.BusDrive, 0.5, 24, 2.4, 2.6, "DM74LS367A, p. 2, read"},
	// VOH of ALS and AS is VCC - 2 V, here at 4.75 V.
	{"74ALS", part.StandardDrive, 0.5, 8, 4.75 - 2, 0.4, "SN74ALS00A, SDAS187A, p. 2, currents read; levels from memory"},
	{"74ALS", part.BufferDrive, 0.5, 24, 2.4, 2.6, "DV74ALS1011A, read"},
	{"74ALS", part.BusDrive, 0.5, 24, 2.4, 3.0, "IN74ALS240A, read"},
	{"74AS", part.StandardDrive, 0.5, 20, 4.75 - 2, 2.0, "SN74AS00, SDAS187A, p. 4, currents read; VOH SN74AS240A, read; VOL from memory"},
	{"74AS", part.BufferDrive, 0.5, 48, 2.4, 3.0, "SN74AS1008A, SDAS071B, p. 2, read; 2.0 V at 48 mA"},
	// SN74AS373 sinks 48 mA at 0.5 V, from memory.
	{"74AS", part.BusDrive, 0.55, 64, 2.4, 3.0, "SN74AS240A, SDAS214E, p. 5, read"},
	{"74F", part.StandardDrive, 0.5, 20, 2.7, 1.0, "N74F00, 4 October 1990, p. 3, at 5 V ± 5 %, read; 2.5 V at ± 10 %"},
	{"74F", part.BufferDrive, 0.55, 64, 2.7, 3.0, "N74F37, p. 2, IOL read; the rest from memory"},
	// 74F373: 0.5 V at 24 mA, and 2.4 V at 3 mA for ± 10 %, read.
	{"74F", part.BusDrive, 0.55, 64, 2.4, 3.0, "MC74F240, p. 4-109, IOL read; the rest from memory"},
	{"74BCT", part.StandardDrive, 0.5, 20, 2.7, 1.0, "SN74BCT543, from memory"},
	{"74BCT", part.BufferDrive, 0.5, 48, 2.4, 3.0, "SN74BCT25244, from memory"},
	{"74BCT", part.BusDrive, 0.55, 64, 2.4, 3.0, "SN74BCT240, from memory"},
	// 4.5 V and 85 °C; at 25 °C 0.26 V and 3.98 V.
	{"74HC", part.StandardDrive, 0.33, 4, 3.84, 4, "MM74HC04, p. 3, read"},
	{"74HC", part.BufferDrive, 0.33, 6, 3.84, 6, "MC74HC240A, p. 3, read"},
	{"74HC", part.BusDrive, 0.33, 6, 3.84, 6, "MC74HC240A, p. 3, read"},
	{"74HCT", part.StandardDrive, 0.33, 4, 3.84, 4, "MM74HCT00, p. 2, and CD74HCT21, read"},
	{"74HCT", part.BufferDrive, 0.33, 6, 3.84, 6, "MM74HCT240, 6 mA read; levels from memory"},
	{"74HCT", part.BusDrive, 0.33, 6, 3.84, 6, "MM74HCT240, 6 mA read; levels from memory"},
	// 4.5 V and 85 °C; at 25 °C 0.36 V and 3.86 V. All outputs of these families are alike.
	{"74AC", part.StandardDrive, 0.44, 24, 3.76, 24, "MC74AC32, DC characteristics, read"},
	{"74AC", part.BufferDrive, 0.44, 24, 3.76, 24, "MC74AC32, DC characteristics, read"},
	{"74AC", part.BusDrive, 0.44, 24, 3.76, 24, "MC74AC32, DC characteristics, read"},
	{"74ACT", part.StandardDrive, 0.44, 24, 3.76, 24, "SN74ACT00, SCAS523D, p. 3, read"},
	{"74ACT", part.BufferDrive, 0.44, 24, 3.76, 24, "SN74ACT00, SCAS523D, p. 3, read"},
	{"74ACT", part.BusDrive, 0.44, 24, 3.76, 24, "SN74ACT00, SCAS523D, p. 3, read"},
	{"74C", part.StandardDrive, 0.4, 0.36, 2.4, 0.36, "MM74C00, DS005877, p. 2, read"},
	// The stronger ones are not told apart: MM74C240 gives 2.2 mA both ways, read.
	{"74C", part.BufferDrive, 0.4, 0.36, 2.4, 0.36, "the gate's, MM74C00"},
	{"74C", part.BusDrive, 0.4, 0.36, 2.4, 0.36, "the gate's, MM74C00"},
	// 25 °C. CD4001B prints 0.51 mA, from memory; CD4008BC and BU4011B, read, an
	// IOH of 0.16 mA: not every maker's B series has symmetrical outputs.
	{"4000B", part.StandardDrive, 0.4, 0.44, 4.6, 0.44, "CD4001BC, TL/F/5939, read"},
	// CD4049UBC: 4.0 mA at 25 °C, 3.2 mA at 85 °C, read; CD4049UB: 3.2 mA at 25 °C, from memory.
	{"4000B", part.BufferDrive, 0.4, 3.2, 4.6, 0.44, "CD4050BC, TL/F/5971; IOH HEF4049B, table 6, read"},
	{"4000B", part.BusDrive, 0.4, 0.44, 4.6, 0.44, "CD4514BC, read; HEF40240B sinks more, read"},
	// The least of CD4002C and CD4012C at 25 °C; the 4002 gives 0.3 mA both ways.
	{"4000A", part.StandardDrive, 0.4, 0.12, 2.5, 0.12, "CD4012C, National, DC electrical characteristics, read"},
	{"4000A", part.BufferDrive, 0.4, 3.0, 2.5, 1.25, "CD4049A, from memory"},
	{"4000A", part.BusDrive, 0.4, 0.12, 2.5, 0.12, "no such type: the gate's"},
	{"4000UB", part.StandardDrive, 0.4, 0.44, 4.6, 0.44, "CD4069UBC, TL/F/5975, read"},
	{"4000UB", part.BufferDrive, 0.4, 3.2, 4.6, 0.44, "CD4049UBC, TL/F/5971; IOH as of the 4000B"},
	{"4000UB", part.BusDrive, 0.4, 0.44, 4.6, 0.44, "no such type: the gate's"},
	// The high is that of a resistor: 0.12 mA through 6 kΩ and 0.5 mA through 2 kΩ.
	{"DTL", part.StandardDrive, 0.45, 12, 2.6, 0.12, "MC846, from memory"},
	{"DTL", part.BufferDrive, 0.45, 36, 2.6, 2.5, "MC832 and MC844, from memory"},
	{"DTL", part.BusDrive, 0.45, 11, 2.6, 0.5, "MC849, from memory; MC1489, ST, 2003: 0.45 V at 10 mA and 2.5 V at 0.5 mA, read"},
}

func TestOutputLimits(t *testing.T) {
	require.Len(t, outputLimits, 3*len(part.Families))
	for i, c := range outputLimits {
		f := part.FamilyByName(c.family)
		require.Same(t, part.Families[i/3], f)
		require.Equal(t, part.Drive(i%3), c.drive)
		want := part.OutputLimits{VOL: c.vol, IOL: c.iol, VOH: c.voh, IOH: c.ioh}
		require.Equal(t, want, f.Output[c.drive], "%s %s, %s", c.family, c.drive, c.source)
	}
}

// 74HC sheets have rows at 4.5 V (3.15 V, 1.35 V) and 6 V (4.2 V, 1.8 V), MM74HC04,
// p. 3, read. A chip at 5 V stands between them, and must be given the stricter of
// what its sheet says there and at the 4.5 V that a sagging supply may have.
func TestHCInputsAt5V(t *testing.T) {
	between := func(at45, at6 float64) float64 { return at45 + (at6-at45)*(5-4.5)/(6-4.5) }
	f := part.FamilyByName("74HC")
	require.InDelta(t, max(3.15, between(3.15, 4.2)), f.VIH, 1e-9)
	require.InDelta(t, min(1.35, between(1.35, 1.8)), f.VIL, 1e-9)
	ac := part.FamilyByName("74AC") // rows at 4.5 V and 5.5 V, MC74AC32, DC characteristics, read
	require.InDelta(t, max(3.15, 3.15+(3.85-3.15)*(5-4.5)), ac.VIH, 1e-9)
	require.InDelta(t, min(1.35, 1.35+(1.65-1.35)*(5-4.5)), ac.VIL, 1e-9)
	require.InDelta(t, 5-0.3*5, f.VIH, 1e-9, "CD74HC240, SCHS167E, p. 1, read: NIH 30 % of VCC at 5 V")
}

// Noise margins as published, V: VIL less VOL, and VOH less VIH.
func TestNoiseMargins(t *testing.T) {
	for _, c := range []struct {
		from, to  string
		drive     part.Drive
		low, high float64
		source    string
	}{
		{"74", "74", part.StandardDrive, 0.4, 0.4, "common practice: 400 mV"},
		{"74H", "74H", part.StandardDrive, 0.4, 0.4, "Oscillators and Advanced Electronics Topics, p. 1159, table 16.1, read"},
		{"74L", "74L", part.StandardDrive, 0.3, 0.4, "from memory"},
		{"74S", "74S", part.StandardDrive, 0.3, 0.7, "from memory"},
		{"74LS", "74LS", part.StandardDrive, 0.3, 0.7, "Oscillators and Advanced Electronics Topics, p. 1159, table 16.1, read"},
		{"74F", "74F", part.StandardDrive, 0.3, 0.7, "from memory"},
		{"74", "74LS", part.StandardDrive, 0.4, 0.4, "from memory"},
		{"74LS", "74", part.StandardDrive, 0.3, 0.7, "from memory"},
		{"74LS", "74HCT", part.StandardDrive, 0.3, 0.7, "from memory: HCT has the TTL levels"},
		{"DTL", "DTL", part.StandardDrive, 0.5, 0.6, "from memory: 500 mV and more"},
		{"74HCT", "74LS", part.StandardDrive, 0.8 - 0.33, 3.84 - 2.0, "CD74HCT21, read"},
	} {
		low, high := noiseMargin(c.from, c.to, c.drive)
		require.InDelta(t, c.low, low, 1e-9, "%s to %s, %s", c.from, c.to, c.source)
		require.InDelta(t, c.high, high, 1e-9, "%s to %s, %s", c.from, c.to, c.source)
	}
	for _, name := range []string{"74LS", "74S"} {
		_, high := noiseMargin(name, name, part.BusDrive)
		require.InDelta(t, 0.4, high, 1e-9, "%s240, SDLS144B, p. 1, read: 400-mV noise margin", name)
	}
}

func noiseMargin(from, to string, d part.Drive) (low, high float64) {
	o, in := part.FamilyByName(from).Output[d], part.FamilyByName(to)
	return in.VIL - o.VOL, o.VOH - in.VIH
}

// Among themselves CMOS outputs are hardly loaded, and margins are published for that.
func TestNoiseMarginsOfUnloadedCMOS(t *testing.T) {
	for _, c := range []struct {
		family    string
		vol, voh  float64 // V, at 10 or 20 µA or by definition of the input levels
		low, high float64
		source    string
	}{
		{"74HC", 0.1, 5 - 0.1, 1.25, 1.4, "table 16.1 above, read: 1.25 V; the high one there at 4.5 V, 1.4 V at 5 V"},
		{"74C", 0.5, 4.5, 1, 1, "MM74C00, DS005877, p. 1, read: guaranteed noise margin 1 V"},
		{"4000B", 0.5, 4.5, 1, 1, "CD4001BMS, November 1994, p. 1, read: 1 V at 5 V over the temperature range"},
		{"4000UB", 0.5, 4.5, 0.5, 0.5, "from memory: half of the buffered ones'"},
	} {
		f := part.FamilyByName(c.family)
		require.InDelta(t, c.low, f.VIL-c.vol, 1e-9, "%s, %s", c.family, c.source)
		require.InDelta(t, c.high, c.voh-f.VIH, 1e-9, "%s, %s", c.family, c.source)
	}
}

// Common practice: any TTL output, and any HCT output, drives any TTL or HCT input
// with at least 0.4 V to spare when high and 0.3 V when low, but for the 74L with its
// lower VIL, where it is 0.2 V. A TTL high reaches no CMOS input without a pull-up.
func TestFamiliesWithTTLLevelsInterface(t *testing.T) {
	for _, from := range part.Families {
		for _, to := range part.Families {
			low, high := noiseMargin(from.Name, to.Name, part.StandardDrive)
			switch {
			case to.Technology == part.CMOS && from.Technology.Bipolar():
				require.Negative(t, high, "%s to %s", from.Name, to.Name)
			case to.Technology != part.CMOS && from.Technology != part.CMOS:
				least := 0.3
				if to.Name == "74L" {
					least = 0.2
				}
				require.GreaterOrEqual(t, low, least-1e-9, "%s to %s", from.Name, to.Name)
				require.GreaterOrEqual(t, high, 0.4-1e-9, "%s to %s", from.Name, to.Name)
			}
		}
	}
}

// Fan-outs as published: how many inputs an output drives low, and high; 0 where
// the source gives one of the two only.
func TestFanOut(t *testing.T) {
	for _, c := range []struct {
		from      string
		drive     part.Drive
		to        string
		low, high int
		source    string
	}{
		{"74", part.StandardDrive, "74", 10, 10, "common practice: 16/1.6 mA, 400/40 µA"},
		{"DTL", part.StandardDrive, "DTL", 7, 24, "from memory: 8 of the commercial range's 1.4 mA"},
		{"74", part.StandardDrive, "74L", 88, 40, "from memory: 40, the high level decides"},
		{"74H", part.StandardDrive, "74H", 10, 10, "Oscillators and Advanced Electronics Topics, p. 1159, table 16.1, read"},
		{"74L", part.StandardDrive, "74L", 20, 20, "from memory"},
		{"74S", part.StandardDrive, "74S", 10, 20, "from memory"},
		{"74LS", part.StandardDrive, "74LS", 20, 20, "table 16.1 above, read"},
		{"74LS", part.StandardDrive, "74", 5, 10, "Low Power Schottky TTL Logic Levels, twysted-pair.com/74lsxx.htm, read: 5"},
		{"74LS", part.BusDrive, "74", 15, 65, "SN74LS374, p. 5-521, read: 65 and 15 unit loads of 40 µA and 1.6 mA"},
		{"74ALS", part.StandardDrive, "74ALS", 80, 20, "74ALS38A, p. 2, read: loads of 20 µA and 0.1 mA"},
		{"74AS", part.StandardDrive, "74AS", 40, 100, "from memory"},
		{"74F", part.StandardDrive, "74F", 33, 50, "N74F00, from memory: 50/33.3 unit loads"},
		{"74F", part.BufferDrive, "74F", 106, 0, "74F40, read: 106.7 unit loads of 0.6 mA; its 750 when high hold at 2.0 V"},
		{"74HC", part.StandardDrive, "74LS", 10, 0, "M74HC696, p. 1, read: 10 LSTTL loads, RCO"},
		{"74HC", part.BusDrive, "74LS", 15, 0, "M74HC696 and SN74HC240, SCLS128D, p. 1, read: 15 LSTTL loads"},
		{"74HCT", part.BusDrive, "74LS", 15, 0, "MM74HCT240, p. 1, read"},
		{"74C", part.StandardDrive, "74L", 2, 0, "MM74C00, DS005877, p. 1, read"},
		{"4000B", part.StandardDrive, "74L", 2, 0, "CD4001BC, TL/F/5939, p. 1, read"},
		{"4000B", part.StandardDrive, "74LS", 1, 0, "CD4001BC, TL/F/5939, p. 1, read"},
		{"4000B", part.BufferDrive, "74", 2, 0, "CD4050BC, DS005971, p. 1, read: 2 TTL loads"},
	} {
		o, in := part.FamilyByName(c.from).Output[c.drive], part.FamilyByName(c.to)
		require.Equal(t, c.low, int(o.IOL/in.IIL+1e-9), "%s %s to %s low, %s", c.from, c.drive, c.to, c.source)
		if c.high != 0 {
			require.Equal(t, c.high, int(o.IOH/in.IIH+1e-9), "%s %s to %s high, %s", c.from, c.drive, c.to, c.source)
		}
	}
}

// A Darlington driver is in no table of logic levels: what its sheet gives instead.
func TestDarlingtonLimits(t *testing.T) {
	f := part.FamilyByName("darlington")
	require.Same(t, part.DriverFamilies[0], f)
	require.Equal(t, 2.4, f.VIH, "ULN2003A: VI(on) for 200 mA, from memory")
	require.Less(t, f.VIL, 2*0.65, "two junctions")
	// 1.35 mA at 3.85 V, ULN2003A, onsemi, read: at 5 V more, by what is across 2.7 kΩ.
	require.InDelta(t, 1.35*(5-1.3)/(3.85-1.3), f.IIH, 0.02)
	for _, o := range f.Output {
		require.Equal(t, part.OutputLimits{VOL: 1.1, IOL: 100, VOH: o.VOH}, o, "ULN2003APG, VCE(sat) at 100 mA and 250 µA, read")
	}
}

// A timer's sheet gives no logic levels but those of RESET and of its output.
func TestTimerLimits(t *testing.T) {
	f := part.FamilyByName("timer")
	require.Equal(t, "555", f.TypeName("555"))
	// NE555, SLFS022, February 1992, p. 6, 25 °C, 5 V, read: RESET voltage level 0.3 to 1 V, RESET current
	// 0.4 mA at VCC and 1.5 mA at 0 V; low 0.4 V at 8 mA; high 2.75 V at 100 mA, of which a bench loads 5.
	require.Equal(t, [4]float64{1, 0.3, 0.4, 1.5}, [4]float64{f.VIH, f.VIL, f.IIH, f.IIL})
	for _, o := range f.Output {
		require.Equal(t, part.OutputLimits{VOL: 0.4, IOL: 8, VOH: 2.75, IOH: 5}, o)
	}
}
