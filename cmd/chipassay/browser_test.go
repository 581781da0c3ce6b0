package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/rogpeppe/go-internal/testscript"

	"chipassay/host/page/sight"
)

// browser is one headless browser for all scripts, which take turns in it.
var browser struct {
	sync.Mutex
	start sync.Once
	b     *sight.Browser
	err   error
}

// inBrowser opens a page and does something with it.
func inBrowser(ts *testscript.TestScript, file string, do func(tab context.Context) error) {
	browser.Lock()
	defer browser.Unlock()
	browser.start.Do(func() {
		browser.b, browser.err = sight.Open()
	})
	ts.Check(browser.err)
	tab, closeTab := browser.b.Tab(time.Minute)
	defer closeTab()
	ts.Check(chromedp.Do(tab, chromedp.Navigate("file://"+ts.MkAbs(file))))
	ts.Check(do(tab))
}

// stopBrowser ends the browser, if a script started it.
func stopBrowser() {
	if browser.b != nil {
		browser.b.Close()
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

// reads FILE... wants each file to be read on a telephone 360 pixels wide and on a screen,
// light and dark.
func reads(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 1 {
		ts.Fatalf("usage: reads FILE...")
	}
	for _, file := range args {
		inBrowser(ts, file, func(tab context.Context) error {
			for _, scheme := range []sight.Scheme{sight.Light, sight.Dark} {
				for _, wide := range []int64{360, 1100} {
					if err := sight.On(tab, wide, 800, scheme); err != nil {
						return err
					}
					bad, err := sight.Unreadable(tab)
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
