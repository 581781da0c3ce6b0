package certificate

import (
	"bytes"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/record"
)

// A page is signed only as it is written of its records now, to the byte.
func TestOnlyAPageAsItIsWrittenNowIsSigned(t *testing.T) {
	s := newStore(t)
	for _, name := range []string{"pass.json", "fail.json", "not-tested.json"} {
		appended(t, s, tested(t, name))
	}
	write := func(lot string, serials ...int64) []byte {
		var rows []record.Number
		for _, serial := range serials {
			rows = append(rows, record.Number{Serial: serial})
		}
		list, title, err := ReadAll(t.Context(), s, rows, lot)
		require.NoError(t, err)
		var b bytes.Buffer
		require.NoError(t, Write(&b, title, list))
		return b.Bytes()
	}
	whole := write("signal box 4", 1, 2, 3)
	for _, page := range [][]byte{whole, write("", 1), write("", 3, 1), write("", 1, 2, 3)} {
		require.NoError(t, AsWritten(t.Context(), s, page))
	}
	random := rand.New(rand.NewPCG(5, 0))
	for range 40 {
		page := bytes.Clone(whole)
		at := random.IntN(len(page))
		page[at] ^= 1
		require.Error(t, AsWritten(t.Context(), s, page), "seed 5, byte %d", at)
	}
	require.ErrorIs(t, AsWritten(t.Context(), s, append(bytes.Clone(whole), '\n')), ErrNotAsWritten)

	// A page of the lot without its bad chips, title and all, is not the page of the lot.
	require.ErrorIs(t, AsWritten(t.Context(), s, write("signal box 4", 1, 3)), ErrNotAsWritten)
	few := regexp.MustCompile(`(?s)<article id="record-2".*?</article>\n`).ReplaceAll(whole, nil)
	require.Less(t, len(few), len(whole))
	require.ErrorIs(t, AsWritten(t.Context(), s, few), ErrNotAsWritten)

	require.ErrorIs(t, AsWritten(t.Context(), s, []byte(pageStart+pageEnd)), ErrNotOurs)
	require.ErrorIs(t, AsWritten(t.Context(), s, []byte(strings.ReplaceAll(string(whole), "record-1", "record-9"))), record.ErrNone)

	// The page of record 1 was made before its chip failed when it was tested again, and that was made void.
	page := write("", 1)
	again := tested(t, "fail.json")
	again.RetestOf = 1
	again = appended(t, s, again)
	require.ErrorIs(t, AsWritten(t.Context(), s, page), ErrNotAsWritten)
	again.Kind, again.Corrects, again.RetestOf, again.Report = record.Void, again.Serial, 0, nil
	appended(t, s, again)
	require.ErrorIs(t, AsWritten(t.Context(), s, page), ErrNotAsWritten)
	require.NoError(t, AsWritten(t.Context(), s, write("", 1)))
}
