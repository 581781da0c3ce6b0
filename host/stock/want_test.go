package stock

import (
	"cmp"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/handlist"
	"chipassay/host/marking"
	"chipassay/host/record"
	"chipassay/host/verdict"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
	"chipassay/vectors/substitute"
)

// A wantShelf is a catalogue of the library in which a 7400 is replaced by an LS without a
// change, and by an HC with one; a 7410 by a 7400 with other wiring.
func wantShelf(t *testing.T) Catalogue {
	lib, err := library.With()
	require.NoError(t, err)
	find := func(typed string) (part.Type, bool, error) { return marking.Resolve(typed, lib) }
	of := func(name string, changes bool) substitute.Substitute {
		typ, _, err := find(name)
		require.NoError(t, err)
		return substitute.Substitute{Part: typ.Part(), Families: []*part.Family{typ.Family}, Differences: []substitute.Difference{{Words: "as " + name, Change: changes}}}
	}
	return Catalogue{find, func(t part.Type) (*substitute.Substitutes, error) {
		s := &substitute.Substitutes{Of: t}
		switch t.Name() {
		case "7400":
			s.DropIn = []substitute.Substitute{of("74HC00", true), of("74LS00", false)}
		case "7410":
			s.OtherPins = []substitute.Substitute{of("7400", true), of("74LS00", true)}
		}
		return s, nil
	}}
}

func chipsIn(drawer, typ string, n int) (list []Owned) {
	for range n {
		list = append(list, Owned{Type: typ, Drawer: drawer})
	}
	return list
}

// Each has its own part first; only what is left stands in, without a change before with one, and no chip
// is promised twice.
func TestWant(t *testing.T) {
	lines := []handlist.Line{
		{Part: "SN7400N", Count: 3, References: "U1"}, {Part: "74LS00", Count: 1, References: "U2"}, {Part: "7400", Count: 2, References: "U3"},
		{Part: "7410", Count: 2}, {Part: "4700", Other: true}, {Part: "7447", Left: true, Count: 1}, {Part: "7493", Wrong: "a number?"}, {Part: "XR2206", Count: 1}, {Part: "7402"},
	}
	have := Holdings{map[string][]Owned{"7400": chipsIn("D1", "7400", 2), "74LS00": chipsIn("D3", "74LS00", 2), "74HC00": chipsIn("D5", "74HC00", 1)},
		map[string][]Owned{"7410": chipsIn("D6", "7410", 4)}}
	list, err := Want(lines, have, wantShelf(t))
	require.NoError(t, err)
	require.Len(t, list.Needs, 3, "a part of which none is wanted is not listed")
	n := list.Needs[0]
	assert.Equal(t, []any{"7400", 5, "U1, U3", 2, 1}, []any{n.Part, n.Wanted, n.References, len(n.Chips), n.Buy})
	assert.Equal(t, []Instead{{"74LS00", chipsIn("D3", "74LS00", 1), []string{"as 74LS00"}, false}, {"74HC00", chipsIn("D5", "74HC00", 1), []string{"as 74HC00"}, true}}, n.Instead)
	n = list.Needs[1]
	assert.Equal(t, []any{"74LS00", 1, 1, 0}, []any{n.Part, n.Wanted, len(n.Chips), n.Buy}, "its own, which does not stand in for another")
	n = list.Needs[2]
	assert.Equal(t, []any{"7410", 2, 0, 2, 4}, []any{n.Part, n.Wanted, len(n.Chips), n.Buy, len(n.Untested)})
	assert.Empty(t, n.Could, "what is taken is not offered again")
	assert.Equal(t, []int{1, 1, 2}, []int{list.Left, list.Others, len(list.Unknown)})

	list, err = Want(lines[3:4], have, wantShelf(t))
	require.NoError(t, err)
	assert.Equal(t, "7400", list.Needs[0].Could[0].Type)
	assert.Equal(t, 2, list.Needs[0].Buy, "other wiring is no substitute")
}

// A number without its family is given any; a line that names one has that first.
func TestWantOfAnyFamily(t *testing.T) {
	have := Holdings{Whole: map[string][]Owned{"4011B": chipsIn("D1", "4011B", 1), "4011UB": chipsIn("D2", "4011UB", 1)}}
	shelf := wantShelf(t)
	typ, named, err := shelf.Find("4011")
	require.NoError(t, err)
	require.False(t, named, "%v", typ.Name())
	list, err := Want([]handlist.Line{{Part: "4011", Count: 2}, {Part: typ.Name(), Count: 1}}, have, shelf)
	require.NoError(t, err)
	assert.Equal(t, 0, list.Needs[1].Buy)
	assert.Equal(t, "4011 of any family", list.Needs[0].Part)
}

// D is a diode, or a circuit in drawings after DIN 40719: what is known as a part is one, but for what people call 1N4007.
func TestWantOfD(t *testing.T) {
	lines := handlist.Table{Head: []string{"Ref", "Value"}, Rows: []handlist.Row{{Line: 2, Cells: []string{"D1", "SN7400N"}}, {Line: 3, Cells: []string{"D2,D3", "1N4148"}},
		{Line: 4, Cells: []string{"D4", "4007"}}, {Line: 5, Cells: []string{"D5", "CD4007UBE"}}, {Line: 6, Cells: []string{"U1", "4007"}}}}
	list, err := Want(lines.Lines(handlist.Columns{handlist.Reference: {0}, handlist.Part: {1}}), Holdings{}, wantShelf(t))
	require.NoError(t, err)
	var needs []string
	for _, n := range list.Needs {
		needs = append(needs, n.References)
	}
	assert.Equal(t, []string{"D1", "D5", "U1"}, needs)
	assert.Equal(t, []int{2, 0}, []int{list.Others, len(list.Unknown)})
}

// Held are whole good chips, and those that are not tested; not the doubtful, bad, or good in part.
func TestHeld(t *testing.T) {
	s, err := record.Open(filepath.Join(t.TempDir(), "records"))
	require.NoError(t, err)
	defer s.Close()
	made := time.Date(1979, 9, 17, 0, 0, 0, 0, time.UTC)
	for _, r := range []record.Record{
		{Verdict: verdict.Pass, Grade: verdict.Strong, From: made, To: made},
		{Verdict: verdict.Pass, Grade: verdict.Sound, From: made.AddDate(-1, 0, 0), To: made},
		{Verdict: verdict.PassBut, Grade: verdict.Doubtful}, {Verdict: verdict.Fail, Grade: verdict.Reject}, {Verdict: verdict.NotTested},
		{Verdict: verdict.Pass, Grade: verdict.FunctionOnly, Reason: "in part: pins 1 and 2 were left out"},
		{Verdict: verdict.Pass, Grade: verdict.Strong, Drawer: record.Away("the model club")}, {Verdict: verdict.NotTested, Drawer: record.Away("")},
	} {
		r.Part, r.Type, r.Family, r.Drawer = "7400", "7400", "74", cmp.Or(r.Drawer, "D3")
		_, err := s.Append(t.Context(), r)
		require.NoError(t, err)
	}
	have, err := Good(t.Context(), s)
	require.NoError(t, err)
	require.Len(t, have["7400"], 3, "what is given away is not had")
	h, err := Held(t.Context(), s)
	require.NoError(t, err)
	require.Len(t, h.Whole["7400"], 2)
	assert.Equal(t, []int64{2, 1}, []int64{h.Whole["7400"][0].Chip, h.Whole["7400"][1].Chip}, "the oldest first")
	require.Len(t, h.Untested["7400"], 1)
	assert.Equal(t, int64(5), h.Untested["7400"][0].Chip)
}
