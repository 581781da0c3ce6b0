package marking_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/marking"
	"chipassay/vectors/library"
)

// Memories as they are marked (common practice, from memory of the memory data
// books): maker's letters, number, L for low power, package letter, speed behind a
// hyphen; of dynamic RAM, EPROM and byte-wide CMOS RAM in tens of nanoseconds.
func TestMemoriesAreReadInTheirForms(t *testing.T) {
	const own = "a speed grade, which the maker's data sheet explains"
	for _, test := range []struct{ text, typ, family, pack, speed, date string }{
		{"2114L-3 8031", "2114", "NMOS", "", "-3: " + own, "1980-W31"},
		{"4164-15\n8340", "4164", "NMOS", "", "-15: 150 ns access time", "1983-W40"},
		{"XYZ4164-20NL", "4164", "NMOS", "N: plastic DIP", "-20: 200 ns access time", ""},
		{"XY41256-12", "41256", "NMOS", "", "-12: 120 ns access time", ""},
		{"6264LP-12 8719", "6264", "CMOS", "P: plastic DIP", "-12: 120 ns access time", "1987-W19"},
		{"XY62256ALP-10", "62256", "CMOS", "P: plastic DIP", "-10: 100 ns access time", ""},
		{"6116P-20", "6116", "CMOS", "P: plastic DIP", "-20: " + own, ""}, // 200 ns, or a fast type's 20 ns
		{"6167-25", "6167", "CMOS", "", "-25: " + own, ""},                // a fast static RAM: 25 ns
		{"2147-12", "2147", "NMOS", "", "-12: " + own, ""},                // words of a bit: 12 ns, or 120
		{"XY6116P-2", "6116", "CMOS", "P: plastic DIP", "-2: " + own, ""},
		{"XYZ6665", "6665", "NMOS", "", "", ""},
		{"XYZ4164-P2", "4164", "NMOS", "", "-P2: " + own, ""},
		{"27C256", "27C256", "CMOS", "", "", ""},
		{"XYZ27C64Q-15", "27C64", "CMOS", "Q: ceramic DIP with a window", "-15: 150 ns access time", ""},
		{"X2764-25", "2764", "NMOS", "", "-25: 250 ns access time", ""},
		{"X2716", "2716", "NMOS", "", "", ""},
		{"µXY2114LC", "2114", "NMOS", "", "", ""},
		{"82S129N 7938", "82S129", "TTL", "N: plastic DIP", "", "1979-W38"},
		{"X82S123F", "82S123", "TTL", "F: ceramic DIP or flat pack, by maker", "", ""},
		{"93425 7612", "93425", "TTL", "", "", "1976-W12"},
		{"5101L-1", "5101", "CMOS", "", "-1: " + own, ""},
	} {
		m, err := marking.Read(test.text, library.Builtin(), markingDay)
		require.NoError(t, err, test.text)
		require.Len(t, m.Parts, 1, test.text)
		p := m.Parts[0]
		require.True(t, p.Part.Memory(), test.text)
		require.Equal(t, test.typ, p.Type, test.text)
		require.Equal(t, test.family, p.Family.Name, test.text)
		require.Equal(t, test.pack, p.Package, test.text)
		require.Equal(t, test.speed, p.Speed, test.text)
		require.Empty(t, p.Temperature, "%s: only the 54 and 74 series have a range by their number", test.text)
		require.Empty(t, m.Notes, test.text)
		if test.date == "" {
			require.Empty(t, m.Dates, test.text)
			continue
		}
		require.Len(t, m.Dates, 1, test.text)
		require.Equal(t, test.date, m.Dates[0].Code.Period().String(), test.text)
	}
}

// The bipolar memories of the 7400 series are marked, and rated, as its logic is.
func TestMemoriesOfTheSeriesKeepItsRange(t *testing.T) {
	for text, temperature := range map[string]string{
		"74LS189": "0 to 70 °C (74 series)", "XY54LS189J": "−55 to 125 °C (54 series)",
	} {
		m, err := marking.Read(text, library.Builtin(), markingDay)
		require.NoError(t, err)
		require.Equal(t, "74LS189", m.Parts[0].Type)
		require.Equal(t, temperature, m.Parts[0].Temperature)
	}
}

// A bare 2114 is a static RAM, or week 14 of 2021; what else is on the chip decides.
func TestABareMemoryNumberCanBeADate(t *testing.T) {
	for text, want := range map[string]string{
		"2114":           "nothing on the chip decides",
		"2114\n8031":     "as 8031 can only be a date code, 2114 is most likely the part",
		"2114-8031":      "as 8031 can only be a date code, 2114 is most likely the part",
		"XY74LS10N 2114": "as XY74LS10N can only be a part, 2114 is most likely the date code",
	} {
		m, err := marking.Read(text, library.Builtin(), markingDay)
		require.NoError(t, err, text)
		require.Len(t, m.Notes, 1, text)
		require.Contains(t, m.Notes[0], "2114 can be a part (1024 x 4-bit static RAM) or a date code; ", text)
		require.Contains(t, m.Notes[0], want, text)
		require.Contains(t, m.Dates[0].Code.Period().String()+m.Dates[len(m.Dates)-1].Code.Period().String(), "2021-W14", text)
	}
	m, err := marking.Read("4164", library.Builtin(), markingDay) // there is no week 64
	require.NoError(t, err)
	require.Empty(t, m.Dates)
	require.Empty(t, m.Notes)
}

// Three digits give no decade: a memory's is not before its technology (from memory).
func TestAMemorysDateIsNotBeforeItsTechnology(t *testing.T) {
	for text, year := range map[string]int{"XY2102P 132": 1981, "XY6116P 432": 1984, "XY82S23N 132": 1971} {
		m, err := marking.Read(text, library.Builtin(), markingDay)
		require.NoError(t, err, text)
		require.Equal(t, year, m.Dates[0].Code.Period().Year, text)
	}
}

// A number that is another chip with a maker's letters before it is not read as the
// common one: the TMS2716 needs three supplies and has other pins than the 2716, whose
// twin of the same maker is the TMS2516 (from memory of the MOS memory data books).
func TestAMakersOwnMemoryIsNotTheCommonOne(t *testing.T) {
	for text, number := range map[string]string{
		"TMS2716": "TMS2716", "TMS2716JL-45": "TMS2716", "TMS 2716 JL": "TMS2716", "TMS2716JL\n8012": "TMS2716",
		"2716": "2716", "D2716": "2716", "MM2716Q": "2716", "TMS2516JL": "2516",
	} {
		typ, _, err := marking.Resolve(text, library.Builtin())
		require.NoError(t, err, text)
		require.Equal(t, number, typ.Part().Number, text)
		require.Equal(t, number == "TMS2716", typ.Variant.Refusal != "", text)
	}
	typ, _, err := marking.Resolve("TMS2716JL", library.Builtin())
	require.NoError(t, err)
	for _, volts := range []string{"+12 V", "−5 V", "+5 V"} {
		require.Contains(t, typ.Variant.Refusal, volts)
	}
}
