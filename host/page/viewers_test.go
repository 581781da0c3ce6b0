package page

import (
	"bufio"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/bench"
)

// A person presses Enter as soon as the page is drawn. If its stream has not reached the
// server by then, or is cut off, the only page still has the controls.
func TestTheOnlyPageHasTheControls(t *testing.T) {
	s := serve(t, twoChips)
	c := s.client(t)
	status, text := s.asks(t, c, "run", url.Values{"drawer": {"D1"}})
	assert.Equal(t, http.StatusNoContent, status, text)
	s.becomes(t, func(s bench.State) bool { return s.Work == bench.DrawerRun })
}

// A page that was closed gives way at once to the one that acts, one that is there does not.
func TestControlsOfAPageThatIsGone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var v viewers
		closed := 0
		v.gone = func() { closed++ }
		leave := v.come("old")
		second := v.come("new")
		assert.False(t, v.claim("new"))
		v.ask("new")
		stands, _ := v.control("old")
		assert.Equal(t, control{Holds: true, Others: 1, Asked: true}, stands, "it was asked, and is there")
		leave(5 * time.Second)
		assert.True(t, v.claim("new"))
		stands, _ = v.control("new")
		assert.Equal(t, control{Holds: true, Others: 1}, stands)
		time.Sleep(6 * time.Second)
		stands, _ = v.control("new")
		assert.Equal(t, control{Holds: true}, stands)
		third := v.come("third")
		second(5 * time.Second)
		v.ask("third")
		stands, _ = v.control("third")
		assert.Equal(t, control{Holds: true, Others: 1}, stands, "nobody is there to be asked")
		third(5 * time.Second)
		time.Sleep(6 * time.Second)
		assert.Equal(t, 1, closed)
	})
}

// A page whose stream breaks again soon after it came back is not closed for the first time
// that it was gone.
func TestStreamThatBreaksTwice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var v viewers
		closed := 0
		v.gone = func() { closed++ }
		v.come("page")(5 * time.Second)
		time.Sleep(4 * time.Second)
		again := v.come("page")
		v.come("page")(5 * time.Second) // a second stream, of a reload
		again(5 * time.Second)
		time.Sleep(4 * time.Second)
		assert.Zero(t, closed, "gone for 4 s")
		stands, _ := v.control("page")
		assert.True(t, stands.Holds)
		time.Sleep(2 * time.Second)
		assert.Equal(t, 1, closed)
	})
}

// A browser is told to come back before its page counts as closed (WHATWG HTML, 9.2, retry).
func TestStreamSaysWhenToComeBack(t *testing.T) {
	s := serve(t, twoChips)
	c := s.client(t)
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, strings.Split(s.address, "/?")[0]+"/live?view=bench&viewer=one", nil)
	require.NoError(t, err)
	answer, err := c.Do(r)
	require.NoError(t, err)
	defer answer.Body.Close()
	line, err := bufio.NewReader(answer.Body).ReadString('\n')
	require.NoError(t, err)
	assert.Equal(t, "retry: 300\n", line) // of the 1500 ms of these tests
}

// A page that a browser prepares before it is opened is nobody's, and takes no controls
// (W3C, Prerendering Revamped: document.prerendering, prerenderingchange).
func TestPreparedPageIsNotOpen(t *testing.T) {
	s := serve(t, twoChips)
	prepared := tab(t, "about:blank")
	_, err := chromedp.Call(prepared, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{
		Source: `Object.defineProperty(document, "prerendering", { value: true, writable: true })`})
	require.NoError(t, err)
	do(t, prepared, chromedp.Navigate(s.address))
	until(t, prepared, shows("2 virtual chips"))
	s.viewers.Lock()
	assert.Empty(t, s.viewers.list)
	s.viewers.Unlock()
	do(t, prepared, chromedp.Evaluate[chromedp.Void](`sessionStorage.viewer = "left"; document.prerendering = false; document.dispatchEvent(new Event("prerenderingchange")); undefined`))
	until(t, prepared, `document.body.dataset.live === "yes"`)
	s.viewers.Lock()
	assert.Equal(t, []string{"left"}, s.viewers.list, "the viewer that the page before has left")
	s.viewers.Unlock()
}
