package part_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

const staticRAM = `part 2114 "1024 x 4-bit static RAM"
kind memory
families NMOS
source "from memory"
package DIP18
     A6  1 | U | 18 VCC
     A5  2 |   | 17 A7
     A4  3 |   | 16 A8
     A3  4 |   | 15 A9
     A0  5 |   | 14 D0
     A1  6 |   | 13 D1
     A2  7 |   | 12 D2
    /CS  8 |   | 11 D3
    GND  9 |   | 10 /WE
inputs A0..A9 /CS /WE
bidirectional D0..D3
memory static 1024 x 4
address A0..A9
data D0..D3
select /CS
write /WE
rows A3..A8
access 450 ns
write pulse 200 ns
`

const dynamicRAM = `part 4164 "65,536 x 1-bit dynamic RAM"
kind memory
families NMOS
source "from memory"
package DIP16
     NC  1 | U | 16 GND
      D  2 |   | 15 /CAS
     /W  3 |   | 14 Q
   /RAS  4 |   | 13 A6
     A0  5 |   | 12 A3
     A2  6 |   | 11 A4
     A1  7 |   | 10 A5
    VCC  8 |   | 9  A7
inputs A0..A7 D /W /RAS /CAS
outputs three-state Q
memory dynamic 65536 x 1
address A0..A7
data in D
data out Q
strobe row /RAS column /CAS
write /W
rows 8
access 200 ns
write pulse 55 ns
refresh 128 rows within 2 ms
`

func memoryOf(t *testing.T, text string) *part.Memory {
	t.Helper()
	parts, err := part.Parse("ram.part", text)
	require.NoError(t, err)
	require.Len(t, parts[0].Variants, 1)
	require.True(t, parts[0].Memory())
	require.NotNil(t, parts[0].Variants[0].Memory)
	return parts[0].Variants[0].Memory
}

// The pins of a 2114 and of a 4164 as their sheets draw them (from memory).
func TestMemoriesAreRead(t *testing.T) {
	m := memoryOf(t, staticRAM)
	require.Equal(t, &part.Memory{
		Kind: part.StaticRAM, Words: 1024, Bits: 4,
		Address: []int{5, 6, 7, 4, 3, 2, 1, 17, 16, 15},
		DataIn:  []int{14, 13, 12, 11}, DataOut: []int{14, 13, 12, 11},
		Select: []part.Control{{Pin: 8}}, Write: &part.Control{Pin: 10},
		RowBits: 6, ColumnBits: 4, Row: []int{3, 4, 5, 6, 7, 8}, Column: []int{0, 1, 2, 9},
		Access: 450 * time.Nanosecond, WritePulse: 200 * time.Nanosecond,
	}, m)
	require.True(t, m.CommonData())

	m = memoryOf(t, dynamicRAM)
	require.Equal(t, &part.Memory{
		Kind: part.DynamicRAM, Words: 65536, Bits: 1,
		Address: []int{5, 7, 6, 12, 11, 10, 13, 9},
		DataIn:  []int{2}, DataOut: []int{14},
		Write: &part.Control{Pin: 3}, RAS: &part.Control{Pin: 4}, CAS: &part.Control{Pin: 15},
		RowBits: 8, ColumnBits: 8, Row: []int{0, 1, 2, 3, 4, 5, 6, 7}, Column: []int{8, 9, 10, 11, 12, 13, 14, 15},
		Access: 200 * time.Nanosecond, WritePulse: 55 * time.Nanosecond,
		RefreshRows: 128, RefreshWithin: 2 * time.Millisecond,
	}, m)
	require.False(t, m.CommonData())
}

// Without a rows statement the rows take half of the address, and the odd
// bit (vectors/README.md): 1,024 words are 32 × 32, 512 are 32 rows × 16.
func TestRowsThatAreNotGiven(t *testing.T) {
	plain := strings.Replace(staticRAM, "rows A3..A8\n", "", 1)
	m := memoryOf(t, plain)
	require.Equal(t, []int{5, 5}, []int{m.RowBits, m.ColumnBits})
	require.Equal(t, []int{0, 1, 2, 3, 4}, m.Row)
	require.Equal(t, []int{5, 6, 7, 8, 9}, m.Column)

	odd := strings.NewReplacer("memory static 1024 x 4", "memory static 512 x 4", "address A0..A9", "address A0..A8",
		"inputs A0..A9 /CS /WE", "inputs A0..A8 /CS /WE\ntie low A9").Replace(plain)
	m = memoryOf(t, odd)
	require.Equal(t, []int{5, 4}, []int{m.RowBits, m.ColumnBits})
	require.Equal(t, []int{0, 1, 2, 3, 4}, m.Row)
	require.Equal(t, []int{5, 6, 7, 8}, m.Column)
}

