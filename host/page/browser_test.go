package page

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/bench"
	"chipassay/host/page/sight"
	"chipassay/host/record"
)

var browser struct {
	start sync.Once
	*sight.Browser
	err error
}

func TestMain(m *testing.M) {
	code := m.Run()
	if browser.Browser != nil {
		browser.Close()
	}
	os.Exit(code)
}

// tab is a tab of the one browser for all tests, at an address.
func tab(t *testing.T, address string) context.Context {
	t.Helper()
	browser.start.Do(func() { browser.Browser, browser.err = sight.Open() })
	require.NoError(t, browser.err)
	ctx, closeTab := browser.Tab(time.Minute)
	t.Cleanup(closeTab)
	do(t, ctx, chromedp.Navigate(address))
	return ctx
}

// changed says that a step met a page just as another took its place, as after a link.
func changed(err error) bool {
	if err == nil {
		return false
	}
	for _, words := range []string{"Could not find node", "Cannot find context", "navigated or closed", "context was destroyed"} {
		if strings.Contains(err.Error(), words) {
			return true
		}
	}
	return false
}

// settled does something on a page, again where the page changed meanwhile.
func settled[T any](do func() (T, error)) (T, error) {
	value, err := do()
	for again := 0; again < 5 && changed(err); again++ {
		value, err = do()
	}
	return value, err
}

// do takes steps on a page.
func do(t *testing.T, tab context.Context, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	for _, step := range steps {
		_, err := settled(func() (struct{}, error) { return struct{}{}, chromedp.Do(tab, step) })
		require.NoError(t, err)
	}
}

// until waits until an expression of JavaScript is true on a page.
func until(t *testing.T, tab context.Context, expression string) {
	t.Helper()
	poll := chromedp.Poll[bool](expression, chromedp.WithPollingTimeout(20*time.Second))
	if _, err := settled(func() (bool, error) { return chromedp.Run(tab, poll) }); err != nil {
		text, _ := chromedp.Run(tab, chromedp.Evaluate[string](`document.body.innerText`))
		require.NoError(t, err, "%s\non the page:\n%s", expression, text)
	}
}

// eval gives the value of an expression of JavaScript on a page.
func eval[T any](t *testing.T, tab context.Context, expression string) T {
	t.Helper()
	value, err := settled(func() (T, error) { return chromedp.Run(tab, chromedp.Evaluate[T](expression)) })
	require.NoError(t, err, expression)
	return value
}

func shows(text string) string { return fmt.Sprintf("document.body.innerText.includes(%q)", text) }

// begin begins the practice run on the first page.
func begin(t *testing.T, page context.Context) {
	t.Helper()
	until(t, page, shows("2 virtual chips"))
	do(t, page, chromedp.KeyEvent(kb.Enter))
	until(t, page, shows("Seat the next chip"))
}

// next seats and tests the next chip, with a verdict.
func next(t *testing.T, page context.Context, word string) {
	t.Helper()
	do(t, page, chromedp.KeyEvent(kb.Enter))
	until(t, page, fmt.Sprintf(`document.querySelector(".word")?.innerText.includes(%q)`, word))
}

// Enter alone takes a person through a drawer: it begins the run, seats and tests each chip,
// and at the end the summary stands there.
func TestDrawerByKeyboardAlone(t *testing.T) {
	s := serve(t, twoChips)
	page := tab(t, s.address)
	enter := chromedp.KeyEvent(kb.Enter)
	until(t, page, `document.querySelector("[data-enter]") && `+shows("2 virtual chips"))
	do(t, page, enter)
	until(t, page, shows("Seat the next chip"))
	do(t, page, enter)
	until(t, page, `document.querySelector(".word")?.innerText.includes("PASS")`)
	do(t, page, enter)
	until(t, page, `document.querySelector(".word")?.innerText.includes("FAIL")`)
	assert.Equal(t, "2", eval[string](t, page, `document.querySelector(".package .failed .number").textContent`), "the pin that is open is marked")
	assert.Contains(t, eval[string](t, page, `document.querySelector(".tally").innerText`), "2 chips: 1 pass, 1 fail")
	assert.Equal(t, "2", eval[string](t, page, `document.querySelector(".recent tbody a").innerText`), "the latest chip comes first")
	do(t, page, enter)
	until(t, page, shows("the run is over"))
	legible(t, page, "a run that is over")
	n := 0
	for _, err := range s.Bench.Records().Find(t.Context(), record.Query{}) {
		require.NoError(t, err)
		n++
	}
	assert.Equal(t, 2, n, "both chips are recorded")
	do(t, page, chromedp.Click(`.ended a`))
	until(t, page, `location.pathname === "/drawers" && document.querySelectorAll("tbody .marking").length === 1 && `+shows("FAIL"))
	do(t, page, chromedp.Click(`a[href="/chip/2"]`))
	until(t, page, shows("No certificate: record of a test that failed"))
}

