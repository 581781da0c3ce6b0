package report

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/marking"
	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

var update = flag.Bool("update", false, "rewrite the golden files")

const definitions = `part 7410 "triple 3-input NAND gate"
kind gate
families 74 74LS
source "from memory"
package DIP14
     1A  1 | U | 14 VCC
     1B  2 |   | 13 1C
     2A  3 |   | 12 1Y
     2B  4 |   | 11 3C
     2C  5 |   | 10 3B
     2Y  6 |   | 9  3A
    GND  7 |   | 8  3Y
inputs  1A 1B 1C 2A 2B 2C 3A 3B 3C
outputs 1Y 2Y 3Y
gate 1..3
    #Y = !(#A & #B & #C)

part 4011 "quad 2-input NAND gate"
kind gate
families 4000B
source "from memory"
caution "CMOS: touch earthed metal before you touch the chip."
package DIP14
     1A  1 | U | 14 VDD
     1B  2 |   | 13 4B
     1Y  3 |   | 12 4A
     2Y  4 |   | 11 4Y
     2A  5 |   | 10 3Y
     2B  6 |   | 9  3B
    VSS  7 |   | 8  3A
inputs  1A..4A 1B..4B
outputs 1Y..4Y
untested "left out to show how the page says it" 3Y
gate 1..4
    #Y = !(#A & #B)
`

// in gives a part of the definitions above in a family.
func in(t testing.TB, number, family string) part.Type {
	t.Helper()
	parts, err := part.Parse("test.part", definitions)
	require.NoError(t, err)
	for _, p := range parts {
		if p.Number == number {
			f := part.FamilyByName(family)
			return part.Type{Variant: p.In(f), Family: f}
		}
	}
	t.Fatalf("no part %s", number)
	return part.Type{}
}

// dated reads a date code on a day in 2026.
func dated(t testing.TB, raw string, f *part.Family) *marking.DateCode {
	t.Helper()
	d, err := marking.ParseDateCode(raw, marking.MadeSince(f), time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC))
	require.NoError(t, err)
	return &d
}

func result(typ part.Type, verdict assay.Verdict, reason string, planned int) *assay.Result {
	return &assay.Result{
		Type: typ, Verdict: verdict, Reason: reason, VectorsPlanned: planned, VectorsApplied: planned,
		Method:  fmt.Sprintf("exhaustive: all %d combinations of the inputs, one pin changing a step", planned),
		Started: time.Date(2026, 6, 1, 10, 15, 0, 0, time.UTC), Duration: 84 * time.Millisecond,
		Adapter: "virtual", Firmware: "1.0.0", SupplyCurrentMA: 6.25,
		Definition: "nand3.part", DefinitionSHA256: strings.Repeat("0123456789abcdef", 4), VectorsSHA256: strings.Repeat("fedcba9876543210", 4),
		Cautions: typ.Variant.Cautions,
		NotTested: []string{
			"speed: propagation delay, setup and hold times, maximum clock frequency",
			"behaviour over temperature and supply voltage: the test runs at 5 V and room temperature",
			"output levels under load, input currents",
		},
	}
}

func goodResult(t testing.TB) *assay.Result {
	r := result(in(t, "7410", "74"), assay.Pass, "all 512 vectors answered as in the data sheet", 512)
	r.GatesSound = []string{"1", "2", "3"}
	return r
}

func good(t testing.TB) Document {
	r := goodResult(t)
	return Of(r, "7410", "1", dated(t, "7938", r.Type.Family), "")
}

func bad(t testing.TB) Document {
	typ := in(t, "7410", "74LS")
	r := result(typ, assay.Fail, "pin 12 (1Y) is stuck low", 512)
	r.PinsFailed, r.GatesFailed, r.GatesSound = []int{12}, []string{"1"}, []string{"2", "3"}
	r.Findings = []string{
		"gate 1, pin 12 (1Y): L, expected H, with 1A=L 1B=L 1C=L (vector 1); wrong in 448 of 512 vectors",
		"pin 12 (1Y) is stuck low", "gates 2 and 3 gave every right answer",
	}
	for step := range 20 {
		r.Failures = append(r.Failures, assay.Failure{Pin: 12, Step: step + 1, Inputs: "1A=L 1B=H 1C=L", Expected: logic.One, Observed: logic.Zero})
	}
	r.FailureCount = 448
	return Of(r, "74LS10", "2", dated(t, "432", typ.Family), "bent leg straightened")
}

