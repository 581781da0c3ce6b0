package library_test

import (
	"fmt"
	"math/bits"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// capacities are what the data books' selection guides print for each number (from memory).
var capacities = map[string]string{
	// bipolar RAM
	"7489": "16x4", "74189": "16x4", "74219": "16x4", "74289": "16x4", "74319": "16x4",
	"74201": "256x1", "74301": "256x1", "82S16": "256x1", "82S17": "256x1", "93415": "1024x1", "93425": "1024x1",
	"93412": "256x4", "93422": "256x4",
	// MOS static RAM
	"2101": "256x4", "5101": "256x4", "2111": "256x4", "2112": "256x4",
	"2102": "1024x1", "2115": "1024x1", "2125": "1024x1", "2114": "1024x4", "2148": "1024x4", "2149": "1024x4",
	"2141": "4096x1", "2147": "4096x1", "2167": "16384x1", "6167": "16384x1", "2168": "4096x4", "6168": "4096x4",
	"2016": "2048x8", "6116": "2048x8", "6264": "8192x8", "62256": "32768x8",
	"TMS4044": "4096x1", "TMS4045": "1024x4", "TMS4016": "2048x8", "D4464": "8192x8", "4801": "1024x8", "6810": "128x8",
	"6147": "4096x1", "6148": "1024x4", "5114": "1024x4", "6508": "1024x1", "6117": "2048x8", "43257": "32768x8",
	"6287": "65536x1", "6288": "16384x4", "6789": "16384x4", "6207": "262144x1", "6208": "65536x4",
	// dynamic RAM
	"MK4027": "4096x1", "MK4096": "4096x1", "TMS4060": "4096x1", "MCM4517": "16384x1", "6664": "65536x1",
	"4416": "16384x4", "44256": "262144x4", "411000": "1048576x1",
	"2104": "4096x1", "2107": "4096x1", "4116": "16384x1", "2118": "16384x1",
	"4164": "65536x1", "4264": "65536x1", "2164": "65536x1", "3764": "65536x1", "4864": "65536x1", "6665": "65536x1",
	"4464": "65536x4", "41256": "262144x1",
	// EPROM
	"1702": "256x8", "TMS2716": "2048x8", "2758": "1024x8", "68764": "8192x8", "2708": "1024x8", "2516": "2048x8", "2716": "2048x8", "2532": "4096x8", "2732": "4096x8",
	"2764": "8192x8", "27128": "16384x8", "27256": "32768x8", "27512": "65536x8",
	// EEPROM, and flash memory of one supply
	"2804": "512x8", "28C04": "512x8", "2816": "2048x8", "28C16": "2048x8", "2817": "2048x8", "28C17": "2048x8",
	"2864": "8192x8", "28C64": "8192x8", "28C256": "32768x8", "29C256": "32768x8",
	// mask ROM
	"7488": "32x8", "74187": "256x4", "2316": "2048x8", "2332": "4096x8", "2364": "8192x8",
	// bipolar PROM
	"27S40": "4096x4", "27S41": "4096x4", "27S43": "4096x8", "7142": "4096x8", "76641": "8192x8",
	"74188": "32x8", "74288": "32x8", "82S23": "32x8", "82S123": "32x8",
	"74287": "256x4", "74387": "256x4", "82S126": "256x4", "82S129": "256x4",
	"74570": "512x4", "74571": "512x4", "82S130": "512x4", "82S131": "512x4", "82S136": "1024x4", "82S137": "1024x4",
	"74470": "256x8", "74471": "256x8", "74472": "512x8", "74473": "512x8", "82S146": "512x8", "82S147": "512x8",
	"74474": "512x8", "74475": "512x8", "82S140": "512x8", "82S141": "512x8", "82S180": "1024x8", "82S181": "1024x8",
	"82S184": "2048x4", "82S185": "2048x4", "82S190": "2048x8", "82S191": "2048x8",
}

// refreshes are the rows and milliseconds of the data sheets (from memory).
var refreshes = map[string][2]int{
	"2104": {64, 2}, "2107": {64, 2}, "4116": {128, 2}, "2118": {128, 2},
	"4164": {128, 2}, "2164": {128, 2}, "3764": {128, 2}, "4864": {128, 2}, "6665": {128, 2},
	"MK4027": {64, 2}, "MK4096": {64, 2}, "TMS4060": {64, 2}, "MCM4517": {128, 2}, "6664": {128, 2},
	"4416": {256, 4}, "44256": {512, 8}, "411000": {512, 8},
	"4264": {256, 4}, "4464": {256, 4}, "41256": {256, 4},
}

// refused need supplies that a single +5 V is not (the data books, from memory).
var refused = []string{"1702", "2104", "2107", "2708", "4116", "TMS2716", "MK4027", "MK4096", "TMS4060"}

func memories(t *testing.T) []*part.Part {
	t.Helper()
	parts, err := library.Memories()
	require.NoError(t, err)
	return parts
}

func TestMemoriesAreThoseOfTheDataBooks(t *testing.T) {
	parts := memories(t)
	require.Len(t, parts, len(capacities))
	for _, p := range parts {
		require.Equal(t, "memory", p.Kind, p.Number)
		for _, v := range p.Variants {
			m := v.Memory
			require.Equal(t, capacities[p.Number], fmt.Sprintf("%dx%d", m.Words, m.Bits), p.Number)
			require.Equal(t, slices.Contains(refused, p.Number), v.Refusal != "", "%s: %q", p.Number, v.Refusal)
			if m.Kind == part.DynamicRAM {
				require.Equal(t, refreshes[p.Number], [2]int{m.RefreshRows, int(m.RefreshWithin / time.Millisecond)}, p.Number)
			} else {
				require.NotContains(t, refreshes, p.Number)
			}
		}
	}
}

// Logic and memories share no number and make up the whole library.
func TestMemoriesAreApartFromLogic(t *testing.T) {
	logic, err := library.All()
	require.NoError(t, err)
	for _, p := range logic {
		require.False(t, p.Memory(), p.Number)
		require.NotContains(t, capacities, p.Number)
	}
}

// The words are all that the address reaches, and every signal pin has one use.
func TestMemoryPinsHaveOneUseEach(t *testing.T) {
	for _, p := range memories(t) {
		for _, v := range p.Variants {
			m := v.Memory
			reached := len(m.Address)
			if m.RAS != nil {
				reached = 2 * len(m.Address)
			}
			if p.Number == "4416" { // two of its eight address pins take no bit of the column
				reached -= 2
			}
			require.Equal(t, m.Words, 1<<reached, p.Number)
			require.Equal(t, bits.Len(uint(m.Words-1)), m.AddressBits(), p.Number)
			require.ElementsMatch(t, slices.Concat(m.Row, m.Column), countTo(m.AddressBits()), p.Number)
			uses := map[int]int{}
			for _, pin := range slices.Concat(m.Address, m.DataOut) {
				uses[pin]++
			}
			if !m.CommonData() {
				for _, pin := range m.DataIn {
					uses[pin]++
				}
			}
			controls := slices.Clone(m.Select)
			for _, c := range []*part.Control{m.Write, m.Enable, m.RAS, m.CAS} {
				if c != nil {
					controls = append(controls, *c)
				}
			}
			for _, c := range controls {
				uses[c.Pin]++
			}
			for _, pin := range v.Pins {
				want := 0
				if pin.Tied == part.NotTied && (pin.Role == part.Input || pin.Observable()) {
					want = 1
				}
				require.Equal(t, want, uses[pin.Number], "%s pin %d %s", p.Number, pin.Number, pin.Name)
			}
			require.Equal(t, m.Kind.ROM(), len(m.DataIn) == 0, p.Number)
			require.Equal(t, m.Kind.ROM(), m.Write == nil, p.Number)
			for _, pin := range m.DataOut {
				out := v.Pins[pin-1]
				require.Contains(t, []part.Stage{part.ThreeState, part.OpenCollector}, out.Stage, "%s: memories share a bus", p.Number)
				require.Equal(t, m.Inverted, strings.HasPrefix(out.Name, "/"), "%s: a bar over the output marks it as inverted", p.Number)
			}
		}
	}
}

func countTo(n int) []int {
	var list []int
	for i := range n {
		list = append(list, i)
	}
	return list
}

// Where revision A of the adapter switches the supply and the ground (the design's
// table), but for 18-pin dynamic RAM, whose supply is in the middle of the left column.
func TestMemoriesFindTheirSupplyInTheSocket(t *testing.T) {
	high := []int{1, 4, 5, 8, 22, 28}
	low := []int{1, 4, 7, 8, 9, 10, 11, 12, 14, 21, 24, 25, 28}
	outside := []string{"4464", "4416", "44256", "411000"}
	for _, p := range memories(t) {
		for _, v := range p.Variants {
			if v.Refusal != "" {
				continue
			}
			position := func(pin int) int {
				if n := len(v.Pins); pin > n/2 {
					return 28 - (n - pin)
				}
				return pin
			}
			require.Equal(t, !slices.Contains(outside, p.Number), slices.Contains(high, position(v.VCC())), "%s VCC", p.Number)
			require.Contains(t, low, position(v.GND()), "%s GND", p.Number)
		}
	}
}

// Every memory is found by what is printed on it, without maker's letters.
func TestMemoriesAreOpenedByTheirNames(t *testing.T) {
	for _, p := range memories(t) {
		for _, f := range p.Families() {
			name := f.TypeName(p.Number)
			typ, err := library.Open(name)
			require.NoError(t, err, name)
			require.Equal(t, p.Number, typ.Part().Number)
			require.Equal(t, name, typ.Name())
		}
	}
	for typed, want := range map[string]string{
		"27C256": "27C256 CMOS", "27256": "27256 NMOS", "2114L-2": "2114 NMOS", "4164-15": "4164 NMOS", "6264LP-12": "6264 CMOS",
		"74LS189": "74LS189 74LS", "S287": "74S287 74S", "7489": "7489 74", "82S129": "82S129 TTL",
	} {
		typ, err := library.Open(typed)
		require.NoError(t, err, typed)
		require.Equal(t, want, typ.Name()+" "+typ.Family.Name)
	}
}

// Memories of bytes with 24 and 28 pins share the places of A0 to A9, of D0 to D7 and of the
// ground, at whatever number of pins (JEDEC Standard 21-C, byte-wide memories, from memory);
// A10 is there too wherever it is not a select, but for the TMS2716.
func TestByteWideMemoriesShareTheirPlaces(t *testing.T) {
	// places of a 28-pin package; 24 pins are its lower ones
	address := []int{10, 9, 8, 7, 6, 5, 4, 3, 25, 24, 21, 23, 2, 26}
	data := []int{11, 12, 13, 15, 16, 17, 18, 19}
	bipolar := []string{"74474", "74475", "82S140", "82S141", "82S180", "82S181", "82S190", "82S191", "27S43", "7142", "76641", "6810", "1702"}
	elsewhere := map[string]bool{"TMS2716 A10": true, "2532 A11": true, "2732 A11": true, "68764 A11": true, "68764 A12": true, "2332 A11": true,
		"2364 A11": true, "2364 A12": true, "29C256 A14": true, "27256 A14": true, "27512 A14": true, "27512 A15": true}
	compared := 0
	for _, p := range memories(t) {
		for _, v := range p.Variants {
			m := v.Memory
			if m.Bits != 8 || len(v.Pins) < 24 || slices.Contains(bipolar, p.Number) {
				continue
			}
			compared++
			at := func(pin int) int { return pin + (28-len(v.Pins))/2 }
			for bit, pin := range m.Address {
				if bit < len(address) && !elsewhere[fmt.Sprintf("%s A%d", p.Number, bit)] {
					require.Equal(t, address[bit], at(pin), "%s A%d", p.Number, bit)
				}
			}
			for bit, pin := range m.DataOut {
				require.Equal(t, data[bit], at(pin), "%s D%d", p.Number, bit)
			}
			require.Equal(t, 14, at(v.GND()), p.Number)
		}
	}
	require.GreaterOrEqual(t, compared, 28)
}

// What one sheet says of another: the refresh input of the 6664 is where the 6665 has none; the
// 27S43 and the 7142 differ in one enable's level alone; the 4044 of one maker is the 2141 of
// another (the sheets' cross references, from memory).
func TestTwinsOfMemories(t *testing.T) {
	for _, c := range []struct {
		a, b    string
		differs []int // pins
	}{
		{"6664", "6665", []int{1}}, {"27S43", "7142", nil}, {"TMS4044", "2141", nil}, {"TMS4045", "2114", nil},
		{"TMS4016", "2016", nil}, {"D4464", "6264", nil}, {"28C16", "6116", []int{21}}, {"28C64", "6264", []int{1, 26, 27}},
		{"28C256", "62256", []int{27}}, {"43257", "62256", nil}, {"93422", "2101", nil}, {"5114", "2114", nil},
		{"6508", "93425", nil}, {"29C256", "27256", nil}, {"7488", "74188", nil}, {"74187", "74387", nil},
		{"4416", "4464", nil}, {"MCM4517", "2118", nil}, {"MK4027", "2104", nil}, {"TMS4060", "2107", nil}, {"2758", "2716", []int{19}},
	} {
		a, err := library.Builtin().Find(c.a)
		require.NoError(t, err)
		b, err := library.Builtin().Find(c.b)
		require.NoError(t, err)
		var differs []int
		for i, p := range a.Variants[0].Pins {
			q := b.Variants[0].Pins[i]
			if use(p) != use(q) {
				differs = append(differs, p.Number)
			}
		}
		require.Equal(t, c.differs, differs, "%s and %s", c.a, c.b)
	}
}

// use is what a memory has a pin for, however it is named; a ROM's outputs are a RAM's data pins.
func use(p part.Pin) string {
	switch {
	case p.Observable():
		return "data"
	case p.Tied != part.NotTied:
		return fmt.Sprint("tied ", p.Tied)
	}
	return p.Role.String()
}

// Where the rows of the array are declared by name, the address reaches it: the 2114 has 64
// rows of 64 cells, the 6116 128 rows of 128 (the data sheets' block diagrams, from memory).
func TestArraysOfMemories(t *testing.T) {
	for number, want := range map[string][2]int{
		"2102": {32, 32}, "2114": {64, 64}, "6116": {128, 128}, "2147": {64, 64}, "4164": {256, 256}, "41256": {512, 512},
		"2101": {32, 32}, "2112": {32, 32},
	} {
		typ, err := library.Open(number)
		require.NoError(t, err)
		m := typ.Variant.Memory
		require.Equal(t, want, [2]int{1 << m.RowBits, m.Bits << m.ColumnBits}, number)
	}
}
