package page

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/page/sight"
)

// The records are readable on a telephone 360 pixels wide and on a screen, light and dark,
// and axe-core finds nothing against them; a page that is printed has no bar and no form.
func TestRecordsAreReadableAndAccessible(t *testing.T) {
	s := serve(t, twoChips)
	s.keep(t, nil, "pass", "fail", "pass-but", "not-tested", "in-part")
	base := strings.Split(s.address, "/?")[0]
	for i, view := range append(recordViews, "/chip/2", "/drawers?family=ZZ", "/nowhere") {
		t.Run(view, func(t *testing.T) { // a tab each, since a browser has six streams at most from one server
			page := tab(t, map[bool]string{true: s.address, false: base + view}[i == 0])
			if i == 0 { // that was for the cookie
				do(t, page, chromedp.Navigate(base+view))
			}
			isReadable(t, page)
		})
	}
}

// isReadable looks at a page on both screens, in both schemes, and printed.
func isReadable(t *testing.T, page context.Context) {
	eval[bool](t, page, `document.querySelectorAll("details").forEach(d => d.open = !d.matches(".more-menu")) ?? true`)
	for _, scheme := range []sight.Scheme{sight.Light, sight.Dark} {
		for _, wide := range []int64{360, 1280} {
			require.NoError(t, sight.On(page, wide, 800, scheme))
			bad, err := sight.Unreadable(page)
			require.NoError(t, err)
			assert.Empty(t, bad, "%s, %d pixels wide", scheme, wide)
		}
	}
	bad, err := sight.Inaccessible(page)
	require.NoError(t, err)
	assert.Empty(t, bad)
	_, err = chromedp.Call(page, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
	require.NoError(t, err)
	assert.Empty(t, eval[[]string](t, page, `[...document.querySelectorAll(".bar-top, form, button, .tabs")].filter(e => e.checkVisibility()).map(e => e.outerHTML.slice(0, 60))`), "printed")
}

// arrives waits until an expression is true, on whatever page is loaded by then.
func arrives(t *testing.T, tab context.Context, expression string) {
	t.Helper()
	require.Eventually(t, func() bool {
		there, err := chromedp.Run(tab, chromedp.Evaluate[bool](expression))
		return err == nil && there
	}, 20*time.Second, 50*time.Millisecond, expression)
}

// A chip is found and corrected with the keyboard alone: / goes to the search.
func TestFindAndCorrectByKeyboard(t *testing.T) {
	s := serve(t, twoChips)
	s.keep(t, nil, "pass", "fail")
	page := tab(t, s.address)
	base := strings.Split(s.address, "/?")[0]
	do(t, page, chromedp.Navigate(base+"/drawers"))
	arrives(t, page, `document.body.dataset.live === "yes"`)
	// chromedp's own / would be written into the field too, which gets the focus by it.
	eval[bool](t, page, `document.body.dispatchEvent(new KeyboardEvent("keydown", { key: "/", bubbles: true, cancelable: true }))`)
	require.Equal(t, "text", eval[string](t, page, `document.activeElement.name`))
	do(t, page, chromedp.KeyEvent("stuck"), chromedp.KeyEvent(kb.Enter))
	arrives(t, page, `location.search.includes("text=stuck") && document.querySelectorAll(".chips tbody tr").length === 1`)
	do(t, page, chromedp.Focus(".chips tbody a"), chromedp.KeyEvent(kb.Enter))
	arrives(t, page, `location.pathname === "/chip/2" && document.readyState === "complete"`)
	do(t, page, chromedp.Focus("input[name=note]"), chromedp.KeyEvent("cleaned"), chromedp.KeyEvent(kb.Enter))
	arrives(t, page, `document.querySelector("#history")?.innerText.includes("corrected")`)
}