func untested(t testing.TB) Document {
	typ := in(t, "4011", "4000B")
	r := result(typ, assay.NotTested, "the adapter does not answer: was its cable pulled?", 256)
	r.VectorsApplied, r.SupplyCurrentMA = 0, -1
	return Of(r, "4011", "3", nil, "")
}

func partly(t testing.TB) Document {
	typ := in(t, "4011", "4000B")
	r := result(typ, assay.Pass, "in part: pins 8 (3A), 9 (3B) and 10 (3Y) are not tested; of the others, all 256 vectors answered as in the data sheet", 256)
	r.GatesSound, r.SupplyCurrentMA, r.Partial = []string{"1", "2", "4"}, 0, []int{8, 9, 10}
	r.Coverage = &fault.Coverage{
		StuckAt:   fault.Tally{Total: 16, Detectable: 15, Detected: 12, Missed: []string{"3A stuck at 1", "3B stuck at 1", "3Y stuck at 0"}},
		Pins:      fault.Tally{Total: 48, Detectable: 48, Detected: 47, Missed: []string{"pin 10 (3Y) is stuck low"}},
		Shorts:    fault.Tally{Total: 20, Detectable: 20, Detected: 20},
		Intruders: []string{"4093", "40107"}, ShortsByVectors: 18,
	}
	return Of(r, "4011BE", "4", dated(t, "6612", typ.Family), "")
}

// passBut is a chip whose every vector was right and one of whose lows is far outside.
func passBut(t testing.TB) Document {
	r := measuredResult(t)
	r.Verdict, r.But = assay.PassBut, []string{"pin 8: VOL 6.20 ± 0.05 V (at most 0.40 V) at 0.50 of rated 16 mA"}
	return Of(r, "7410", "5", nil, "")
}

// wrongPart is a chip that is not what was typed.
func wrongPart(t testing.TB) Document {
	r := result(in(t, "7410", "74LS"), assay.Fail, "probably a 74LS20, not a 74LS10: every vector of it was right, and its supplies are where they should be", 512)
	r.PinsFailed, r.FailureCount = []int{6, 8, 12}, 305
	return Of(r, "74LS10", "6", nil, "")
}

// The brief report fits a terminal with room to spare, and its last line is the verdict.
func TestBriefIsTenLines(t *testing.T) {
	long := bad(t)
	long.Reason = strings.Repeat("pin 12 (1Y) is stuck low or shorted to its neighbour ", 20)
	long.Findings = slices.Repeat([]string{long.Reason + "x"}, 10)
	long.Cautions = []string{long.Reason}
	for _, d := range append(tray(t).Chips, passBut(t), wrongPart(t), long, measured(t), Document{}) {
		text := string(written(t, func(w io.Writer) error { return d.WriteBrief(w, false) }))
		lines := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
		require.LessOrEqual(t, len(lines), 10, text)
		for _, line := range lines {
			require.LessOrEqual(t, utf8.RuneCountInString(line), 80, line)
		}
		require.True(t, strings.HasPrefix(lines[len(lines)-1], d.Headline()), text)
	}
}

func tray(t testing.TB) Tray {
	return Tray{Title: "Signal department, drawer 3", Chips: []Document{good(t), bad(t), untested(t), partly(t)}}
}

func written(t testing.TB, write func(io.Writer) error) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, write(&b))
	return b.Bytes()
}

// golden compares what is written with the file in testdata.
func golden(t *testing.T, name string, write func(io.Writer) error) {
	t.Helper()
	got := written(t, write)
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o777))
		require.NoError(t, os.WriteFile(path, got, 0o666))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, string(want), string(got), "%s is stale: go test ./host/report -update", path)
}

