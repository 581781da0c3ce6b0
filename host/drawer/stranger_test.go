package drawer

import (
	"bytes"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/identify"
	"chipassay/host/link"
	"chipassay/host/record"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/match"
)

// bag runs a tray of chips that nobody names through the virtual adapter; the library is
// without some numbers. It gives the records and what was shown.
func bag(t *testing.T, tray string, without ...string) (records []record.Record, shown string) {
	t.Helper()
	lib, err := library.With()
	require.NoError(t, err)
	parts, err := lib.All()
	require.NoError(t, err)
	circuits, err := logic.CompileAll(parts)
	require.NoError(t, err)
	candidates := slices.DeleteFunc(match.Of(circuits, nil), func(c match.Candidate) bool {
		return slices.Contains(without, c.Variant.Part.Number)
	})
	plan := identify.Plan{Candidates: candidates, Others: func() ([]*logic.Circuit, error) { return circuits, nil }, Seed: 1}
	places, err := virtual.ParseTray(strings.NewReader(tray), library.Open)
	require.NoError(t, err)
	socket := virtual.NewSocket(nil, 1)
	conn, err := virtual.Open(t.Context(), socket)
	require.NoError(t, err)
	a, err := adapter.Open(t.Context(), link.New(conn, 0))
	require.NoError(t, err)
	store, err := record.Open(filepath.Join(t.TempDir(), "records.db"))
	require.NoError(t, err)
	defer store.Close()
	var screen bytes.Buffer
	bench := &Tray{Station: &Station{Adapter: a, Identify: &plan}, Socket: socket, Places: places}
	run := Run{Drawer: "D3", Identify: true, Bench: bench, Hand: bench, Records: store, Screen: &Screen{W: &screen}}
	_, err = run.Do(t.Context())
	require.NoError(t, err)
	for r, err := range store.Find(t.Context(), record.Query{}) {
		require.NoError(t, err)
		records = append(records, r)
	}
	return records, screen.String()
}

// What each chip is, is the tray's word.
func TestABagOfUnmarkedChipsIsSorted(t *testing.T) {
	records, shown := bag(t, "? chip 7404 defect \"2 stuck low\"\n74?? chip 7404 after retest\n? chip 7410 defect \"2 open\"\n?? chip 7404\n? chip 7400 defect empty\n")
	var got []string
	for _, r := range records {
		got = append(got, r.Type+" "+string(r.Verdict)+" "+r.Marking+" "+r.Note)
	}
	require.Equal(t, []string{
		"7404 fail  identified without a marking",
		"7404 pass 74?? identified, marked 74??", // of the retest

		"7410 fail  identified without a marking",
		"7404 pass  identified without a marking",
	}, got)
	require.Contains(t, shown, "7404        pass        chips 2, 4\n7404        fail        chip 1\n7410        fail        chip 3\n")
}

// No vector tells a 74132 from a 7400 (the data books, from memory): what can be read of the
// marking says which it is, and holds for that chip alone.
func TestTheMarkingOrdersWhatAChipMayBe(t *testing.T) {
	records, _ := bag(t, "74132 chip 7400\n? chip 7400\n")
	require.Len(t, records, 2)
	require.Equal(t, "74132 7400", records[0].Type+" "+records[1].Type)
}

// A 7437 answers every vector of a 7400 as that does (the data books, from memory). With it
// out of the library a 7400 may be one that the library lacks: it is not written down as good.
func TestWhatIsNotCertainIsNotWrittenDownAsGood(t *testing.T) {
	records, shown := bag(t, "? chip 7400\n", "7437")
	require.Len(t, records, 1)
	require.Equal(t, "7400 not-tested", records[0].Type+" "+string(records[0].Verdict))
	require.Regexp(t, "passes as a 7400; not certain: a 7437", records[0].Reason)
	require.Empty(t, records[0].Grade)
	require.Contains(t, shown, "1 chip: 0 pass, 0 fail, 1 not tested")
}
