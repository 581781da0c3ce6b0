package marking_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/marking"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
	"chipassay/vectors/sample"
)

var markingDay = time.Date(2026, 1, 15, 0, 0, 0, 0, time.UTC)

// Markings as they stand on chips (common practice): maker's letters, series,
// family, number, package letter; the date code below or behind.
func TestMarkingsAreReadInTheirForms(t *testing.T) {
	for _, test := range []struct{ text, number, family, pack, temperature, date string }{
		{"XY7410N\n7938", "7410", "74", "N: plastic DIP", "0 to 70 °C (74 series)", "1979-W38"},
		{"7938 XY54LS10J", "7410", "74LS", "J: ceramic DIP", "−55 to 125 °C (54 series)", "1979-W38"},
		{"xy74ls10 8123", "7410", "74LS", "", "0 to 70 °C (74 series)", "1981-W23"},
		{"AB74HC10P, 8905", "7410", "74HC", "P: plastic DIP", "−40 to 85 °C (74 series, CMOS)", "1989-W05"},
		{"XY74F10PC 8834", "7410", "74F", "P: plastic DIP", "0 to 70 °C (74 series)", "1988-W34"},
		{"XY74F10PI 8834", "7410", "74F", "P: plastic DIP", "0 to 70 °C (74 series)", "1988-W34"}, // I: industrial range
		{"74S10 7612", "7410", "74S", "", "0 to 70 °C (74 series)", "1976-W12"},
	} {
		m, err := marking.Read(test.text, library.Builtin(), markingDay)
		require.NoError(t, err, test.text)
		require.NotEmpty(t, m.Parts, test.text)
		p := m.Parts[0]
		require.Equal(t, test.number, p.Number, test.text)
		require.Equal(t, test.family, p.Family.Name, test.text)
		require.Equal(t, test.pack, p.Package, test.text)
		require.Equal(t, test.temperature, p.Temperature, test.text)
		require.NotEmpty(t, m.Dates, test.text)
		require.Equal(t, test.date, m.Dates[len(m.Dates)-1].Code.Period().String(), test.text)
	}
}

func TestANumberThatIsPartAndDateIsSaidToBeBoth(t *testing.T) {
	// the date code of an open-collector NAND that reads as an OR gate
	m, err := marking.Read("XY7438N 7432", library.Builtin(), markingDay)
	require.NoError(t, err)
	require.Equal(t, "7438", m.Parts[0].Type)
	require.Len(t, m.Dates, 1)
	require.Equal(t, "1974-W32", m.Dates[0].Code.Period().String())
	require.Contains(t, m.Notes[0], "as XY7438N can only be a part, 7432 is most likely the date code")
	m, err = marking.Read("XY74LS10N 7410", library.Builtin(), markingDay)
	require.NoError(t, err)
	require.Len(t, m.Parts, 2)
	require.Len(t, m.Dates, 1)
	require.Contains(t, m.Notes[0], "7410 can be a part (triple 3-input NAND gate) or a date code; as XY74LS10N can only be a part, 7410 is most likely the date code")
	m, err = marking.Read("7410", library.Builtin(), markingDay)
	require.NoError(t, err)
	require.Contains(t, m.Notes[0], "nothing on the chip decides")
}

// Letters about digits make a part number and never a date code: these are parts of
// other series (common practice), and one of them stands alone with a date.
func TestAPartNumberIsNoDate(t *testing.T) {
	for _, text := range []string{"QX7938", "7931PC", "HZ7951-5", "B7852", "XX8005X"} {
		_, err := marking.Read(text, library.Builtin(), markingDay)
		require.ErrorIs(t, err, marking.ErrNothing, text)
		require.ErrorContains(t, err, "looks like a part number, and no part of this library has it", text)
	}
	for _, text := range []string{"F9316", "DS8830N", "9602PC", "HM7611-5", "UA741CN"} { // parts, or known as missing
		m, _ := marking.Read(text, library.Builtin(), markingDay)
		require.Empty(t, m.Dates, text)
	}
	m, err := marking.Read("UA741CN 7938", library.Builtin(), markingDay)
	require.NoError(t, err)
	require.Equal(t, "1979-W38", m.Dates[0].Code.Period().String())
	require.Contains(t, m.Notes[0], "UA741CN is not in this library")
}

