// Shots writes pictures of each view of the bench page, light and dark, on a screen and on
// a telephone, with a drawer of virtual chips that it tests:
//
//	go run ./host/page/shots --out DIR
package main

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"log"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"chipassay/host/page/sight"
)

func main() {
	out := flag.String("out", "shots", "folder of the pictures")
	flag.Parse()
	if err := run(*out); err != nil {
		log.Fatal("shots: ", err)
	}
}

// A scene is a view and what is done in it before a picture is taken.
type scene struct {
	name, path string
	steps      []chromedp.Action[chromedp.Void]
}

// scenes are all views. The first ones are those of one drawer run, in turn.
func scenes() []scene {
	enter := func(wanted string) []chromedp.Action[chromedp.Void] {
		return []chromedp.Action[chromedp.Void]{chromedp.KeyEvent(kb.Enter), until(wanted)}
	}
	word := func(text string) string {
		return fmt.Sprintf(`document.querySelector(".word")?.innerText.includes(%q)`, text)
	}
	return []scene{
		{"start", "/", nil},
		{"ready", "", enter(word("READY"))},
		{"pass", "", enter(word("PASS"))},
		{"fail", "", enter(word("FAIL"))},
		{"over", "", []chromedp.Action[chromedp.Void]{chromedp.Click(`[data-do="end"]`), until(`document.querySelector(".ended")`)}},
		{"explore", "/explore", nil},
		{"explore-chip", "", []chromedp.Action[chromedp.Void]{chromedp.SetValue(`form[data-do="explore"] [name="part"]`, "7410"),
			chromedp.Click(`form[data-do="explore"] button.main`), until(`document.querySelector('[data-do="toggle"]')`), step("1A=H 1B=H 1C=open")}},
		{"explore-off", "", []chromedp.Action[chromedp.Void]{chromedp.Click(`[data-do="stop"]`), until(`document.querySelector('form[data-do="explore"]')`)}},
		{"identify", "/identify", nil},
		{"identified", "", []chromedp.Action[chromedp.Void]{chromedp.SetValue(`form[data-do="identify"] [name="chip"]`, "7493"),
			chromedp.Click(`form[data-do="identify"] button.main`), until(`document.querySelector(".answer")`)}},
		{"drawers", "/drawers", nil},
		{"chip", "/chip/2", nil},
		{"stock", "/stock", nil},
		{"charts", "/charts", nil},
		{"lots", "/lots", nil},
		{"adapter", "/adapter", nil},
	}
}

// step takes a step of an exploration as it is typed.
func step(text string) chromedp.Action[chromedp.Void] {
	field := `form[data-do="step"] [name="step"]`
	return chromedp.Steps(chromedp.SetValue(field, text), chromedp.SendKeys(field, kb.Enter), chromedp.Sleep(time.Second))
}

// until waits until an expression holds on the page.
func until(expression string) chromedp.Action[chromedp.Void] {
	return func(ctx context.Context, t *chromedp.Target) (none chromedp.Void, err error) {
		_, err = chromedp.Poll[bool]("!!("+expression+")", chromedp.WithPollingTimeout(20*time.Second))(ctx, t)
		return none, err
	}
}

func run(out string) error {
	if err := os.MkdirAll(out, 0o755); err != nil {
		return err
	}
	folder, err := os.MkdirTemp("", "shots")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	program := filepath.Join(folder, "chipassay")
	if text, err := exec.Command("go", "build", "-o", program, "./cmd/chipassay").CombinedOutput(); err != nil {
		return fmt.Errorf("%w: %s", err, text)
	}
	c := exec.Command(program, "bench", "--no-open", "--adapter", "virtual", "--records", filepath.Join(folder, "records"))
	c.Stderr = os.Stderr
	pipe, err := c.StdoutPipe()
	if err != nil {
		return err
	}
	if err := c.Start(); err != nil {
		return err
	}
	defer func() { c.Process.Signal(os.Interrupt); c.Wait() }()
	first, err := bufio.NewReader(pipe).ReadString('\n')
	if err != nil {
		return err
	}
	address := strings.TrimSpace(first[strings.Index(first, "http"):])
	b, err := sight.Open()
	if err != nil {
		return err
	}
	defer b.Close()
	tab, closeTab := b.Tab(5 * time.Minute)
	defer closeTab()
	if err := chromedp.Do(tab, chromedp.Navigate(address)); err != nil {
		return err
	}
	for _, s := range scenes() {
		if err := take(tab, strings.Split(address, "/?")[0], out, s); err != nil {
			return fmt.Errorf("%s: %w", s.name, err)
		}
	}
	return nil
}

// take takes the pictures of a scene.
func take(tab context.Context, base, out string, s scene) error {
	if s.path != "" {
		if err := chromedp.Do(tab, chromedp.Navigate(base+s.path), until(`document.body.dataset.live === "yes"`)); err != nil {
			return err
		}
	}
	if err := chromedp.Do(tab, s.steps...); err != nil {
		return err
	}
	for name, on := range map[string]struct {
		wide, high int64
		scheme     sight.Scheme
	}{"": {1280, 900, sight.Light}, "-dark": {1280, 900, sight.Dark}, "-phone": {360, 740, sight.Light}} {
		if err := sight.On(tab, on.wide, on.high, on.scheme); err != nil {
			return err
		}
		picture, err := chromedp.Run(tab, chromedp.CaptureScreenshot())
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(out, s.name+name+".png"), picture, 0o644); err != nil {
			return err
		}
	}
	return nil
}
