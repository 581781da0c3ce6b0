package page

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/bench"
	"chipassay/host/identify"
	"chipassay/host/page/sight"
	"chipassay/vectors/library"
)

// opens opens a view of a served bench.
func (s served) opens(t *testing.T, view string) context.Context {
	t.Helper()
	page := tab(t, s.address)
	do(t, page, chromedp.Navigate(strings.Split(s.address, "/?")[0]+view))
	until(t, page, `document.body.dataset.live === "yes"`)
	return page
}

// pinNamed waits until the label of a pin has some words.
func pinNamed(t *testing.T, page context.Context, pin int, words string) {
	t.Helper()
	until(t, page, fmt.Sprintf(`document.querySelector("#pin-%d")?.getAttribute("aria-label").includes(%q)`, pin, words))
}

// focused waits until a pin has the focus.
func focused(t *testing.T, page context.Context, pin int) {
	t.Helper()
	until(t, page, fmt.Sprintf(`document.activeElement.id === "pin-%d"`, pin))
}

// legible wants a view to be readable and accessible, on a telephone and on a screen, light
// and dark.
func legible(t *testing.T, page context.Context, what string) {
	t.Helper()
	for _, scheme := range []sight.Scheme{sight.Light, sight.Dark} {
		for _, wide := range []int64{360, 1280} {
			require.NoError(t, sight.On(page, wide, 800, scheme))
			bad, err := sight.Unreadable(page)
			require.NoError(t, err)
			assert.Empty(t, bad, "%s, %s, %d pixels wide", what, scheme, wide)
		}
	}
	bad, err := sight.Inaccessible(page) // of its rules only contrast depends on the scheme, which was looked at
	require.NoError(t, err)
	assert.Empty(t, bad, what)
}

// By keyboard alone: a 7410 is powered, its inputs are set, one is left open, and what the
// gate makes of it is seen. Pins 1, 2 and 13 are the inputs of gate 1 and 12 its output
// (data book); pin 13 is opposite pin 2.
func TestExploreAnOpenInputByKeyboard(t *testing.T) {
	s := serve(t, "")
	page := s.opens(t, "/explore")
	do(t, page, chromedp.Focus(`[name="part"]`), chromedp.KeyEvent("7410"))
	until(t, page, `document.querySelector(".reading").textContent.includes("triple 3-input NAND")`)
	do(t, page, chromedp.KeyEvent(kb.Enter))
	pinNamed(t, page, 12, "output: H")
	do(t, page, chromedp.Focus("#pin-1"), chromedp.KeyEvent("h"))
	pinNamed(t, page, 1, "driven H")
	focused(t, page, 1)
	do(t, page, chromedp.KeyEvent(kb.ArrowDown))
	focused(t, page, 2)
	do(t, page, chromedp.KeyEvent(kb.Enter))
	pinNamed(t, page, 2, "driven H")
	do(t, page, chromedp.KeyEvent(kb.ArrowRight))
	focused(t, page, 13)
	do(t, page, chromedp.KeyEvent(" "))
	pinNamed(t, page, 12, "output: L")
	do(t, page, chromedp.KeyEvent("o"))
	pinNamed(t, page, 13, "open: between, 1.5")
	pinNamed(t, page, 13, "acts as H")
	pinNamed(t, page, 12, "output: L")
	focused(t, page, 13)
	do(t, page, chromedp.KeyEvent(kb.ArrowDown)) // an output
	focused(t, page, 12)
	do(t, page, chromedp.KeyEvent(kb.Enter))
	until(t, page, shows("1Y is an output: outputs are never driven"))
	do(t, page, chromedp.KeyEvent(kb.ArrowLeft), chromedp.KeyEvent(kb.ArrowDown), chromedp.KeyEvent(kb.ArrowDown), chromedp.KeyEvent(kb.ArrowDown), chromedp.KeyEvent(kb.ArrowDown))
	focused(t, page, 6) // pin 7 is ground
	do(t, page, chromedp.KeyEvent(kb.Escape))
	until(t, page, `!!document.querySelector("form[data-do=explore]")`)
	s.becomes(t, func(s bench.State) bool { return s.Work == bench.Idle && !s.Explore.On })
}

// A finger toggles and clocks; a difference is said; a walk is begun and stopped.
func TestExploreByHand(t *testing.T) {
	s := serve(t, "")
	page := s.opens(t, "/explore")
	do(t, page, chromedp.Click(".lesson > summary"))
	do(t, page, chromedp.SendKeys(`[name="part"]`, "7474"), chromedp.SendKeys(`[name="defect"]`, "5 stuck low"), chromedp.Click("form[data-do=explore] .main"))
	pinNamed(t, page, 5, "output: L")
	do(t, page, chromedp.Click("#pin-2"))
	pinNamed(t, page, 2, "driven H")
	do(t, page, chromedp.Click(`button[data-do="pulse"]`))
	pinNamed(t, page, 5, "the data sheet gives H: a difference")
	do(t, page, chromedp.SendKeys(`[name="step"]`, "1D=L\r"))
	pinNamed(t, page, 2, "driven L")
	do(t, page, chromedp.Evaluate[chromedp.Void](`document.activeElement.blur()`), chromedp.KeyEvent("r"))
	until(t, page, shows("Stop walking"))
	do(t, page, chromedp.KeyEvent("r"))
	until(t, page, shows("Walk the rows"))
	do(t, page, chromedp.Click(`[data-do="power"]`))
	until(t, page, shows("the chip may be taken out"))
}

