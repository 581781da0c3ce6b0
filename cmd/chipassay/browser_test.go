package main

import (
	"context"
	"fmt"
	"os/exec"
	"strconv"
	"strings"
	"sync"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/rogpeppe/go-internal/testscript"
)

// browser is one headless browser for all scripts, with a tab that they take turns in.
var browser struct {
	sync.Mutex
	start sync.Once
	tab   context.Context
	stop  func()
	err   error
}

// inBrowser opens a page and does something with it.
func inBrowser(ts *testscript.TestScript, file string, do func(tab context.Context) error) {
	browser.Lock()
	defer browser.Unlock()
	browser.start.Do(func() {
		if _, browser.err = exec.LookPath("chromium"); browser.err != nil {
			browser.err = fmt.Errorf("%w: apt-get install -y --no-install-recommends chromium", browser.err)
			return
		}
		allocator, stopBrowser := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox)...)
		tab, stopTab := chromedp.NewContext(allocator)
		browser.tab, browser.stop = tab, func() { stopTab(); stopBrowser() }
	})
	ts.Check(browser.err)
	ts.Check(chromedp.Do(browser.tab, chromedp.Navigate("file://"+ts.MkAbs(file))))
	ts.Check(do(browser.tab))
}

// stopBrowser ends the browser, if a script started it.
func stopBrowser() {
	if browser.stop != nil {
		browser.stop()
	}
}

// papers are the widths and heights of paper, in: ISO 216 A4 is 210 by 297 mm, ANSI A
// (Letter) 8.5 by 11 in.
var papers = []struct {
	name       string
	wide, high float64
}{{"A4", 210 / 25.4, 297 / 25.4}, {"Letter", 8.5, 11}}

// prints PAGES FILE... wants each file to print on so many pages at most, on A4 and on Letter.
func prints(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: prints PAGES FILE...")
	}
	most, err := strconv.Atoi(args[0])
	ts.Check(err)
	for _, file := range args[1:] {
		inBrowser(ts, file, func(tab context.Context) error {
			for _, p := range papers {
				pdf, err := chromedp.Call(tab, page.PrintToPDF, page.PrintToPDFParams{PaperWidth: p.wide, PaperHeight: p.high})
				if err != nil {
					return err
				}
				// A page is an object of the type Page (ISO 32000-1, 7.7.3.3).
				if n := strings.Count(string(pdf.Data), "/Type /Page\n"); n < 1 || n > most {
					return fmt.Errorf("%s prints on %d pages of %s, want %d at most", file, n, p.name, most)
				}
			}
			return nil
		})
	}
}

// unreadable lists what of a page is wider than the screen and is in nothing that
// scrolls, and texts whose contrast is under 4.5 to 1 (WCAG 2.1, success criterion 1.4.3;
// relative luminance as defined there).
const unreadable = `(() => {
	const bad = [];
	const luminance = rgb => rgb.map(c => c / 255).map(c => c <= 0.03928 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4)
		.reduce((sum, c, i) => sum + c * [0.2126, 0.7152, 0.0722][i], 0);
	const channels = colour => (colour.match(/[\d.]+/g) || []).map(Number);
	const paper = e => {
		for (; e; e = e.parentElement) {
			const c = e instanceof SVGElement ? [] : channels(getComputedStyle(e).backgroundColor);
			if (c.length == 3) return c;
		}
		return [255, 255, 255];
	};
	const right = document.documentElement.clientWidth + 1;
	for (const e of document.querySelectorAll("body *")) {
		const box = e.getBoundingClientRect();
		if (!box.width || !box.height) continue;
		if (box.right > right && !e.closest(".wide")) bad.push("too wide: " + e.tagName + " " + e.textContent.slice(0, 40));
		const own = [...e.childNodes].some(n => n.nodeType == Node.TEXT_NODE && n.data.trim());
		if (!own || e.tagName == "STYLE" || e.tagName == "title" || e.tagName == "desc") continue;
		const style = getComputedStyle(e);
		const [a, b] = [luminance(channels(e instanceof SVGElement ? style.fill : style.color)), luminance(paper(e))];
		const contrast = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
		if (contrast < 4.5) bad.push("contrast " + contrast.toFixed(1) + ": " + e.textContent.slice(0, 40));
	}
	return bad;
})()`

// reads FILE... wants each file to be read on a telephone 360 pixels wide and on a screen,
// light and dark.
func reads(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 1 {
		ts.Fatalf("usage: reads FILE...")
	}
	for _, file := range args {
		inBrowser(ts, file, func(tab context.Context) error {
			for _, scheme := range []string{"light", "dark"} {
				media := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}}
				if _, err := chromedp.Call(tab, emulation.SetEmulatedMedia, media); err != nil {
					return err
				}
				for _, wide := range []int64{360, 1100} {
					if err := chromedp.Do(tab, chromedp.EmulateViewport(wide, 800)); err != nil {
						return err
					}
					bad, err := chromedp.Run(tab, chromedp.Evaluate[[]string](unreadable))
					if err != nil {
						return err
					}
					if len(bad) > 0 {
						return fmt.Errorf("%s, %s, %d pixels wide:\n%s", file, scheme, wide, strings.Join(bad[:min(len(bad), 10)], "\n"))
					}
				}
			}
			return nil
		})
	}
}