// Each view is readable on a telephone 360 pixels wide and on a screen, light and dark
// (WCAG 2.1, 1.4.3 and 1.4.10), and axe-core finds nothing against it.
func TestViewsAreReadableAndAccessible(t *testing.T) {
	s := serve(t, twoChips)
	page := tab(t, s.address)
	until(t, page, shows("2 virtual chips"))
	do(t, page, chromedp.Evaluate[chromedp.Void](`document.querySelectorAll("details").forEach(d => { d.open = true; }); undefined`)) // the menu too
	legible(t, page, "before a run")
	do(t, page, chromedp.KeyEvent(kb.Enter))
	until(t, page, shows("Seat the next chip"))
	do(t, page, chromedp.Click(`[data-do="undo"]`))
	until(t, page, shows("nothing of this run is left to take back"))
	legible(t, page, "a run before its first chip")
	next(t, page, "PASS")
	next(t, page, "FAIL")
	require.NoError(t, sight.On(page, 1920, 1080, sight.Light))
	for _, text := range []string{".word", ".reason"} { // a letter of 1/200 of the distance, 10 mm at two metres, is 38 CSS pixels (common practice)
		size := eval[float64](t, page, fmt.Sprintf(`parseFloat(getComputedStyle(document.querySelector(".now %s")).fontSize)`, text))
		assert.GreaterOrEqual(t, size, 38.0, text)
	}
	legible(t, page, "a chip that failed")
}

// A page that is loaded again in the middle of a run shows the run as it stands, and is the
// same viewer; a tab that is duplicated has a copy of the session's storage (WHATWG HTML,
// 12.2.2) and must find no viewer in it. A note that was typed leaves Enter to the next chip.
func TestReloadInTheMiddleOfARun(t *testing.T) {
	s := serve(t, twoChips)
	page := tab(t, s.address)
	begin(t, page)
	next(t, page, "PASS")
	s.viewers.Lock()
	before := slices.Clone(s.viewers.list)
	s.viewers.Unlock()
	assert.Zero(t, eval[int](t, page, "sessionStorage.length"))
	do(t, page, chromedp.Reload())
	until(t, page, `document.body.dataset.live === "yes"`)
	until(t, page, `document.querySelector(".word")?.innerText.includes("PASS")`)
	s.viewers.Lock()
	assert.Equal(t, before, s.viewers.list)
	s.viewers.Unlock()
	do(t, page, chromedp.SendKeys(`.say [name="note"]`, "point controller\r"))
	until(t, page, shows("note: point controller"))
	until(t, page, `document.activeElement === document.body`)
	require.NoError(t, sight.On(page, 360, 740, sight.Light))
	do(t, page, chromedp.Evaluate[chromedp.Void](`scrollTo(0, 1e6); undefined`))
	next(t, page, "FAIL")
	until(t, page, `document.querySelector(".word").getBoundingClientRect().top >= 0`) // the verdict is in sight
}

// Two pages show the same bench. One holds the controls, and passes them on to the other,
// which asks for them; where it is closed, they pass by themselves.
func TestTwoPages(t *testing.T) {
	s := serve(t, twoChips)
	first := tab(t, s.address)
	until(t, first, shows("2 virtual chips"))
	second := tab(t, strings.Split(s.address, "?")[0])
	until(t, second, shows("Another page has the controls"))
	do(t, second, chromedp.KeyEvent(kb.Enter))
	until(t, second, shows("another page has the controls: ask for them"))
	do(t, second, chromedp.Click(`[data-do="ask"]`))
	until(t, first, shows("Another page asks for the controls"))
	do(t, first, chromedp.Click(`[data-do="pass"]`))
	until(t, first, shows("Another page has the controls"))
	do(t, second, chromedp.KeyEvent(kb.Enter))
	until(t, second, shows("Seat the next chip"))
	until(t, first, shows("Seat the next chip"))
	do(t, second, chromedp.Navigate("about:blank"))
	until(t, first, `!`+shows("Another page has the controls"))
}

