package page

import (
	"context"
	"html"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/firmware/carrier"
	"chipassay/firmware/carrier/board"
	"chipassay/host/adapter"
	"chipassay/host/bench"
	seriallink "chipassay/host/link"
	"chipassay/host/record"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
)

// adapterServer is a server of a bench with a virtual board that has defects.
func adapterServer(t *testing.T, groups []string, defects ...string) *Server {
	t.Helper()
	built := virtual.NewBoard()
	if groups != nil {
		fitted, err := carrier.ParseGroups(groups)
		require.NoError(t, err)
		built.Groups(fitted...)
	}
	for _, d := range defects {
		require.NoError(t, built.Damage(d))
	}
	b := bench.New(bench.Means{
		Adapter: func(context.Context) (*adapter.Adapter, error) { return nil, seriallink.ErrNoAdapter },
		Board:   func() (*virtual.Board, error) { return built, nil },
		Records: func(context.Context, bool) (*record.Store, error) {
			return record.Open(filepath.Join(t.TempDir(), "records"))
		},
	})
	require.NoError(t, b.Open(t.Context()))
	t.Cleanup(func() { require.NoError(t, b.Close()) })
	return New(b, func() (*library.Library, error) { return library.Builtin(), nil }, func() {})
}

// does posts an action as the only page, and waits for the end of its work.
func does(t *testing.T, s *Server, what string, values url.Values) (int, string) {
	t.Helper()
	r := httptest.NewRequest(http.MethodPost, "/do/"+what, strings.NewReader(values.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("X-Viewer", "a")
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, r)
	for {
		state, changed := s.Bench.State()
		if state.Work == bench.Idle {
			return w.Code, strings.TrimSpace(w.Body.String())
		}
		<-changed
	}
}

// adapterLive is the live part of the adapter's page.
func adapterLive(t *testing.T, s *Server, change ...func(*bench.State)) string {
	t.Helper()
	state, _ := s.Bench.State()
	for _, c := range change {
		c(&state)
	}
	parts, err := s.parts("adapter", state, control{})
	require.NoError(t, err)
	return parts["live"]
}

// wordsOf is what a person reads of a fragment.
func wordsOf(fragment string) string {
	return html.UnescapeString(strings.Join(strings.Fields(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(fragment, " ")), " "))
}

// A fault is marked where the part is on the board, by shape and word, and said in words.
// The places by hand from placement.txt and the footprints: R305's body reaches from 5.16 to
// 10.08 mm and from 21.91 to 23.81, and the frame 0.7 mm further; U21's pin 4 is 3 x 2.54 mm
// below its pin 1 at 15.24, 15.24; positions 7 and 8 of the wide socket are 6 and 7 x 2.54 mm
// below 55.88, 12.70.
func TestFaultsOnTheDrawing(t *testing.T) {
	s := adapterServer(t, nil, "R305 open", "L7 shorted to L8")
	before := adapterLive(t, s)
	assert.Contains(t, wordsOf(before), "PRACTICE")
	assert.Contains(t, wordsOf(before), "It was not checked yet")
	assert.NotContains(t, before, `class="spot"`)

	code, why := does(t, s, "check", nil)
	require.Equal(t, http.StatusNoContent, code, why)
	live := adapterLive(t, s)
	assert.Contains(t, live, `<rect class="spot" x="4.46" y="21.21" width="6.32" height="3.3"/>`)
	assert.Contains(t, live, `<circle class="spot" cx="15.24" cy="22.86" r="1.5"/>`)
	assert.Contains(t, live, `<path class="touch" d="M55.88 27.94L55.88 30.48"/>`)
	for number, name := range map[string]string{"1": "between L7 and L8", "2": "R305"} {
		assert.Contains(t, live, ">fault "+number+"</text>")
		assert.Regexp(t, `<text class="flag"[^>]*>`+name+`</text>`, live)
		assert.Regexp(t, `aria-label="The carrier from above[^"]*; fault `+number+`: `+name, live)
	}
	words := wordsOf(live)
	for _, want := range []string{"2 FAULTS", "Unplug the adapter before you repair it", "R305, 10 kΩ bias resistor at L5, is open, or U21 pin 4 (QE) is open.",
		"L7 (socket position 7) and L8 (socket position 8) touch.", "Look at both joints and the value of R305", "expected 0.00, with bias low", "bias FAULT"} {
		assert.Contains(t, words, want)
	}
	assert.NotContains(t, words, "NO FAULT")
	// the copper of R305's bias line is drawn, and no supply's
	assert.Contains(t, live, `<path class="copper" d="M`)
	nets := map[string]bool{}
	addLines(nets, "L5", "GND", "+5V", "SUPPLY", "FUSED", "")
	top, bottom := copper(nets, board.Top), copper(nets, board.Bottom)
	for _, l := range []board.Layer{board.Top, board.Bottom} {
		assert.Equal(t, copper(map[string]bool{"L5": true}, l), copper(nets, l))
	}
	assert.NotEqual(t, top, bottom)
	// names of neighbours are above and below
	assert.Regexp(t, `y="20.31"[^>]*>R305<`, live)
	assert.Regexp(t, `y="26.76"[^>]*>U21 pin 4<`, live)
}

// A good board is not called good for what was not looked at.
func TestGoodBoardOnThePage(t *testing.T) {
	s := adapterServer(t, nil)
	does(t, s, "check", nil)
	live := adapterLive(t, s)
	assert.Contains(t, wordsOf(live), "NO FAULT FOUND What an empty socket does not show is listed below.")
	assert.NotContains(t, live, `class="spot"`)
	assert.Contains(t, wordsOf(live), "button and lamps The button is not pressed; an open line looks the same: press it, and measure")
}

// What is not fitted is said and dashed; what to solder next is said while one builds.
func TestGroupsOnThePage(t *testing.T) {
	s := adapterServer(t, []string{"load"})
	does(t, s, "check", url.Values{"building": {"load"}})
	live := adapterLive(t, s)
	assert.Contains(t, live, `<svg class="carrier no-far no-switches no-converters"`)
	for _, want := range []string{"starter fitted", "load fitted", "far not fitted", "switches not fitted", "converters not fitted", "solder the group far", "Then check as built up to far; or stop here", "Measure the adapter's 5 V with a voltmeter"} {
		assert.Contains(t, wordsOf(live), want)
	}
	assert.Contains(t, live, `<option value="load" selected>`)
	code, why := does(t, s, "check", url.Values{"building": {"roof"}})
	assert.Equal(t, http.StatusUnprocessableEntity, code)
	assert.Contains(t, why, `no group of the carrier is named "roof"`)
}

func TestCalibrationOnThePage(t *testing.T) {
	s := adapterServer(t, nil)
	for _, c := range []struct {
		ohms, p, q, volts, why string
	}{
		{"", "28", "8", "", "give the resistor in Ω, as your meter shows it"},
		{"1k", "28", "8", "", "give the resistor in Ω, as your meter shows it"},
		{"1002", "28", "", "", "give the two socket positions where the resistor is, such as 28 and 8"},
		{"1002", "28", "8", "five", "give the 5 V supply in V, as your meter shows it, or leave it empty"},
		{"1002", "28", "8", "-5", "give the 5 V supply in V, as your meter shows it, or leave it empty"},
		{"10", "28", "8", "", "give the resistor as your meter shows it: 470 to 4700 Ω, best 1,000 to 2,400"},
		{"1002", "28", "28", "", "the resistor is between two socket positions from 1 to 28"},
	} {
		code, why := does(t, s, "calibrate", url.Values{"ohms": {c.ohms}, "p": {c.p}, "q": {c.q}, "volts": {c.volts}})
		assert.Equal(t, http.StatusUnprocessableEntity, code, c)
		assert.Equal(t, c.why, why)
	}
	code, why := does(t, s, "calibrate", url.Values{"ohms": {"1002"}, "p": {"28"}, "q": {"8"}, "volts": {""}})
	require.Equal(t, http.StatusNoContent, code, why)
	live := adapterLive(t, s)
	for _, want := range []string{"The adapter has stored the new values.", "supply, V 5.000 4.95", "by the adapter's 2.500 V reference", "Calibration kept"} {
		assert.Contains(t, wordsOf(live), want)
	}
	assert.Contains(t, live, `value="1002"`)
	does(t, s, "forget", nil)
	assert.Contains(t, wordsOf(adapterLive(t, s)), "The calibration is erased")
	does(t, s, "measure", nil)
	assert.Regexp(t, `4\.9\d V is its 5 V supply`, wordsOf(adapterLive(t, s)))
}

// While a work goes on it can be stopped, and nothing else begun; what is lost is said.
func TestAdapterStates(t *testing.T) {
	s := adapterServer(t, nil)
	live := adapterLive(t, s, func(s *bench.State) { s.Work = bench.Checking; s.Progress = 0.25 })
	assert.Contains(t, wordsOf(live), "CHECKING Leave the socket empty. Stop: supply off")
	assert.Contains(t, live, `<progress max="1" value="0.25"`)
	assert.NotContains(t, live, `data-do="check"`)
	assert.Contains(t, live, `<button data-do="measure" disabled>`)
	live = adapterLive(t, s, func(s *bench.State) { s.Work = bench.DrawerRun })
	assert.Contains(t, live, `data-enter disabled>Check the adapter`)
	live = adapterLive(t, s, func(s *bench.State) { s.Adapter.Lost = true; s.Check = &bench.Check{Why: "stopped"} })
	assert.Contains(t, wordsOf(live), "NO ANSWER")
	assert.Contains(t, live, `data-do="look"`)
	live = adapterLive(t, s, func(s *bench.State) {
		s.Check = &bench.Check{Why: "<script>alert(1)</script>"}
		s.Adapter.Board = `"><img src=x>`
		s.Reading = &bench.Reading{When: time.Unix(0, 0), Rail: math.NaN()}
	})
	assert.Contains(t, wordsOf(live), "NOT CHECKED")
	assert.Contains(t, wordsOf(live), "Its 5 V supply is not known")
	assert.NotContains(t, live, "<script")
	assert.NotContains(t, live, "<img")
}

// The page has no script or style of its own in it, which the policy would not run (W3C CSP
// 3): what is drawn is drawn by attributes and the style sheet.
func TestAdapterPage(t *testing.T) {
	s := adapterServer(t, nil, "R305 open")
	does(t, s, "check", nil)
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/adapter", nil))
	require.Equal(t, http.StatusOK, w.Code)
	page := w.Body.String()
	assert.NotRegexp(t, `\sstyle=|\son[a-z]+=|<style|<script(>| [^>]*[^"]>)`, page)
	assert.Equal(t, 1, strings.Count(page, `id="carrier-parts"`))
	for _, name := range []string{">R305<", ">U21<", ">L14<", ">R14<", `class="parts of-converters"`} {
		assert.Contains(t, page, name)
	}
}

// What an empty socket does not show is loaded when it is opened, each with its reading.
func TestUnseenOnThePage(t *testing.T) {
	s := adapterServer(t, nil)
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/adapter/unseen", nil))
	require.Equal(t, http.StatusOK, w.Code)
	for _, want := range []string{"C128", "R801", "unplugged: not 0 Ω"} {
		assert.Contains(t, wordsOf(w.Body.String()), want)
	}
}
