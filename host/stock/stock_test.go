package stock

import (
	"encoding/json"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/host/verdict"
)

// A chip with a bad gate is good for its others, one that passed in part for what was
// looked at, and one that was tested for a use for that alone; a whole one is not listed.
func TestPartlyGood(t *testing.T) {
	s, err := record.Open(filepath.Join(t.TempDir(), "records"))
	require.NoError(t, err)
	defer s.Close()
	gates := func(states ...string) (list []report.Gate) {
		for i, state := range states {
			list = append(list, report.Gate{Name: string(rune('1' + i)), State: state})
		}
		return list
	}
	pins := []report.Pin{{Number: 1, Name: "1A"}, {Number: 2, Name: "1B"}}
	const inPart = "in part: pins 1 and 2 were left out" // as host/assay begins it
	for _, c := range []struct {
		d    report.Document
		want string
	}{
		{report.Document{Verdict: verdict.Fail, Gates: gates("failed", "sound", "sound", "sound")}, "3 gates: 2 3 4"},
		{report.Document{Verdict: verdict.Fail, Gates: gates("failed", "sound")}, "gate 2"},
		{report.Document{Verdict: verdict.Fail, Gates: gates("failed", "failed")}, ""},
		{report.Document{Verdict: verdict.Fail}, ""},
		{report.Document{Verdict: verdict.Pass, Reason: inPart, Partial: []int{1}, Gates: gates("not tested", "sound")}, "gate 2"},
		{report.Document{Verdict: verdict.Pass, Reason: inPart, Partial: []int{1, 2}, Pins: pins}, "all but pins 1 (1A), 2 (1B)"},
		{report.Document{Verdict: verdict.Pass, Gates: gates("sound", "sound")}, ""},
	} {
		assert.Equal(t, c.want, goodFor(c.d, soundOf(c.d)), "%+v", c.d)
		c.d.Type, c.d.Part, c.d.Family = "7400", "7400", "74"
		object, err := json.Marshal(c.d)
		require.NoError(t, err)
		_, err = s.Append(t.Context(), record.Record{Part: "7400", Type: "7400", Family: "74", Drawer: "D3", Verdict: c.d.Verdict, Reason: c.d.Reason, Report: object})
		require.NoError(t, err)
	}
	// Limits of the 7400 (data book): IIH 40 µA, VOL 0.4 V.
	failed := func(add report.Document) report.Document {
		add.Verdict, add.VCC = verdict.Fail, 14
		add.Gates = []report.Gate{{Name: "1", Pins: []int{1, 2, 3}, State: "sound"}, {Name: "2", Pins: []int{4, 5, 6}, State: "sound"}, {Name: "3", Pins: []int{8, 9, 10}, State: "failed"}}
		return add
	}
	for _, c := range []struct {
		d    report.Document
		want []string
	}{
		{failed(report.Document{Levels: []report.Level{{Pin: 3, Quantity: "VOL", Standing: "well inside"}, {Pin: 8, Quantity: "VOL", Standing: "outside"}}}), []string{"1", "2"}},
		{failed(report.Document{Levels: []report.Level{{Pin: 3, Quantity: "VOL", Value: 0.79, Standing: "outside"}}}), []string{"2"}},
		{failed(report.Document{Levels: []report.Level{{Pin: 5, Quantity: "IIH", Value: 0.33, Standing: "outside"}}}), []string{"1"}},
		{failed(report.Document{Levels: []report.Level{{Pin: 14, Quantity: "ICC", Value: 90, Standing: "outside"}}}), []string{}},
		{failed(report.Document{FamilyCheck: "the inputs draw 0.23 mA each when low: that is low-power Schottky TTL"}), []string{}},
	} {
		assert.Equal(t, c.want, soundOf(c.d), "%+v", c.d)
	}
	assert.Equal(t, "only with 1D=L 1E=L", goodFor(report.Document{Verdict: verdict.Pass, Partial: []int{1}, Tied: []string{"1D=L", "1E=L"}}, nil))
	_, err = s.Append(t.Context(), record.Record{Verdict: verdict.Fail}) // imported, without a report
	require.NoError(t, err)
	given, err := s.Get(t.Context(), 6)
	require.NoError(t, err)
	given.Kind, given.Drawer = record.Test, record.Away("the model club")
	_, err = s.Append(t.Context(), given)
	require.NoError(t, err)
	away, err := PartlyGood(t.Context(), s, record.Query{Drawer: given.Drawer}, 0)
	require.NoError(t, err)
	require.Len(t, away, 1, "asked for by its drawer")
	list, err := PartlyGood(t.Context(), s, record.Query{}, 0)
	require.NoError(t, err)
	var records []int64
	for _, p := range list {
		records = append(records, p.Chip)
		assert.True(t, p.In(record.Holding{Drawer: "D3", Type: "7400"}))
		assert.False(t, p.In(record.Holding{Drawer: "D4", Type: "7400"}))
	}
	assert.Equal(t, []int64{1, 2, 5, 6}, records)
	list, err = PartlyGood(t.Context(), s, record.Query{NewestFirst: true, Verdict: verdict.Fail}, 1)
	require.NoError(t, err)
	require.Len(t, list, 1)
	assert.Equal(t, int64(2), list[0].Record, "the newest that is good for something")
}

// The nearest date code comes first, and a chip without one last; without a day the oldest.
func TestNearest(t *testing.T) {
	made := func(year int) time.Time { return time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC) }
	chips := []Owned{{DateCode: "none"}, {DateCode: "80", Made: made(1980)}, {DateCode: "76", Made: made(1976)}, {DateCode: "68", Made: made(1968)}}
	order := func(list []Owned) (codes string) {
		for _, o := range list {
			codes += o.DateCode + " "
		}
		return codes
	}
	assert.Equal(t, "76 80 68 none ", order(Nearest(chips, made(1977))))
	assert.Equal(t, "68 76 80 none ", order(Nearest(chips, time.Time{})))
	assert.Equal(t, "none", chips[0].DateCode, "the list itself stays as it was")
}

func TestWhere(t *testing.T) {
	chips := []Owned{{Drawer: "D3", DateCode: "7938"}, {DateCode: "8012"}, {Drawer: "D4"}, {Drawer: "D5"}}
	assert.Equal(t, "D3 7938, no drawer 8012, 2 more", Where(chips))
	assert.Equal(t, "D3 7938, no drawer 8012", Where(chips[:2]))
	assert.Empty(t, Where(nil))
}