// When the last page is closed the run waits; it goes on with the next page.
func TestClosingThePageInARun(t *testing.T) {
	s := serve(t, twoChips)
	page := tab(t, s.address)
	begin(t, page)
	do(t, page, chromedp.Navigate("about:blank"))
	require.Eventually(t, func() bool { state, _ := s.Bench.State(); return state.Drawer.Standing.Paused }, 20*time.Second, 20*time.Millisecond)
	do(t, page, chromedp.Navigate(strings.Split(s.address, "?")[0]))
	until(t, page, shows("Go on"))
	do(t, page, chromedp.KeyEvent(kb.Enter))
	until(t, page, shows("Seat the next chip"))
}

// Tones and speech are off until the person turns them on; then each verdict is heard.
func TestVerdictsAreHeard(t *testing.T) {
	s := serve(t, twoChips)
	page := tab(t, s.address)
	begin(t, page)
	next(t, page, "PASS")
	assert.Empty(t, eval[string](t, page, `(document.body.dataset.heard ?? "") + (document.body.dataset.spoken ?? "")`))
	do(t, page, chromedp.Click("summary"), chromedp.Click(`[data-setting="tone"]`), chromedp.Click(`[data-setting="speech"]`))
	do(t, page, chromedp.KeyEvent(kb.Enter))
	until(t, page, `document.body.dataset.heard === "fail" && document.body.dataset.spoken.startsWith("FAIL")`)
}

// Menu, Switch off ends the program.
func TestSwitchOff(t *testing.T) {
	s := serve(t, twoChips)
	page := tab(t, s.address)
	until(t, page, shows("2 virtual chips"))
	do(t, page, chromedp.Evaluate[chromedp.Void](`window.confirm = () => true; undefined`), chromedp.Click("summary"), chromedp.Click(`[data-do="off"]`))
	select {
	case <-s.off:
	case <-time.After(10 * time.Second):
		until(t, page, "false")
		t.Fatal("the program was not ended")
	}
}

// Another site that the same browser has open cannot switch a supply, nor read what the
// bench shows: its requests come without the cookie (SameSite=Strict), and are refused by
// their Origin (Fetch standard, 3.2) if they had it.
func TestAttackFromAnotherOrigin(t *testing.T) {
	s := serve(t, twoChips)
	page := tab(t, s.address)
	until(t, page, shows("2 virtual chips"))
	base := strings.Split(s.address, "/?")[0]
	evil := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		fmt.Fprintf(w, `<!DOCTYPE html><title>other</title><iframe name="hidden"></iframe>
<form id="f" method="post" action="%[1]s/do/run" target="hidden"><input name="drawer" value="X"></form>
<script>
	const base = %[1]q, got = [];
	const tried = fetch(base + "/do/run", {method: "POST", mode: "no-cors", credentials: "include", body: new URLSearchParams({drawer: "X"})}).catch(e => got.push("run " + e));
	const read = fetch(base + "/", {credentials: "include"}).then(r => r.text()).then(x => got.push("READ")).catch(() => got.push("unread"));
	const framed = new Promise(done => { const f = document.createElement("iframe"); f.src = base + "/"; f.onload = f.onerror = done; document.body.append(f); });
	f.submit();
	Promise.allSettled([tried, read, framed]).then(() => setTimeout(() => { document.title = "done " + got.join(" "); }, 300));
</script>`, base)
	}))
	defer evil.Close()
	// Of another site, and of the same site at another port, which has the cookie.
	for _, address := range []string{strings.Replace(evil.URL, "127.0.0.1", "localhost", 1), evil.URL} {
		attacker := tab(t, address)
		until(t, attacker, `document.title.startsWith("done")`)
		assert.NotContains(t, eval[string](t, attacker, "document.title"), "READ")
		state, _ := s.Bench.State()
		assert.Equal(t, bench.Idle, state.Work, "no work was begun from %s", address)
	}
	until(t, page, shows("2 virtual chips"))
}

// All that users say is text on a page, and stays so.
func TestHostileTextIsInert(t *testing.T) {
	s := serve(t, twoChips)
	page := tab(t, s.address)
	until(t, page, shows("2 virtual chips"))
	hostile := `<img src=x onerror="document.title='owned'"><script>document.title='owned'</script>`
	require.NoError(t, s.Bench.Run(bench.Order{Drawer: hostile, Operator: hostile}))
	until(t, page, shows("Seat the next chip"))
	next(t, page, "PASS")
	require.NoError(t, s.Bench.Tell("note "+hostile))
	until(t, page, `document.querySelector(".tally")?.innerText.includes("<img src=x")`)
	assert.Equal(t, "Bench", eval[string](t, page, "document.title"))
	assert.Zero(t, eval[int](t, page, `document.querySelectorAll("#live img, #live script").length`))
}