// Each view of an exploration is legible: the form with its lessons, a difference beside an
// open input and a lamp that is half lit, and a chip that is not powered.
func TestFormOfAnExplorationIsLegible(t *testing.T) {
	s := serve(t, "")
	page := s.opens(t, "/explore")
	do(t, page, chromedp.Click(".lesson > summary"))
	legible(t, page, "the form")
}

func TestExploredChipIsLegible(t *testing.T) {
	s := serve(t, "")
	page := s.opens(t, "/explore")
	require.NoError(t, s.Bench.Explore("7410", "", "8 weak 300 ohms; 12 stuck low"))
	s.becomes(t, powered)
	require.NoError(t, s.Bench.Step("3A=H 3B=H 3C=H; 3C=open"))
	pinNamed(t, page, 8, "half lit")
	legible(t, page, "a difference")
}

func TestAChipThatIsNotPoweredIsLegible(t *testing.T) {
	s := serve(t, "")
	page := s.opens(t, "/explore")
	require.NoError(t, s.Bench.Explore("74LS245", "", "reversed"))
	until(t, page, shows("Put in backwards"))
	legible(t, page, "not powered")
}

// How long it takes from a click to the new level on the page is printed; it depends on
// what else the computer does, so nothing is asked of it here.
func TestHowLongALevelTakes(t *testing.T) {
	s := serve(t, "")
	require.NoError(t, s.Bench.Explore("7410", "", ""))
	s.becomes(t, powered)
	page := s.opens(t, "/explore")
	const clicks = 21
	took, err := chromedp.Run(page, chromedp.Evaluate[[]float64](fmt.Sprintf(`(async () => {
		const took = [], pin = document.querySelector("#pin-1");
		for (let i = 0; i < %d; i++) {
			const begun = performance.now();
			const shown = new Promise((done) => new MutationObserver((_, watch) => { watch.disconnect(); requestAnimationFrame(done); })
				.observe(pin, { attributeFilter: ["aria-label"] }));
			pin.dispatchEvent(new MouseEvent("click", { bubbles: true }));
			await shown;
			took.push(performance.now() - begun);
			await new Promise((done) => setTimeout(done, 10 + i %% 7));
		}
		return took;
	})()`, clicks), chromedp.EvalAwaitPromise))
	require.NoError(t, err)
	slices.Sort(took)
	require.Len(t, took, clicks)
	t.Logf("from a click to the new level: %.0f ms at the median, %.0f to %.0f ms", took[clicks/2], took[0], took[clicks-1])
}

// The candidates fall out on the page, and the answer stands there with its evidence; Enter
// identifies the next chip.
func TestIdentifyInABrowser(t *testing.T) {
	s := serve(t, "")
	page := s.opens(t, "/identify")
	do(t, page, chromedp.SendKeys(`[name="chip"]`, "7410"), chromedp.SendKeys(`[name="marking"]`, "74?? 7938"), chromedp.Click("form[data-do=identify] .main"))
	until(t, page, `document.querySelector(".answer .word")?.innerText.includes("PASS")`)
	until(t, page, `document.querySelector(".what").innerText === "7410 triple 3-input NAND gate"`)
	parts, err := library.Builtin().Parts()
	require.NoError(t, err)
	assert.Equal(t, fmt.Sprint(len(parts)), eval[string](t, page, `document.querySelector(".funnel .left-over").textContent`), "all of them at first")
	do(t, page, chromedp.SendKeys(`[name="defect"]`, "8 stuck high\r"))
	until(t, page, `document.querySelector(".answer .word")?.innerText.includes("FAIL")`)
	do(t, page, chromedp.Click(".answer summary"))
	legible(t, page, "the answer with its own test")
}

// Stop ends an identification, by Escape.
func TestIdentificationIsStoppedInABrowser(t *testing.T) {
	s := serve(t, "")
	page := s.opens(t, "/identify")
	legible(t, page, "the form")
	for {
		require.NoError(t, s.Bench.Identify(identify.Hint{}, "74LS181", ""))
		until(t, page, `!!document.querySelector(".identifying, .answer")`)
		do(t, page, chromedp.KeyEvent(kb.Escape))
		if s.becomes(t, func(s bench.State) bool { return s.Work == bench.Idle }).Identify.Trouble != "" {
			break // else it was done before
		}
	}
	until(t, page, shows("Stopped; the supply is off."))
}