// A level before the names, a bar, and a later part that is like an earlier one.
func TestControlsAndLikeOfMemories(t *testing.T) {
	text := staticRAM + `part 2115 "the same, read inverted, selected high"
like 2114
select high /CS
rows 6
inverted
access 1 us
part 2116 "the same with its defaults"
like 2115
families CMOS
data D3..D0
`
	parts, err := part.Parse("ram.part", text)
	require.NoError(t, err)
	m := parts[1].Variants[0].Memory
	require.Equal(t, []part.Control{{Pin: 8, Active: true}}, m.Select)
	require.Equal(t, []int{0, 1, 2, 3, 4, 5}, m.Row)
	require.True(t, m.Inverted)
	require.Equal(t, time.Microsecond, m.Access)
	require.Equal(t, []int{11, 12, 13, 14}, parts[2].Variants[0].Memory.DataOut)
	require.NotEqual(t, parts[0].SHA256, parts[1].SHA256)
}

// Every mistake is reported with its line and column.
func TestMistakesInMemories(t *testing.T) {
	for _, c := range []struct{ text, old, new, want string }{
		{staticRAM, "memory static 1024 x 4", "memory static 1000 x 4", "ram.part:17:15: the words are a power of two"},
		{staticRAM, "memory static 1024 x 4", "memory static 1024 x 40", "ram.part:17:22: a word has 1 to 16 bits"},
		{staticRAM, "memory static 1024 x 4", "memory core 1024 x 4", "ram.part:17:8: the kinds of memory are"},
		{staticRAM, "memory static 1024 x 4", "memory 1024 x 4", "ram.part:17:1: write the kind"},
		{staticRAM, "memory static 1024 x 4\n", "", "the memory is not organised"},
		{staticRAM, "address A0..A9", "address A0..A8", "ram.part:18:1: 1024 words need 10 address pins, 9 are named"},
		{staticRAM, "address A0..A9", "address A0..A8 A0", "ram.part:18:9: pin A0 is named twice"},
		{staticRAM, "address A0..A9", "address A0..A8 B9", "ram.part:18:16: the package has no pin B9"},
		{staticRAM, "address A0..A9", "address A0..A8 D0", "ram.part:18:16: pin D0 is bidirectional and should be input"},
		{staticRAM, "address A0..A9\n", "", "the memory has no address statement"},
		{staticRAM, "data D0..D3", "data D0..D2", "ram.part:19:1: 3 data pins are named, a word has 4 bits"},
		{staticRAM, "data D0..D3", "data in D0..D3", "ram.part:19:9: pin D0 is bidirectional and should be input"},
		{staticRAM, "select /CS", "select D0", "ram.part:20:8: pin D0 is bidirectional and should be input"},
		{staticRAM, "select /CS", "select", "names must follow"},
		{staticRAM, "select /CS\n", "", "pin 8 (/CS) has no use in the memory"},
		{staticRAM, "select /CS\n", "tie low /CS\nselect /CS\n", "pin /CS is tied, and the memory uses it"},
		{staticRAM, "write /WE", "write /WE /CS", "ram.part:21:1: name one pin: write /WE"},
		{staticRAM, "write /WE", "write /CS", "pin 8 (/CS) is control and control at once"},
		{staticRAM, "write /WE\n", "tie high /WE\n", "a RAM needs its write pin"},
		{staticRAM, "rows A3..A8", "rows 11", "ram.part:22:6: the rows are 1 to 10 bits"},
		{staticRAM, "rows A3..A8", "rows A3 /CS", "pin /CS is not of the address"},
		{staticRAM, "access 450 ns", "access 450", "ram.part:23:8: a time is a number and its unit"},
		{staticRAM, "access 450 ns", "access 450 s", "a time is a number and its unit"},
		{staticRAM, "access 450 ns\n", "", "access 450 ns"},
		{staticRAM, "write pulse 200 ns\n", "", "write pulse 200 ns"},
		{staticRAM, "write pulse", "refresh 64 rows within 2 ms\nwrite pulse", "only a dynamic memory is refreshed"},
		{staticRAM, "kind memory", "kind register", "with kind memory"},
		{staticRAM, "access", "D0 = A0 & A1\naccess", "ram.part:23:1: a memory has no equations"},
		{dynamicRAM, "refresh 128 rows within 2 ms\n", "", "a dynamic RAM forgets"},
		{dynamicRAM, "refresh 128 rows", "refresh 100 rows", "the rows are a power of two up to 256"},
		{dynamicRAM, "refresh 128 rows", "refresh 512 rows", "the rows are a power of two up to 256"},
		{dynamicRAM, "within 2 ms", "in 2 ms", "write the rows and the time"},
		{dynamicRAM, "strobe row /RAS column /CAS", "strobe /RAS /CAS", "write both strobes"},
		{dynamicRAM, "strobe row /RAS column /CAS", "strobe row /RAS column /RAS", "name two pins"},
		{dynamicRAM, "strobe row /RAS column /CAS\n", "", "a dynamic RAM needs its strobes"},
		{dynamicRAM, "rows 8", "rows 7", "65536 words in 7 row and 9 column bits need 9 address pins, 8 are named"},
		{dynamicRAM, "rows 8", "rows A0..A7", "has its rows by number"},
		{dynamicRAM, "data in D\n", "", "the memory has no data in statement"},
		{dynamicRAM, "memory dynamic", "memory prom", "name the outputs"},
	} {
		require.Contains(t, c.text, c.old)
		_, err := part.Parse("ram.part", strings.Replace(c.text, c.old, c.new, 1))
		require.ErrorContains(t, err, c.want, c.new)
		require.ErrorAs(t, err, new(*part.Error))
	}
}

