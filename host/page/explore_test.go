package page

import (
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/bench"
	"chipassay/host/explore"
	"chipassay/host/identified"
	"chipassay/host/identify"
	"chipassay/host/report"
	"chipassay/host/verdict"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
)

// becomes waits until the bench stands so; nothing is measured by how long it waits.
func (s served) becomes(t *testing.T, so func(bench.State) bool) bench.State {
	t.Helper()
	late := time.After(30 * time.Second)
	for {
		state, changed := s.Bench.State()
		if so(state) {
			return state
		}
		select {
		case <-changed:
		case <-late:
			require.Fail(t, "the bench did not become so")
		}
	}
}

func powered(s bench.State) bool { return s.Explore != nil && s.Explore.On }

// live is the live part of a view.
func (s served) live(t *testing.T, view string) string {
	t.Helper()
	state, _ := s.Bench.State()
	return live(t, s.Server, view, state)
}

func live(t *testing.T, s *Server, view string, state bench.State) string {
	t.Helper()
	parts, err := s.parts(view, state, control{Holds: true})
	require.NoError(t, err)
	return parts["live"]
}

// holds wants words on a page.
func holds(t *testing.T, page string, words ...string) {
	t.Helper()
	for _, w := range words {
		assert.True(t, strings.Contains(page, w), "the page does not say %q", w)
	}
}

// lacks wants words to be nowhere on a page.
func lacks(t *testing.T, page string, words ...string) {
	t.Helper()
	for _, w := range words {
		assert.False(t, strings.Contains(page, w), "the page says %q", w)
	}
}

// tag is the first tag of a page with some words in it.
func tag(t *testing.T, page, words string) string {
	t.Helper()
	at := strings.Index(page, words)
	require.GreaterOrEqual(t, at, 0, "the page has no %q", words)
	from := strings.LastIndex(page[:at], "<")
	return page[from : at+strings.Index(page[at:], ">")+1]
}

// Each signal pin is a control with a name that says all that is drawn of it. Gate 1 of a
// 7410 has its inputs at pins 1, 2 and 13 and its output at 12 (data book).
func TestPinsAreNamedControls(t *testing.T) {
	s := serve(t, "")
	require.NoError(t, s.Bench.Explore("7410", "", "8 weak 300 ohms"))
	s.becomes(t, powered)
	require.NoError(t, s.Bench.Step("1A=H 1B=H 1C=H; 1C=open"))
	require.NoError(t, s.Bench.Step("3A=H 3B=H 3C=H"))
	page := s.live(t, "explore")
	for id, want := range map[string]string{
		"1": "Pin 1, 1A, input, driven H: H, 4.9", "13": "Pin 13, 1C, input, open: between, 1.5", "12": "Pin 12, 1Y, output: L, 0.06 V; the data sheet gives L; lamp lit, ",
		"8": "lamp half lit, ",
	} {
		pin := tag(t, page, `id="pin-`+id+`"`)
		assert.Contains(t, pin, want)
		assert.Contains(t, pin, `role="button"`)
		assert.Contains(t, pin, `tabindex="0"`)
	}
	assert.Contains(t, tag(t, page, `id="pin-13"`), "; acts as H", "what the gate makes of an open input")
	assert.Contains(t, tag(t, page, `id="pin-12"`), `aria-disabled="true"`, "an output is not driven")
	assert.NotContains(t, tag(t, page, `id="pin-14"`), `role="button"`, "a supply pin is none")
	holds(t, page, "floats to 1.6 V and acts as H")
	assert.Equal(t, 1, strings.Count(page, `fill-opacity="1.0"`), "the lamp at pin 12 alone is fully lit")
	holds(t, page, "Supply stays on for 60 s")
	holds(t, page, "1 of 4 rows as the data sheet has them")
	lacks(t, page, "style=")
}

// A difference has a mark and words besides its colour.
func TestDifferencesAreMarked(t *testing.T) {
	s := serve(t, "")
	require.NoError(t, s.Bench.Explore("7400", "", "3 stuck low"))
	s.becomes(t, powered)
	page := s.live(t, "explore")
	pin := tag(t, page, `id="pin-3"`)
	assert.Contains(t, pin, "the data sheet gives H: a difference")
	holds(t, page, `<g class="pin low differing"`, `<rect class="tint"`)
	holds(t, page, `class="differs"`)
	holds(t, page, `class="cross"`)
	holds(t, page, `<span class="unseen">differs</span>`)
	holds(t, page, "0 of 3 rows as the data sheet has them, 1 not")
}

