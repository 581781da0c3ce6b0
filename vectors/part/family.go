package part

import (
	"slices"
	"strings"
)

// A Technology is how a family's inputs and outputs behave electrically.
type Technology uint8

// The technologies, as far as pins of the families differ.
const (
	TTL        Technology = iota // multi-emitter inputs: 74, 74H, 74L, 74S
	TTLDiode                     // diode or PNP inputs: 74LS, 74ALS, 74AS, 74F, 74BCT
	CMOS                         // CMOS input levels: 4000A, 4000B, 4000UB, 74C, 74HC, 74AC
	CMOSTTL                      // CMOS with TTL input levels: 74HCT, 74ACT, and memories
	NMOS                         // N-channel MOS with TTL levels: memories
	DTL                          // diode inputs, saturated outputs with a resistor to VCC: the 930 series
	Darlington                   // bases behind resistors, which take current when high, and open collectors
)

// Bipolar reports whether the family's inputs source current when held low.
func (t Technology) Bipolar() bool { return t == TTL || t == TTLDiode || t == DTL }

// A Drive is an output's class in its family's DC table.
type Drive uint8

// The output classes.
const (
	StandardDrive Drive = iota
	BufferDrive
	BusDrive
)

func (d Drive) String() string { return [...]string{"standard", "buffer", "bus"}[d] }

// OutputLimits are the rated output levels of one output class.
type OutputLimits struct {
	VOL float64 // V, max at IOL
	IOL float64 // mA
	VOH float64 // V, min at IOH
	IOH float64 // mA, flowing out of the pin, as a positive number
}

// A Family is a logic family with its DC limits at a 5 V supply over the
// commercial temperature range, or at the conditions its Source names.
type Family struct {
	Name       string // "74LS"
	Title      string
	Technology Technology
	VIH, VIL   float64 // V
	IIH        float64 // mA, max into an input held high, one unit load
	IIL        float64 // mA, max out of an input held low, one unit load, as a positive number
	Output     [3]OutputLimits
	Source     string
}