func TestFormats(t *testing.T) {
	for name, s := range map[string]Document{"pass": good(t), "fail": bad(t), "not-tested": untested(t), "in-part": partly(t), "pass-but": passBut(t), "wrong-part": wrongPart(t)} {
		golden(t, name+".txt", func(w io.Writer) error { return s.WriteText(w, false) })
		golden(t, name+".brief", func(w io.Writer) error { return s.WriteBrief(w, false) })
		golden(t, name+".json", s.WriteJSON)
		golden(t, name+".html", s.WriteHTML)
	}
	golden(t, "tray.json", tray(t).WriteJSON)
	golden(t, "tray.html", tray(t).WriteHTML)
	golden(t, "tray.txt", func(w io.Writer) error {
		for _, s := range tray(t).Chips {
			fmt.Fprintln(w, s.Line())
		}
		_, err := fmt.Fprintln(w, tray(t).Summary())
		return err
	})
}

// The keys that other programs read, and their values for the failed chip.
func TestJSONKeys(t *testing.T) {
	var o map[string]any
	require.NoError(t, json.Unmarshal(written(t, bad(t).WriteJSON), &o))
	want := map[string]any{
		"part": "7410", "family": "74LS", "verdict": "fail", "reason": "pin 12 (1Y) is stuck low",
		"vectors_planned": 512.0, "vectors_applied": 512.0, "pins_failed": []any{12.0}, "failure_count": 448.0,
		"definition_sha256": strings.Repeat("0123456789abcdef", 4), "vectors_sha256": strings.Repeat("fedcba9876543210", 4),
		"adapter": "virtual", "firmware": "1.0.0",
	}
	for key, value := range want {
		assert.Equal(t, value, o[key], key)
	}
	failures := o["failures"].([]any)
	assert.Len(t, failures, 20)
	assert.Equal(t, map[string]any{"pin": 12.0, "name": "1Y", "step": 1.0, "inputs": "1A=L 1B=H 1C=L", "expected": "1", "observed": "0"}, failures[0])
	date := o["date_code"].(map[string]any)
	assert.Equal(t, "432", date["raw"])
	assert.Equal(t, "1974-08-05", date["from"]) // the Monday of 1974-W32, by Python's datetime
	assert.Equal(t, "1974-08-11", date["to"])
	assert.Len(t, date["candidates"], 6) // 1974 to 2024

	require.NoError(t, json.Unmarshal(written(t, untested(t).WriteJSON), &o))
	assert.Equal(t, "not-tested", o["verdict"])
	assert.Nil(t, o["date_code"])
	assert.Nil(t, o["supply_current_ma"])
	for _, key := range []string{"pins_failed", "failures", "findings", "gates", "cautions", "not_tested"} {
		assert.IsType(t, []any{}, o[key], "%s is an array even where it holds nothing", key)
	}
}

// Every report, in every form, says what was not tested and that it releases nothing.
func TestEveryReportSaysItsLimits(t *testing.T) {
	flat := func(b []byte) string {
		return strings.Join(strings.Fields(strings.ReplaceAll(string(b), "&#39;", "'")), " ")
	}
	for _, s := range tray(t).Chips {
		for form, text := range map[string]string{
			"text": flat(written(t, func(w io.Writer) error { return s.WriteText(w, false) })),
			"json": flat(written(t, s.WriteJSON)),
			"html": flat(written(t, s.WriteHTML)),
		} {
			for _, words := range []string{
				"peed: propagation delay", "temperature", "supply voltage", "not a release for safety-critical use",
				s.Typed, s.DefinitionSHA256, s.VectorsSHA256, "virtual", "1.0.0",
			} {
				assert.Contains(t, text, words, "%s of %s", form, s.Typed)
			}
		}
	}
}

