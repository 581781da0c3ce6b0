// Package sight looks at pages in a real browser, Debian's chromium, as a person sees
// them: for tests, and for pictures of what the pages look like.
package sight

import (
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"os/exec"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// A Browser is one that runs without a window. It is for one goroutine at a time.
type Browser struct {
	ctx  context.Context
	stop func()
}

// Open starts a browser. The error says how to install it.
func Open() (*Browser, error) {
	if _, err := exec.LookPath("chromium"); err != nil {
		return nil, fmt.Errorf("%w: apt-get install -y --no-install-recommends chromium", err)
	}
	allocator, stopBrowser := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox,
		chromedp.Flag("use-fake-device-for-media-stream", true), chromedp.Flag("use-fake-ui-for-media-stream", true))...) // a camera that may be used
	first, stopFirst := chromedp.NewContext(allocator)
	b := &Browser{ctx: first, stop: func() { stopFirst(); stopBrowser() }}
	if err := chromedp.Do(first); err != nil { // it starts with the first tab
		b.stop()
		return nil, err
	}
	return b, nil
}

// Close ends the browser.
func (b *Browser) Close() { b.stop() }

// Tab is another tab, for chromedp's actions, with a limit for all that is done in it.
func (b *Browser) Tab(limit time.Duration) (tab context.Context, closeTab func()) {
	opened, shut := chromedp.NewContext(b.ctx)
	tab, cancel := context.WithTimeout(opened, limit)
	return tab, func() { cancel(); shut() }
}

// A Scheme is light or dark, as the person has set their screen.
type Scheme string

// The schemes.
const (
	Light Scheme = "light"
	Dark  Scheme = "dark"
)

// On sets what a tab is seen on: so many pixels wide and high, light or dark.
func On(tab context.Context, wide, high int64, s Scheme) error {
	media := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: string(s)}}}
	if _, err := chromedp.Call(tab, emulation.SetEmulatedMedia, media); err != nil {
		return err
	}
	return chromedp.Do(tab, chromedp.EmulateViewport(wide, high))
}

//go:embed unreadable.js
var unreadable string

// Unreadable lists what of a page is wider than the screen and in nothing that scrolls,
// and texts whose contrast is under 4.5 to 1 (WCAG 2.1, success criterion 1.4.3; relative
// luminance as defined there).
func Unreadable(tab context.Context) ([]string, error) {
	return chromedp.Run(tab, chromedp.Evaluate[[]string](unreadable))
}

// axe is axe-core 4.14.1 from npm, as it is (axe/LICENSE).
//
//go:embed axe/axe.min.js
var axe string

// Inaccessible lists what axe-core finds against the levels A and AA of WCAG 2.2 and
// against good practice: the rule, what it is about, and the element.
func Inaccessible(tab context.Context) (bad []string, err error) {
	there, err := chromedp.Run(tab, chromedp.Evaluate[bool](`!!window.axe`))
	if err == nil && !there {
		_, err = chromedp.Run(tab, chromedp.Evaluate[chromedp.Void](axe+"; undefined"))
	}
	if err != nil {
		return nil, err
	}
	text, err := chromedp.Run(tab, chromedp.Evaluate[string](`axe.run(document, {resultTypes: ["violations"]}).then(found =>
		JSON.stringify(found.violations.flatMap(v => v.nodes.map(n => v.id + ": " + v.help + ": " + n.html.slice(0, 160)))))`, chromedp.EvalAwaitPromise))
	if err != nil {
		return nil, err
	}
	return bad, json.Unmarshal([]byte(text), &bad)
}