// Families are the logic families that definitions may name, in the order of the data books.
//
// Source: from memory of the families' data books; 74 to 74F at VCC = 4.75 V,
// 74HC, 74HCT, 74AC and 74ACT at 4.5 V and 85 °C, 4000 series and 74C at 5 V and 25 °C. The VIH
// of 74HC and 74AC is that at 5 V, 0.7 of the supply: the 3.15 V of its row at 4.5 V is no
// high for a chip at 5 V. The 4000 series has the limits of its commercial grade,
// 0.44 mA and 0.3 µA; the 0.51 mA and 0.1 µA of other sheets are the military grade's.
var Families = []*Family{
	//                                                         VIH   VIL   IIH    IIL       standard VOL IOL VOH IOH        buffer                  bus
	{"74", "standard TTL", TTL, 2.0, 0.8, 0.040, 1.6, [3]OutputLimits{{0.4, 16, 2.4, 0.4}, {0.4, 48, 2.4, 1.2}, {0.4, 16, 2.4, 5.2}}, memory},
	{"74H", "high-speed TTL", TTL, 2.0, 0.8, 0.050, 2.0, [3]OutputLimits{{0.4, 20, 2.4, 0.5}, {0.4, 60, 2.4, 1.5}, {0.4, 20, 2.4, 0.5}}, memory},
	{"74L", "low-power TTL", TTL, 2.0, 0.7, 0.010, 0.18, [3]OutputLimits{{0.4, 3.6, 2.4, 0.2}, {0.4, 3.6, 2.4, 0.2}, {0.4, 3.6, 2.4, 0.2}}, memory},
	{"74S", "Schottky TTL", TTL, 2.0, 0.8, 0.050, 2.0, [3]OutputLimits{{0.5, 20, 2.7, 1.0}, {0.5, 60, 2.7, 3.0}, {0.55, 64, 2.4, 3.0}}, memory},
	{"74LS", "low-power Schottky TTL", TTLDiode, 2.0, 0.8, 0.020, 0.4, [3]OutputLimits{{0.5, 8, 2.7, 0.4}, {0.5, 24, 2.7, 1.2}, {0.5, 24, 2.4, 2.6}}, memory},
	{"74ALS", "advanced low-power Schottky TTL", TTLDiode, 2.0, 0.8, 0.020, 0.1, [3]OutputLimits{{0.5, 8, 2.75, 0.4}, {0.5, 24, 2.4, 2.6}, {0.5, 24, 2.4, 3.0}}, memory},
	{"74AS", "advanced Schottky TTL", TTLDiode, 2.0, 0.8, 0.020, 0.5, [3]OutputLimits{{0.5, 20, 2.75, 2.0}, {0.5, 48, 2.4, 3.0}, {0.55, 64, 2.4, 3.0}}, memory},
	{"74F", "fast TTL", TTLDiode, 2.0, 0.8, 0.020, 0.6, [3]OutputLimits{{0.5, 20, 2.7, 1.0}, {0.55, 64, 2.7, 3.0}, {0.55, 64, 2.4, 3.0}}, memory},
	{"74BCT", "bipolar and CMOS bus drivers", TTLDiode, 2.0, 0.8, 0.020, 1.0, [3]OutputLimits{{0.5, 20, 2.7, 1.0}, {0.5, 48, 2.4, 3.0}, {0.55, 64, 2.4, 3.0}}, memory},
	{"74HC", "high-speed CMOS", CMOS, 3.5, 1.35, 0.001, 0.001, [3]OutputLimits{{0.33, 4, 3.84, 4}, {0.33, 6, 3.84, 6}, {0.33, 6, 3.84, 6}}, memory},
	{"74HCT", "high-speed CMOS, TTL levels", CMOSTTL, 2.0, 0.8, 0.001, 0.001, [3]OutputLimits{{0.33, 4, 3.84, 4}, {0.33, 6, 3.84, 6}, {0.33, 6, 3.84, 6}}, memory},
	{"74AC", "advanced CMOS", CMOS, 3.5, 1.35, 0.001, 0.001, [3]OutputLimits{{0.44, 24, 3.76, 24}, {0.44, 24, 3.76, 24}, {0.44, 24, 3.76, 24}}, memory},
	{"74ACT", "advanced CMOS, TTL levels", CMOSTTL, 2.0, 0.8, 0.001, 0.001, [3]OutputLimits{{0.44, 24, 3.76, 24}, {0.44, 24, 3.76, 24}, {0.44, 24, 3.76, 24}}, memory},
	{"74C", "metal-gate CMOS, 7400 pinout", CMOS, 3.5, 1.5, 0.001, 0.001, [3]OutputLimits{{0.4, 0.36, 2.4, 0.36}, {0.4, 0.36, 2.4, 0.36}, {0.4, 0.36, 2.4, 0.36}}, memory},
	{"4000B", "CMOS, buffered", CMOS, 3.5, 1.5, 0.0003, 0.0003, [3]OutputLimits{{0.4, 0.44, 4.6, 0.44}, {0.4, 3.2, 4.6, 0.44}, {0.4, 0.44, 4.6, 0.44}}, memory},
	// The weakest gates of the A series, for 3 to 12 V; the later standard of the B series does not bind them.
	{"4000A", "CMOS, first series", CMOS, 3.5, 1.5, 0.0003, 0.0003, [3]OutputLimits{{0.4, 0.12, 2.5, 0.12}, {0.4, 3.0, 2.5, 1.25}, {0.4, 0.12, 2.5, 0.12}}, memory},
	{"4000UB", "CMOS, unbuffered", CMOS, 4.0, 1.0, 0.0003, 0.0003, [3]OutputLimits{{0.4, 0.44, 4.6, 0.44}, {0.4, 3.2, 4.6, 0.44}, {0.4, 0.44, 4.6, 0.44}}, memory},
	// Its classes are what stands at the output: a pull-up of 6 kΩ, a power gate's or buffer's stage, a pull-up of 2 kΩ.
	{"DTL", "diode-transistor logic", DTL, 2.0, 0.95, 0.005, 1.6, [3]OutputLimits{{0.45, 12, 2.6, 0.12}, {0.45, 36, 2.6, 2.5}, {0.45, 11, 2.6, 0.5}}, memory},
}