// The verdict is the first word of the text, and nothing unknown reads as a pass.
func TestVerdictFirst(t *testing.T) {
	for _, c := range []struct {
		verdict assay.Verdict
		word    string
	}{{assay.Pass, "PASS  "}, {assay.Fail, "FAIL  "}, {assay.NotTested, "NOT TESTED  "}, {"", "NOT TESTED  "}, {"perhaps", "NOT TESTED  "}} {
		s := good(t)
		s.Verdict = c.verdict
		text := string(written(t, func(w io.Writer) error { return s.WriteText(w, false) }))
		assert.True(t, strings.HasPrefix(text, c.word), "%q: %.20q", c.verdict, text)
		assert.Equal(t, strings.HasPrefix(c.word, "PASS"), strings.Contains(string(written(t, s.WriteHTML)), `<p class="word">PASS <span>`))
	}
}

func TestColour(t *testing.T) {
	text := string(written(t, func(w io.Writer) error { return good(t).WriteText(w, true) }))
	assert.True(t, strings.HasPrefix(text, "\x1b[1;32mPASS\x1b[0m"))
	assert.NotContains(t, string(written(t, func(w io.Writer) error { return good(t).WriteText(w, false) })), "\x1b")
}

// What a person types, or a firmware answers, is shown and never obeyed.
func TestHostileText(t *testing.T) {
	s := bad(t)
	const hostile = "</style><script>alert(1)</script><img src=x onerror=alert(2)>'\"\x1b[2J\a"
	s.Typed, s.Note, s.Place = hostile, hostile, hostile
	s.Reason, s.Adapter, s.Firmware = hostile, hostile, hostile
	s.Findings, s.Cautions = []string{hostile + "1"}, []string{hostile}
	s.Failures[0].Inputs = hostile
	run := Tray{Title: hostile, Chips: []Document{s}}
	for _, page := range [][]byte{written(t, s.WriteHTML), written(t, run.WriteHTML)} {
		assert.NotContains(t, string(page), "<script")
		assert.NotContains(t, string(page), "<img")
		assert.Equal(t, 1, strings.Count(string(page), "</style>"))
		assert.Contains(t, string(page), "&lt;script&gt;")
	}
	text := string(written(t, func(w io.Writer) error { return s.WriteText(w, false) })) + s.Line()
	for _, control := range []string{"\x1b", "\a"} {
		assert.NotContains(t, text, control)
	}
	var o map[string]any
	require.NoError(t, json.Unmarshal(written(t, s.WriteJSON), &o))
	assert.Equal(t, hostile, o["note"])
}

// A run of many prints on few pages: a chip that passed whole has a row of the table, and a
// report of its own only where every chip is asked for.
func TestARunShowsWhatIsNoPlainPass(t *testing.T) {
	run := tray(t)
	page := string(written(t, run.WriteHTML))
	require.NotContains(t, page, `<article id="chip-1"`)
	for _, n := range []int{2, 4} { // nothing was applied to the third
		require.Contains(t, page, fmt.Sprintf(`<article id="chip-%d"`, n))
	}
	run.EveryChip = true
	require.Equal(t, 4, strings.Count(string(written(t, run.WriteHTML)), "<article "))
}

// The page needs nothing but itself.
func TestSelfContained(t *testing.T) {
	html := string(written(t, tray(t).WriteHTML))
	for _, fetch := range []string{"http:", "https:", "//", "src=", "@import", "url(", "<link", "<script"} {
		assert.NotContains(t, html, fetch)
	}
}

// A package as the data books draw it: pin 1 top left, numbers down the left
// and up the right, so that 1 faces 14 and 7 faces 8; common practice.
func TestDrawing(t *testing.T) {
	d := *bad(t).Drawing()
	require.Len(t, d.Pins, 14)
	at := func(n int) drawnPin { return d.Pins[n-1] }
	for n := 1; n <= 7; n++ {
		assert.Equal(t, at(n).Y, at(15-n).Y, "pin %d faces pin %d", n, 15-n)
		assert.Less(t, at(n).Edge, at(15-n).Edge)
	}
	assert.Less(t, at(1).Y, at(2).Y)
	for _, p := range d.Pins {
		assert.Equal(t, p.Number == 12, p.State == "failed", "pin %d", p.Number)
		assert.Less(t, p.Y+legHeight, d.Bottom)
	}
	assert.Contains(t, d.Alt, "Failed: pin 12 (1Y)")
}

