package marking_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/marking"
	"chipassay/vectors/library"
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
		{"74S10 B7612", "7410", "74S", "", "0 to 70 °C (74 series)", "1976-W12"},
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
