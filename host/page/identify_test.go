package page

import (
	"io"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/bench"
	"chipassay/host/identified"
	"chipassay/host/identify"
	"chipassay/host/report"
	"chipassay/host/verdict"
)

func hasAnswer(s bench.State) bool {
	return s.Work == bench.Idle && s.Identify != nil && s.Identify.Answer != nil
}

// The answer is that of the report: its words, its drawing, its own test, and a file of it.
func TestAnswerIsShownAndKept(t *testing.T) {
	s := serve(t, "")
	require.NoError(t, s.Bench.Identify(identify.Hint{Marking: "74?? 7938", Pins: 14}, "7410", "8 stuck high"))
	d := s.becomes(t, hasAnswer).Identify.Answer
	page := s.live(t, "identify")
	holds(t, page, d.Headline(), d.What(), d.Sentence(), "Marked 74?? 7938", "7938 (1979), by the marking", "Its own test, as a 7410",
		`aria-label="7410 in a 14-pin dual in-line package, seen from above. Failed: pins 8 (3Y)`, "Parts left as steps were applied. the library: ", "<option selected>14</option>")
	assert.Equal(t, verdict.Fail, d.Verdict)
	assert.Contains(t, tag(t, page, `class="answer`), "answer fail")
	c := s.client(t)
	base := strings.Split(s.address, "/?")[0]
	answer, err := c.Get(base + "/identify/identified.html")
	require.NoError(t, err)
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	assert.Contains(t, answer.Header.Get("Content-Disposition"), "attachment")
	holds(t, string(text), "What a chip without a marking is")
}

func TestNothingToKeep(t *testing.T) {
	s := serve(t, "")
	c := s.client(t)
	answer, err := c.Get(strings.Split(s.address, "/?")[0] + "/identify/measured.part")
	require.NoError(t, err)
	defer answer.Body.Close()
	assert.Equal(t, http.StatusNotFound, answer.StatusCode)
}

// An unknown chip is shown with its function table, and its definition can be kept.
func TestUnknownChipIsShown(t *testing.T) {
	d := identified.Document{Verdict: identified.NotKnown, Reason: "no part of the library explains it", Pins: 14, Supply: []int{14, 7}, Steps: 9,
		Table: &identified.FunctionTable{Inputs: []int{1, 2}, Outputs: []int{3}, Rows: []string{"1", "1", "1", "0"}, Definition: "part 0000",
			Equations: []identified.Equation{{Pin: 3, Expression: "!(P1 & P2)", Stage: "totem-pole"}}}}
	s := New(bench.New(bench.Means{}), nil, nil)
	page := live(t, s, "identify", bench.State{Identify: &bench.Identify{Answer: &d}})
	holds(t, page, "NOT KNOWN", "<th>P1</th><th>P2</th><th>P3</th>", "!(P1 &amp; P2)", "Keep its definition", d.Caveat)
}

// What else it could be stands apart from what speaks for the answer, and none is lost.
func TestEvidenceIsParted(t *testing.T) {
	d := identified.Document{Verdict: identified.NotCertain, Pins: 14, Supply: []int{14, 7}, Steps: 9, Doubts: []string{"first", "second"},
		Candidates: []identified.Candidate{{Part: "7400", Families: []string{"74"}, SameFunction: []string{"7437"}}, {Part: "7403"}},
		ToldApart:  map[string]string{"7437": "output current", "7403": "output stage: a pull-up would show it"}}
	a := finding{&d}
	assert.Len(t, append(a.Proof(), a.Apart()...), len(d.Evidence()))
	assert.Equal(t, []report.Fact{{Label: "Same logic", Value: "7437 differs in output current"},
		{Label: "Or else", Value: "7403 differs in output stage: a pull-up would show it"}, {Label: "Doubt", Value: "second"}}, a.Apart())
}

func TestFunnel(t *testing.T) {
	s := New(bench.New(bench.Means{}), nil, nil)
	funnelOf := func(left ...int) *funnel {
		i := &bench.Identify{}
		for n, l := range left {
			i.History = append(i.History, identify.Progress{Steps: max(0, n-1), Left: l})
		}
		return view{State: bench.State{Identify: i}, server: s}.Funnel()
	}
	f := funnelOf(628, 153, 153, 4, 1, 1)
	require.Len(t, f.Bars, 4)
	assert.Equal(t, "the library: 628 left. this package: 153 left. 2 steps: 4 left. 3 steps: 1 left. ", f.Alt)
	for i, b := range f.Bars[1:] {
		assert.Less(t, b.Width, f.Bars[i].Width)
		assert.Equal(t, f.Bars[i].Y+barPitch, b.Y)
	}
	assert.Equal(t, barsLength, f.Bars[0].Width)
	assert.Equal(t, 4*barPitch, f.Height)
	assert.Len(t, funnelOf(628, 153, 4, 0, 1, 0).Bars, 4, "what comes after it starts again is not drawn")
	assert.Nil(t, funnelOf(628))
	assert.Nil(t, funnelOf())
}