// Counts are those of one round; an unfinished one is named.
func TestVectorWords(t *testing.T) {
	for want, c := range map[string][3]int{
		"64 of 64 applied":                      {64, 64, 1},
		"0 of 64 applied":                       {0, 64, 0},
		"64 of 64 applied in each of 48 rounds": {64, 64, 48},
		"12 of 64 applied in round 3":           {12, 64, 3},
	} {
		require.Equal(t, want, vectorWords(c[0], c[1], c[2]))
	}
}

func TestSentence(t *testing.T) {
	for text, want := range map[string]string{
		"": "", "pin 2 is open": "Pin 2 is open.", "was it pulled?": "Was it pulled?", " Done. ": "Done.", "ähnlich": "Ähnlich.", "1Y is low": "1Y is low.",
	} {
		assert.Equal(t, want, Sentence(text))
	}
}

func TestTextIsNarrow(t *testing.T) {
	for _, line := range strings.Split(string(written(t, func(w io.Writer) error { return bad(t).WriteText(w, false) })), "\n") {
		assert.LessOrEqual(t, len(line), textWidth+10) // a digest is longer than its column
	}
}

// A pass in part says so in every heading, names what was not tested, and gives the
// coverage by model, what stays undetected and what would pass as well, a line each.
func TestAPassInPartSaysSo(t *testing.T) {
	s := partly(t)
	text := string(written(t, func(w io.Writer) error { return s.WriteText(w, false) }))
	require.True(t, strings.HasPrefix(text, "PASS, in part  "), text)
	require.Contains(t, text, "Not tested           pins 8 (3A), 9 (3B), 10 (3Y)")
	require.Contains(t, text, "Faults detected      stuck-at 12 of 15, pins 47 of 48, shorts 20 of 20 (2 of\n")
	require.Contains(t, text, "Stays undetected     3A stuck at 1; 3B stuck at 1; 3Y stuck at 0; and 1 more")
	require.Contains(t, text, "Would pass as well   4093, 40107")
	require.NotContains(t, text, "by the vectors alone")
	timed := s
	timed.Timing = []Timing{{Name: "1Q"}}
	require.Contains(t, string(written(t, func(w io.Writer) error { return timed.WriteText(w, false) })), "by the vectors alone, without")
	require.Contains(t, string(written(t, s.WriteHTML)), `<p class="word">PASS, in part <span>`)
	require.Contains(t, s.Line(), "  PASS, in part  4011BE")
	require.Equal(t, "PASS, in part", s.Headline())
	var o map[string]any
	require.NoError(t, json.Unmarshal(written(t, s.WriteJSON), &o))
	require.Equal(t, "pass", o["verdict"])
	require.Equal(t, []any{8.0, 9.0, 10.0}, o["partial"])
	require.Equal(t, map[string]any{"total": 16.0, "detectable": 15.0, "detected": 12.0}, o["coverage"].(map[string]any)["stuck_at"])
	require.Equal(t, []any{"4093", "40107"}, o["coverage"].(map[string]any)["passes_also"])
	require.True(t, strings.HasPrefix(string(written(t, func(w io.Writer) error { return good(t).WriteText(w, false) })), "PASS  "))
	require.True(t, assay.InPart(s.Reason))
	require.False(t, assay.InPart(good(t).Reason))
}

// Where nothing stays undetected, the JSON has an array of nothing, not a null.
func TestNothingUndetectedIsAnArray(t *testing.T) {
	r := goodResult(t)
	r.Coverage = &fault.Coverage{StuckAt: fault.Tally{Total: 18, Detectable: 18, Detected: 18}}
	var o struct {
		Coverage map[string]any `json:"coverage"`
	}
	require.NoError(t, json.Unmarshal(written(t, Of(r, "7410", "", nil, "").WriteJSON), &o))
	require.Equal(t, []any{}, o.Coverage["undetected"])
	require.Equal(t, []any{}, o.Coverage["passes_also"])
}

