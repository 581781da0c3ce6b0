package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"chipassay/host/console"
)

// patience is how long a person looks at a terminal that shows nothing.
const patience = 500 * time.Millisecond

// working says on a terminal what is being done once that takes longer than patience, and
// for how long, until stop is called, which wipes the line.
func working(w io.Writer, what string) (stop func()) {
	if !console.Colour(os.Stderr) {
		return func() {}
	}
	done, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		tick := time.NewTicker(patience)
		defer tick.Stop()
		for begun := time.Now(); ; {
			select {
			case <-done:
				fmt.Fprint(w, "\r\x1b[K")
				return
			case <-tick.C:
				fmt.Fprintf(w, "\r%s … %.1f s", what, time.Since(begun).Seconds())
			}
		}
	}()
	return func() { close(done); <-ended }
}

// drawBar draws progress over the line at hand, and ends the line when all is done.
func drawBar(w io.Writer, done float64, text string) {
	const width = 30
	filled := int(min(done, 1) * width)
	fmt.Fprintf(w, "\r[%s%s] %s", strings.Repeat("#", filled), strings.Repeat(" ", width-filled), text)
	if done >= 1 {
		fmt.Fprintln(w)
	}
}

// progressOf says on a terminal how long the work will take, and draws a bar; nil elsewhere.
func progressOf(cmd *cobra.Command, estimate time.Duration) func(float64) {
	if !console.Colour(os.Stderr) || estimate < patience {
		return nil
	}
	w := cmd.ErrOrStderr()
	fmt.Fprintf(w, "about %v\n", estimate.Round(100*time.Millisecond))
	ended := false
	return func(done float64) {
		if !ended {
			ended = done >= 1
			drawBar(w, done, fmt.Sprintf("%.0f %%", 100*done))
		}
	}
}