func TestSupplyOffIsShown(t *testing.T) {
	s := serve(t, "")
	require.NoError(t, s.Bench.Explore("7400", "", "reversed"))
	s.becomes(t, func(s bench.State) bool { return s.Explore != nil && s.Explore.Trouble != "" })
	page := s.live(t, "explore")
	holds(t, page, "Not powered")
	holds(t, page, `<p class="reason">Put in backwards: `)
	holds(t, page, "the supply is off")
	lacks(t, page, `class="lamp"`)
	lacks(t, page, `class="switch`)
	holds(t, page, "Test its contacts and switch on")
}

// What may be the adapter's fault names its page, and no command of the terminal.
func TestTheAdaptersPageIsNamed(t *testing.T) {
	typ, err := library.Open("7400")
	require.NoError(t, err)
	s := New(bench.New(bench.Means{}), func() (*library.Library, error) { return library.With() }, nil)
	e := &bench.Explore{Type: typ, Trouble: "not powered: pins 1 and 2 shorted: take the chip out and run chipassay adapter check"}
	page := live(t, s, "explore", bench.State{Adapter: bench.Adapter{Virtual: true}, Work: bench.Exploring, Explore: e})
	holds(t, page, "Pins 1 and 2 shorted: take the chip out and check the adapter on its page.")
}

// What was not measured, a released output, and a pin of which nothing is known.
func TestOddPinsAreDrawn(t *testing.T) {
	typ, err := library.Open("74LS125")
	require.NoError(t, err)
	e := &bench.Explore{Type: typ, On: true, Left: 9 * time.Second, Settable: []int{1}, State: explore.State{CurrentMA: -1, SupplyVolts: 4.9, Pins: []explore.Pin{
		{Number: 3, Name: "1Y", Seen: explore.Released, Volts: 1.2, Expected: logic.Z, Compared: true, Takes: logic.X},
		{Number: 6, Name: "2Y", Seen: explore.Undefined, Volts: 0.1, Expected: logic.X, Takes: logic.X},
		{Number: 2, Name: "1A", Input: true, Drive: explore.Low, Seen: explore.StandsLow, Volts: 0.1, Takes: logic.X},
	}}}
	s := New(bench.New(bench.Means{}), nil, nil)
	page := live(t, s, "explore", bench.State{Work: bench.Exploring, Explore: e})
	assert.Contains(t, tag(t, page, `id="pin-3"`), "output: Z, 1.20 V; the data sheet gives Z")
	holds(t, page, ">released</text>")
	assert.Contains(t, tag(t, page, `id="pin-6"`), "output: undefined, 0.10 V; the data sheet&#39;s level is not known now")
	holds(t, page, ">sheet ?</text>")
	assert.Contains(t, tag(t, page, `id="pin-2"`), "input, held L: L")
	holds(t, page, "The supply goes off in 9 s.")
	holds(t, page, "<strong>Supply on</strong> 4.90\u00a0V</p>")
}

func TestLessonsAreForms(t *testing.T) {
	for _, l := range lessons {
		_, err := virtual.ParseDefect(l.Defect)
		assert.NoError(t, err)
	}
}

// hostile is what somebody may type.
const hostile = `"><script>alert(1)</script><img src=x onerror=alert(2)>` + "\u202e"