// What cannot be read of a date is reported, not dropped.
func TestWhatIsNoWeekIsSaid(t *testing.T) {
	for text, note := range map[string]string{
		"74LS00N 7600":           `date code "7600": there is no week 00`,
		"74LS00N 7654":           `date code "7654": there is no week 54`,
		"74LS00N 45/79":          "45/79 is not understood as a date code",
		"74LS00N MARCH":          "not understood: MARCH",
		"74LS00N MAR30":          "", // of 2030, which is to come
		"74LS00N 9Z":             "9Z is not understood: if it is a date code with a letter",
		"74LS00N 79C":            "79C is not understood",
		"74LS00N G4":             "G4 is not understood", // there is no year G
		"74LS00N MALAYSIA KOREA": "not understood: MALAYSIA, KOREA",
	} {
		m, err := marking.Read(text, library.Builtin(), markingDay)
		require.NoError(t, err, text)
		require.Empty(t, m.Dates, text)
		require.Len(t, m.Notes, 1, text)
		require.Contains(t, m.Notes[0], note, text)
	}
}

// The B series came about 1976 (the common standard of its levels, from memory): three
// digits on a part with a B are not of the years before, on one without they may be.
func TestThreeDigitsOnACMOSPart(t *testing.T) {
	for text, week := range map[string]string{"XY4011BE 032": "1980-W32", "XY4011AE 032": "1970-W32", "XY4011 032": "1970-W32", "XY4069UB 432": "1984-W32"} {
		m, err := marking.Read(text, library.Builtin(), markingDay)
		require.NoError(t, err, text)
		require.Equal(t, week, m.Dates[0].Code.Period().String(), text)
	}
}

// Markings as they are copied from chips (common practice; the makers' letters are
// made up but for those that the series itself was named by).
func TestResolve(t *testing.T) {
	for text, want := range map[string]string{
		"SN74LS00N": "74LS00", "74LS00N": "74LS00", "74LS 00": "74LS00", "SN 74 LS 00 N": "74LS00", "SNJ54LS00": "74LS00",
		"CD4011BE": "4011B", "HEF4011BP": "4011B", "MM2114N": "2114", "XY74LS00N\n7938\nMALAYSIA": "74LS00", "7938 XY 74 HC 10": "74HC10",
		"XY7438N 7432": "7438", "ls51": "74LS51", "LS 51": "74LS51", "2114L-3 8031": "2114", "7400": "7400", "XY4069UBP": "4069UB",
		"CD4011AE": "4011A", "4049A": "4049A", "74AC00": "74AC00", "SN74ACT245N": "74ACT245", "SN74BCT244N": "74BCT244",
	} {
		typ, named, err := marking.Resolve(text, library.Builtin())
		require.NoError(t, err, text)
		require.Equal(t, want, typ.Name(), text)
		require.True(t, named, text)
	}
}

// Where the marking leaves the family open the oldest is given, and reported as open.
func TestResolveTakesTheOldestFamily(t *testing.T) {
	for text, want := range map[string]string{"74138": "74S138", "4011": "4011B"} {
		typ, named, err := marking.Resolve(text, library.Builtin())
		require.NoError(t, err, text)
		require.Equal(t, want, typ.Name(), text)
		require.False(t, named, text)
	}
}

func TestResolveRefuses(t *testing.T) {
	for text, says := range map[string]string{
		"SN74LS999N": "there is no part 74LS999", "UA741CN": "analog", "74LS00 74LS02": "74LS00 or 74LS02", "51": "say which it is",
	} {
		_, _, err := marking.Resolve(text, library.Builtin())
		require.ErrorContains(t, err, says, text)
	}
}

func TestWhatCannotBeReadIsRefused(t *testing.T) {
	for _, text := range []string{"", "  ", "HELLO", "9999"} {
		_, err := marking.Read(text, library.Builtin(), markingDay)
		require.Error(t, err, text)
	}
}

func FuzzRead(f *testing.F) {
	f.Add("XY7438N 7432")
	f.Add("µXY2114LC-3 8031")
	f.Fuzz(func(t *testing.T, text string) {
		if m, err := marking.Read(text, library.Builtin(), markingDay); err == nil {
			require.Positive(t, len(m.Parts)+len(m.Dates))
		}
	})
}

// Every type of the library is what its own marking names, with a package letter and a date
// code about it, and digits of a number belong to it: no number is another one's with a digit
// behind it. Package letters and their places: common practice.
func TestEveryTypeIsReadFromItsMarking(t *testing.T) {
	lib := library.Builtin()
	parts, err := lib.Parts()
	require.NoError(t, err)
	for _, p := range sample.Of(sample.Random(t), 150, parts) {
		for _, v := range p.Variants {
			for _, family := range v.Families {
				name := part.Type{Variant: v, Family: family}.Name()
				marks := []string{name, name + "N"}
				if len(name) > 3 { // a 555 alone may be a date
					marks = append(marks, name+" 7938", "8012 "+name+"J")
				}
				for _, marked := range marks {
					typ, _, err := marking.Resolve(marked, lib)
					if err != nil {
						t.Errorf("%s: %v", marked, err)
					} else if typ.Name() != name {
						t.Errorf("%s is read as %s", marked, typ.Name())
					}
				}
			}
		}
	}
}