func TestROMsAreOnlyRead(t *testing.T) {
	rom := strings.NewReplacer("static", "eprom", "bidirectional D", "outputs three-state D", "write /WE\n", "", "write pulse 200 ns\n", "",
		"inputs A0..A9 /CS /WE", "inputs A0..A9 /CS\ntie high /WE").Replace(staticRAM)
	m := memoryOf(t, rom)
	require.True(t, m.Kind.ROM())
	require.Empty(t, m.DataIn)
	require.Equal(t, []int{14, 13, 12, 11}, m.DataOut)
	require.Nil(t, m.Write)
	_, err := part.Parse("rom.part", rom+"write /WE\n")
	require.ErrorContains(t, err, "only read")
	_, err = part.Parse("rom.part", rom+"write pulse 200 ns\n")
	require.ErrorContains(t, err, "no write pulse")
}

// Nothing of a memory is logic, so it is not compiled to a machine that would agree with anything.
func TestAMemoryHasNoLogic(t *testing.T) {
	parts, err := part.Parse("ram.part", staticRAM)
	require.NoError(t, err)
	require.Empty(t, parts[0].Variants[0].Logic.Signals)
	_, err = logic.Compile(parts[0].Variants[0])
	require.ErrorContains(t, err, "2114 is a memory")
}

// Input and output limits as the sheets of single types print them (from memory),
// 0 to 70 °C: a family promises no more than each of its types does.
func TestMemoryFamiliesKeepTheirTypesLimits(t *testing.T) {
	for _, c := range []struct {
		family, typ string
		drive       part.Drive
		vih, vil    float64 // V, min and max
		vol, iol    float64 // V max, mA
		voh, ioh    float64 // V min, mA
	}{
		{"NMOS", "2102", part.StandardDrive, 2.2, 0.65, 0.45, 1.9, 2.2, 0.1},
		{"NMOS", "2716", part.StandardDrive, 2.0, 0.8, 0.45, 2.1, 2.4, 0.4},
		{"NMOS", "2114", part.BufferDrive, 2.0, 0.8, 0.4, 2.1, 2.4, 1.0},
		{"NMOS", "4164", part.BusDrive, 2.4, 0.8, 0.4, 4.2, 2.4, 5.0},
		{"CMOS", "5101", part.StandardDrive, 2.2, 0.65, 0.4, 2.0, 2.4, 1.0},
		{"CMOS", "27C64", part.StandardDrive, 2.0, 0.8, 0.4, 2.1, 2.4, 0.4},
		{"CMOS", "6264", part.BufferDrive, 2.2, 0.8, 0.4, 2.1, 2.4, 1.0},
		{"TTL", "82S129", part.StandardDrive, 2.0, 0.8, 0.5, 16, 2.4, 2.0},
	} {
		f := part.FamilyByName(c.family)
		require.GreaterOrEqual(t, f.VIH, c.vih, c.typ)
		require.LessOrEqual(t, f.VIL, c.vil, c.typ)
		out := f.Output[c.drive]
		require.GreaterOrEqual(t, out.VOL, c.vol, c.typ)
		require.LessOrEqual(t, out.IOL, c.iol, c.typ)
		require.LessOrEqual(t, out.VOH, c.voh, c.typ)
		require.LessOrEqual(t, out.IOH, c.ioh, c.typ)
	}
	for _, f := range part.MemoryFamilies {
		require.Same(t, f, part.FamilyByName(f.Name))
		require.NotEmpty(t, f.Source, f.Name)
		require.False(t, slices.Contains(part.Families, f), f.Name)
		for _, o := range f.Output {
			require.Less(t, o.VOL, f.VIL, "%s: a low is understood by its like", f.Name)
		}
	}
}

