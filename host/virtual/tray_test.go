package virtual

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
)

// What no chip can be marked with is refused when the tray is read, before a chip is
// tested, with its line. 1979 has 52 weeks (ISO 8601: it began on a Monday).
func TestATrayOfImpossibleDates(t *testing.T) {
	for line, says := range map[string]string{
		"7400 date 7953":              "1979 has 52 weeks, not 53",
		"7400 date 7999":              "there is no week 99",
		"7400 date 7900":              "there is no week 00",
		"7400 date 79/38":             "'/' is not a digit",
		"7400 date 6401":              "in the future",
		`7400 defect "2 open" date 1`: "has 1 digits",
	} {
		_, err := ParseTray(strings.NewReader("# drawer 3\n7400 date 7938\n"+line+"\n"), library.Open)
		require.ErrorContains(t, err, "tray, line 3: date code", line)
		require.ErrorContains(t, err, says, line)
	}
	places, err := ParseTray(strings.NewReader("7400 date 938\n7400 date -\n7400 date 8153\n"), library.Open) // 1981 has 53 weeks
	require.NoError(t, err)
	require.Len(t, places, 3)
}