// MemoryFamilies are the families of memories that are marked with their number
// alone. Bipolar memories with 7400 numbers are of the families 74, 74S and 74LS.
// Their classes are not those of logic: standard is what every part keeps, buffer
// the 4-bit static RAM of 1,024 words and what came after it, bus the 64K dynamic RAM.
//
// Source: from memory of the memory data books, 0 to 70 °C: VIH and VIL are the
// strictest of the parts in the library (dynamic RAM, and the first static RAM).
var MemoryFamilies = []*Family{
	{"TTL", "bipolar memory", TTLDiode, 2.0, 0.8, 0.040, 0.4, [3]OutputLimits{{0.5, 16, 2.4, 2.0}, {0.5, 16, 2.4, 2.0}, {0.5, 16, 2.4, 2.0}}, memory},
	{"NMOS", "N-channel MOS memory", NMOS, 2.4, 0.65, 0.010, 0.010, [3]OutputLimits{{0.45, 1.9, 2.2, 0.1}, {0.4, 2.1, 2.4, 1.0}, {0.4, 4.2, 2.4, 5.0}}, memory},
	{"CMOS", "CMOS memory", CMOSTTL, 2.2, 0.65, 0.010, 0.010, [3]OutputLimits{{0.4, 2.0, 2.4, 0.4}, {0.4, 2.1, 2.4, 1.0}, {0.4, 4.2, 2.4, 5.0}}, memory},
}

// DriverFamilies are the families of drivers that are no logic family's, which are marked
// with their number alone.
//
// A Darlington driver's sheet gives input currents and saturation voltages, and no VIL: two
// junctions above its emitters nothing flows. IIH is the 1.35 mA of 3.85 V behind 2.7 kΩ at
// the 5 V of the bench, VIH what turns on 200 mA. VOL is that of 100 mA. Classes differ in nothing.
//
// Source: ULN2003A, from memory.
var DriverFamilies = []*Family{
	{"DARLINGTON", "Darlington driver", Darlington, 2.4, 0.8, 1.95, 0.05, [3]OutputLimits{{1.1, 100, 4.6, 0}, {1.1, 100, 4.6, 0}, {1.1, 100, 4.6, 0}}, memory},
}

// TimerFamilies are the families of timers, which are marked with their number alone. Their
// input limits are those of RESET: TRIG and THR are comparators (Pin.Trip). Classes differ in nothing.
//
// Source: NE555, SLFS022, February 1992, electrical characteristics at 25 °C, read.
// The IIH is RESET's current at VCC, the IIL that at 0 V. Its high holds at 100 mA and so at
// 5 mA, from which a bench cannot conclude what it is at 100.
var TimerFamilies = []*Family{
	{"TIMER", "bipolar timer", TTL, 1.0, 0.3, 0.4, 1.5, [3]OutputLimits{{0.4, 8, 2.75, 5}, {0.4, 8, 2.75, 5}, {0.4, 8, 2.75, 5}}, "NE555, SLFS022, read"},
}

const memory = "from memory"

// AllFamilies are the families of logic, memories, drivers and timers, in this order.
func AllFamilies() []*Family {
	return slices.Concat(Families, MemoryFamilies, DriverFamilies, TimerFamilies)
}

// FamilyByName finds a family by its name ("74LS"), or by the letters alone ("LS", "B"); nil if there is none.
func FamilyByName(name string) *Family {
	name = strings.ToUpper(name)
	for _, f := range AllFamilies() {
		if name == f.Name || name != "" && (name == strings.TrimPrefix(f.Name, "74") || name == strings.TrimPrefix(f.Name, "4000")) {
			return f
		}
	}
	return nil
}

// Series4000 reports whether the family's types are numbered 4000 and up with the family's letters behind.
func (f *Family) Series4000() bool { return strings.HasPrefix(f.Name, "4000") }

// TypeName writes a part number as this family marks it: 7400 in 74LS is
// 74LS00, 4011 in 4000B is 4011B, 4075 in 74HC is 74HC4075. What is of neither series,
// such as a driver of the 75 series, a bus driver 8T26 or a memory, is marked with its
// number alone, but for the C of a CMOS EPROM: 27C64.
func (f *Family) TypeName(number string) string {
	digits74, is74 := strings.CutPrefix(number, "74")
	digits27, is27 := strings.CutPrefix(number, "27")
	switch {
	case f.Series4000():
		return number + strings.TrimPrefix(f.Name, "4000")
	case slices.Contains(MemoryFamilies, f):
		if is27 && f.Name == "CMOS" {
			return "27C" + digits27
		}
		return number
	case is74 && !allDigits4000.MatchString(number):
		return f.Name + digits74
	case allDigits4000.MatchString(number):
		return f.Name + number
	}
	return number
}