// Memories are marked with their number alone, a speed behind it; only an EPROM
// says that it is CMOS, by a C. Source: common practice.
func TestTypeNamesOfMemories(t *testing.T) {
	for typed, want := range map[string]string{
		"2114": "2114", "2114L-3": "2114", "2102A": "2102", "6264LP-15": "6264", "62256-70": "62256", "6116": "6116",
		"4164": "4164", "4164-15": "4164", "41256": "41256", "41256-12": "41256", "4464": "4464", "93425A": "93425", "82S129": "82S129",
		"2764": "2764", "27256-20": "27256", "1702A": "1702", "5101L-1": "5101",
	} {
		number, family, ok := part.SplitTypeName(typed)
		require.True(t, ok, typed)
		require.Equal(t, want, number, typed)
		require.Nil(t, family, typed)
	}
	number, family, ok := part.SplitTypeName("27c256-15")
	require.True(t, ok)
	require.Equal(t, "27256", number)
	require.Equal(t, "CMOS", family.Name)
	for name, of := range map[string][2]string{
		"2114": {"NMOS", "2114"}, "2764": {"NMOS", "2764"}, "27C64": {"CMOS", "2764"}, "6264": {"CMOS", "6264"}, "82S129": {"TTL", "82S129"},
		"74S189": {"74S", "74189"}, "74S287": {"74S", "74287"}, "7489": {"74", "7489"},
	} {
		require.Equal(t, name, part.FamilyByName(of[0]).TypeName(of[1]))
	}
}

// An EEPROM's definition says how it is written or why it is not (vectors/README.md).
func TestRewritingAnEEPROM(t *testing.T) {
	const eeprom = `part 9975 "32 x 8-bit EEPROM"
kind memory
families CMOS
source "made up"
package DIP18
  A0  1 | U | 18 VCC
  A1  2 |   | 17 /WE
  A2  3 |   | 16 /OE
  A3  4 |   | 15 /CE
  A4  5 |   | 14 D7
  D0  6 |   | 13 D6
  D1  7 |   | 12 D5
  D2  8 |   | 11 D4
 GND  9 |   | 10 D3
inputs A0..A4 /CE /OE
tie high /WE
outputs three-state D0..D7
memory eeprom 32 x 8
address A0..A4
data D0..D7
select /CE
enable /OE
access 350 ns
`
	m := memoryOf(t, eeprom+"rewrite /WE pulse 200 ns cycle 10 ms\n")
	require.Equal(t, &part.Rewrite{Write: part.Control{Pin: 17}, Pulse: 200 * time.Nanosecond, Cycle: 10 * time.Millisecond}, m.Rewrite)
	require.Nil(t, memoryOf(t, eeprom).Rewrite)
	like := eeprom + "rewrite /WE pulse 200 ns cycle 10 ms\npart 9976 \"another\"\nlike 9975\nrewrite none \"it takes 21 V\"\n"
	parts, err := part.Parse("two.part", like)
	require.NoError(t, err)
	other := parts[1].Variants[0].Memory
	require.Nil(t, other.Rewrite)
	require.Equal(t, "it takes 21 V", other.NoRewrite)
	for statement, says := range map[string]string{
		"rewrite /WE":                           "write the pin, its shortest pulse",
		"rewrite none":                          "write the pin, its shortest pulse",
		"rewrite /CE pulse 200 ns cycle 10 ms":  "tied to its inactive level",
		"rewrite /XX pulse 200 ns cycle 10 ms":  "/XX",
		"rewrite /WE pulse 200 cycle 10 ms 3":   "write the pin, its shortest pulse",
		"rewrite /WE pulse 200 xs cycle 10 ms":  "a time is a number",
		"rewrite /WE pulse 200 ns cycle 10 day": "a time is a number",
		"rewrite /WE pulse 20 us cycle 10 ms":   "at most",
	} {
		_, err := part.Parse("bad.part", eeprom+statement+"\n")
		require.ErrorContains(t, err, says, statement)
	}
	_, err = part.Parse("ram.part", staticRAM+"rewrite none \"no\"\n")
	require.ErrorContains(t, err, "only an EEPROM is rewritten")
	_, err = part.Parse("low.part", strings.Replace(eeprom, "tie high /WE", "tie low /WE", 1)+"rewrite /WE pulse 200 ns cycle 10 ms\n")
	require.ErrorContains(t, err, "tied to its inactive level")
}
