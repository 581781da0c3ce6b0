package page

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/bench"
	"chipassay/host/drawer"
	"chipassay/host/report"
	"chipassay/host/verdict"
)

// What stands in large letters is of the chip in the socket: where nothing is known of it, as
// when its test was stopped, it says so, and nothing of the chip before.
func TestLargeLettersAreOfTheChipInTheSocket(t *testing.T) {
	s := serve(t, twoChips)
	passed := &report.Document{Verdict: verdict.Pass, Typed: "7400"}
	for want, now := range map[string]drawer.Standing{
		"TESTING": {Testing: true}, "READY": {Empty: true}, "NOT TESTED": {}, "NO ANSWER": {Lost: true, Empty: true}, "PASS": {Sheet: passed, Kept: true, Recorded: "recorded"},
	} {
		page := live(t, s.Server, "bench", bench.State{Work: bench.DrawerRun, Drawer: &bench.Drawer{Part: "7400", Standing: now, Verdicts: 1}})
		holds(t, page, "<strong>"+want+"</strong>")
	}
}

// What a person is asked to clip on stands in large letters' place, with its cautions and the
// button that says it is done; Stop stays.
func TestAPersonIsAskedToClip(t *testing.T) {
	s := serve(t, twoChips)
	asking := &bench.Asking{What: "Clip 1 µF between position 1 (pin 1, 1A) and ground", Cautions: []string{"discharge it"}}
	page := live(t, s.Server, "bench", bench.State{Work: bench.DrawerRun, Drawer: &bench.Drawer{Part: "7414", Asking: asking, Standing: drawer.Standing{Testing: true}}})
	holds(t, page, "<strong>YOUR TURN</strong>", "Clip 1 µF between position 1 (pin 1, 1A) and ground.", "<li>Discharge it.</li>", `data-do="start" data-enter>It is clipped on`, `data-key="Escape"`)
	lacks(t, page, "TESTING")
}

// What is said for a terminal names on a page what the page has, and an error that ended a run
// stands above its summary.
func TestWordsOfARunOnThePage(t *testing.T) {
	s := serve(t, twoChips)
	assert.Equal(t, "     take it out, clean its pins, press Test again and seat it again", view{}.Said("     take it out, clean its pins, type retest and seat it again"))
	assert.Equal(t, "Seat a chip with pin 1 at the lever end.", view{}.Said("Seat a chip with pin 1 at the lever end; help lists what you can type."))
	assert.Equal(t, "probably a memory; a run on the Bench page shows whether it is good", view{}.Said("probably a memory; chipassay test 2114 shows whether it is good"))
	status, line := s.asks(t, s.client(t), "explore", url.Values{"part": {"7400"}, "defect": {"2 melted"}})
	assert.Equal(t, http.StatusUnprocessableEntity, status)
	assert.Equal(t, `not a defect: "2 melted": Every form lists them`, line, "one line")
	over := bench.State{Message: bench.Message{Number: 2, Text: "1 chip: 1 pass"}, Drawer: &bench.Drawer{Summary: "1 chip: 1 pass", Order: bench.Order{Drawer: "D7", Operator: "Ana"}}}
	page := live(t, s.Server, "bench", over)
	holds(t, page, `value="D7"`, `value="Ana"`)
	require.Equal(t, 1, strings.Count(page, "1 chip: 1 pass"))
	over.Message = bench.Message{Number: 3, Text: "the last chip was not recorded: the disk is full"}
	holds(t, live(t, s.Server, "bench", over), "1 chip: 1 pass", "the last chip was not recorded: the disk is full")
}

// Whatever is printed on a chip is read as it stands there, its date code too.
func TestReadingOfAWholeMarking(t *testing.T) {
	lib, err := parts()
	require.NoError(t, err)
	for typed, want := range map[string]string{
		"SN74LS00N":        "74LS00 quad 2-input NAND gate",
		"DM 7400 N / 7834": "7400 quad 2-input NAND gate; 7834 is read as a date code, week 34 of 1978, 21 to 27 August 1978", // ISO 8601
		"K155LA3":          "7400 quad 2-input NAND gate",
		"930":              "930 dual 4-input NAND gate, expandable, 6 kohm pull-ups",
	} {
		assert.Equal(t, want, Reading(lib, typed, "", time.Date(2026, time.May, 4, 0, 0, 0, 0, time.UTC)), typed)
	}
}