// A document of version 1, as it was written then, renders as far as it goes: it knows no
// pins, so that there is no picture, and a pin has a name where a reading named it.
func TestADocumentOfVersionOneIsRead(t *testing.T) {
	object, err := os.ReadFile(filepath.Join("testdata", "version1.json"))
	require.NoError(t, err)
	require.NotContains(t, string(object), `"version"`)
	d, err := ReadDocument(object)
	require.NoError(t, err)
	require.Equal(t, assay.Fail, d.Verdict)
	text := textOf(t, d)
	require.True(t, strings.HasPrefix(text, "FAIL  74LS10 triple 3-input NAND gate"), text)
	for _, words := range []string{"Failed               pin 12 (1Y)", "74LS, low-power Schottky TTL", "432: week 32 of 1974, 5 to 11 August 1974", "1A=L 1B=H 1C=L", "and 440 more"} {
		require.Contains(t, text, words)
	}
	page := string(written(t, d.WriteHTML))
	require.NotContains(t, page, `<svg class="package"`)
	require.Contains(t, page, "12 (1Y)")
}

// The report of a chip that an earlier version wrote has neither coverage nor partial.
func TestAnEarlierReportIsRead(t *testing.T) {
	c, err := ReadDocument([]byte(`{"type":"7410","verdict":"pass","vectors_planned":512,"vectors_applied":512}`))
	require.NoError(t, err)
	text := string(written(t, func(w io.Writer) error { return c.WriteText(w, false) }))
	require.True(t, strings.HasPrefix(text, "PASS  7410"), text)
	require.NotContains(t, text, "Faults detected")
	require.NotContains(t, text, "Not tested           pins")
}

// What kept a chip from being tested is in every form, and a document that was written
// before there was a field for it reads as one without.
func TestATroubleIsInEveryForm(t *testing.T) {
	d := untested(t)
	require.NotContains(t, textOf(t, d), "Why not tested")
	object := written(t, d.WriteJSON)
	require.NotContains(t, string(object), "trouble")
	before, err := ReadDocument(object)
	require.NoError(t, err)
	require.Equal(t, assay.NoTrouble, before.Trouble)

	for trouble, words := range map[assay.Trouble]string{
		assay.NoContactPins: "pins without contact", assay.ShortedPins: "shorted pins", assay.TooMuchSupply: "far too much supply current",
	} {
		d.Trouble = trouble
		require.Contains(t, textOf(t, d), "Why not tested       "+words)
		require.Contains(t, string(written(t, d.WriteHTML)), "<dt>Why not tested</dt><dd>"+words+"</dd>")
		again, err := ReadDocument(written(t, d.WriteJSON))
		require.NoError(t, err)
		require.Equal(t, trouble, again.Trouble)
	}
	r := result(in(t, "7410", "74"), assay.NotTested, "pins 8 and 9 shorted", 512)
	r.Trouble = assay.ShortedPins
	require.Equal(t, assay.ShortedPins, Of(r, "7410", "1", nil, "").Trouble)
	require.True(t, r.Reseated(assay.ShortedPins))
	condemned := Of(r, "7410", "1", nil, "")
	require.Contains(t, textOf(t, condemned), "Rejected for")
	require.Contains(t, textOf(t, condemned), "the same after reseating")
}

// A run's page names of a chip that is another part what it may be, and not what its pins
// do; and has nothing below the table for a chip to which no vector was applied.
func TestTheDetailsOfARunAddToItsTable(t *testing.T) {
	other := wrongPart(t)
	other.OtherPart, other.Findings = []string{"74LS20"}, []string{"check its marking", "gate 1 is wrong"}
	empty := untested(t)
	empty.Cautions = nil
	page := string(written(t, Tray{Chips: []Document{other, empty, passBut(t)}}.WriteHTML))
	require.Contains(t, page, "Check its marking.")
	require.NotContains(t, page, "Gate 1 is wrong.")
	require.NotContains(t, page, `<article id="chip-2"`)
	require.NotContains(t, page, `href="#chip-2"`)
	require.Equal(t, 1, strings.Count(page, "<dt>Levels</dt>"), "of the pass with a but")
	require.NotContains(t, page, "<dt>Vectors</dt>")
}