// Whatever is typed is text.
func TestHostileTextIsInertWhereAChipIsExplored(t *testing.T) {
	typ, err := library.Open("7400")
	require.NoError(t, err)
	s := New(bench.New(bench.Means{}), func() (*library.Library, error) { return library.With() }, nil)
	e := &bench.Explore{Typed: hostile, Chip: hostile, Defects: hostile, Type: typ, Trouble: hostile, On: true,
		State: explore.State{Did: hostile, Notes: []string{hostile}}}
	d := identified.Document{Verdict: verdict.Fail, Marking: hostile, Reason: hostile, Pins: 14, Supply: []int{14, 7},
		Candidates: []identified.Candidate{{Part: hostile, Title: hostile, Faults: []string{hostile}, Layout: []report.Pin{{Number: 1, Name: hostile}, {Number: 2}}}}, Doubts: []string{hostile}}
	i := &bench.Identify{Hint: identify.Hint{Marking: hostile, Kind: hostile}, Chip: hostile, Answer: &d, Trouble: hostile,
		History: []identify.Progress{{Doing: hostile, Left: 3, Likely: []string{hostile}}, {Doing: hostile, Left: 1, Likely: []string{hostile}}}}
	for _, work := range []bench.Work{bench.Idle, bench.Exploring, bench.Identifying} {
		for _, view := range []string{"explore", "identify"} {
			page := live(t, s, view, bench.State{Adapter: bench.Adapter{Virtual: true}, Work: work, Explore: e, Identify: i})
			lacks(t, page, "<script", "<img", "\u202e")
			holds(t, page, "&lt;script&gt;")
		}
	}
}

// A client is a page whose stream has not come yet.
func (s served) client(t *testing.T) *http.Client {
	t.Helper()
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	c := &http.Client{Jar: jar}
	answer, err := c.Get(s.address)
	require.NoError(t, err)
	answer.Body.Close()
	return c
}

// asks posts an action and gives the status and what was answered.
func (s served) asks(t *testing.T, c *http.Client, what string, values url.Values) (int, string) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, strings.Split(s.address, "/?")[0]+"/do/"+what, strings.NewReader(values.Encode()))
	require.NoError(t, err)
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("X-Viewer", "one")
	answer, err := c.Do(r)
	require.NoError(t, err)
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	return answer.StatusCode, strings.TrimSpace(string(text))
}

func TestExploreActions(t *testing.T) {
	s := serve(t, "")
	c := s.client(t)
	done := func(what string, values url.Values) {
		t.Helper()
		status, text := s.asks(t, c, what, values)
		assert.Equal(t, http.StatusNoContent, status, text)
	}
	done("explore", url.Values{"part": {"7474"}, "defect": {" ; "}})
	s.becomes(t, powered)
	done("set", url.Values{"pin": {"2"}, "to": {"H"}})
	done("pulse", url.Values{"pin": {"3"}})
	done("toggle", url.Values{"pin": {"2"}})
	state, _ := s.Bench.State()
	assert.Equal(t, explore.StandsHigh, state.Explore.State.Pin(5).Seen)
	assert.Equal(t, explore.Open, state.Explore.State.Pin(2).Drive)
	done("keep", nil)
	done("walk", nil)
	done("walk", nil)
	done("step", url.Values{"step": {"1D=L"}})
	done("power", nil)
	for want, wrong := range map[string]struct {
		what   string
		values url.Values
	}{
		"no pin was named":                 {"toggle", nil},
		"a pin is set to H, L or open":     {"set", url.Values{"pin": {"2"}, "to": {"X"}}},
		"the supply is off":                {"toggle", url.Values{"pin": {"2"}}},
		"how many pins it has is a number": {"identify", url.Values{"pins": {"many"}}},
		"pins 13: a package has two rows":  {"identify", url.Values{"pins": {"13"}}},
		"a chip is being explored: switch": {"identify", url.Values{"chip": {"7400"}}},
		`"2D" is no step: write PIN=H`:     {"step", url.Values{"step": {"2D 2D"}}},
	} {
		status, text := s.asks(t, c, wrong.what, wrong.values)
		assert.Equal(t, http.StatusUnprocessableEntity, status)
		assert.Contains(t, text, want)
	}
	done("stop", nil)
	s.becomes(t, func(s bench.State) bool { return s.Work == bench.Idle })
}

// Pins go down the left side and up the right one, seen from above (JEDEC MS-001; from memory).
func TestPinsArePlacedAroundThePackage(t *testing.T) {
	for _, c := range [][2]int{{1, 14}, {7, 8}, {3, 12}} {
		left, right := placed(c[0], 7), placed(c[1], 7)
		assert.Equal(t, left.Y, right.Y, "pins %v", c)
		assert.Equal(t, chipWidth, left.LegMiddle+right.LegMiddle)
		assert.Less(t, left.LegMiddle, right.LegMiddle)
	}
	assert.Less(t, placed(1, 7).Y, placed(7, 7).Y)
}
