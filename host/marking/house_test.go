package marking_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/marking"
	"chipassay/vectors/library"
)

// Military numbers: the slash sheets of MIL-M-38510, from memory. Eastern numbers: the page
// on K155LA3 calls it equal to the SN7400N in pins and characteristics (read); the others
// from memory. A number may be written in Cyrillic or in Latin letters.
func TestHouseNumbersLeadToTheirParts(t *testing.T) {
	for text, want := range map[string]string{
		"JM38510/30001BCA": "74LS00", "JM38510 /30102B": "74LS74", "M38510/00104": "7400", "38510": "",
		"К155ЛА3": "7400", "K155LA3": "7400", "КР1533ЛА3": "74ALS00", "КМ555ТМ2": "74LS74", "КР531ЛН1П": "74S04",
		"К561ЛЕ5": "4001B", "КР1561ЛА7А": "4011B", "К561ЛН2": "", "К999ЛА3": "",
		"DL000D": "74LS00", "DL193D": "74LS193", "D126D": "7426", "D127D": "", "CDB404E": "7404", "CDB4192E": "74192", "CDB4999E": "", "К155ЛА99": "",
	} {
		m, _ := marking.Read(text, library.Builtin(), markingDay)
		if want == "" {
			require.Empty(t, m.Parts, text)
			continue
		}
		require.Len(t, m.Parts, 1, text)
		require.Equal(t, want, m.Parts[0].Type, text)
		require.Contains(t, m.Parts[0].Chain, want, text)
		require.Contains(t, m.Parts[0].Chain, "memory", "the source is named")
		typ, named, err := marking.Resolve(text, library.Builtin())
		require.NoError(t, err, text)
		require.True(t, named, text)
		require.Equal(t, want, typ.Name(), text)
	}
}

// What is known and not defined is refused with its reason, however it is marked.
func TestKnownPartsAreRefusedWithAReason(t *testing.T) {
	for text, says := range map[string]string{
		"MC1488P": "±9 to ±12 V", "UA741CN": "analog", "F10102DC": "emitter-coupled", "PAL16L8ACN 8421": "programmed", "4N33": "optocoupler",
	} {
		_, _, err := marking.Resolve(text, library.Builtin())
		require.ErrorContains(t, err, says, text)
		m, err := marking.Read(text, library.Builtin(), markingDay)
		if err == nil { // there is a date code
			require.Contains(t, m.Notes[0], says, text)
			continue
		}
		require.ErrorIs(t, err, marking.ErrNothing, text)
		require.ErrorContains(t, err, says, text)
	}
}

// A part that is known and not defined is not read as another one that is: 74118 is not the
// 7411, and a 74L93 has other pins than the 7493. Digits alone may be the number of another
// series, and a 7478 of either family is shown with the question of its pins.
func TestMissingPartsAreNotReadAsOthers(t *testing.T) {
	otherSeries := []string{"748", "301", "393", "386"}
	for _, known := range library.MissingParts() {
		if strings.Contains(known.Number, "..") || slices.Contains(otherSeries, known.Number) || known.Number == "74H78" {
			continue
		}
		marks := []string{known.Number, known.Number + "N"}
		if known.Number[0] <= '9' {
			marks = append(marks, "SN"+known.Number+"N")
		}
		for _, marked := range marks {
			if typ, _, err := marking.Resolve(marked, library.Builtin()); err == nil {
				t.Errorf("%s (%s) is read as %s", marked, known.Title, typ.Name())
			}
		}
	}
}
