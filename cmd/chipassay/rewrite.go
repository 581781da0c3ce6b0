package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"chipassay/host/assay"
	"chipassay/host/console"
)

// testEEPROM tests an EEPROM by writing all of it, once a person at a terminal has agreed.
func (f testFlags) testEEPROM(cmd *cobra.Command, c typedChip) (err error) {
	flags := cmd.Flags()
	if f.short || f.runs > 1 || f.soak > 0 || flags.Changed("at-least") || flags.Changed("march") {
		return errors.New("--short, --march, --repeat, --soak and --at-least do not go with --erase-and-test, which writes every word twice")
	}
	p := assay.MemoryPlan{Type: c.typ, PowerAnyway: f.anyway, Others: f.definitions.circuits, Memories: f.definitions.memories}
	if p.Only, err = stages(f.only); err != nil {
		return err
	}
	fmt.Fprintf(cmd.ErrOrStderr(), "all %d words of the %s in the socket are written twice: what it holds is lost. It takes about %s.\n",
		c.typ.Variant.Memory.Words, c.typ.Name(), roughly(p.RewriteEstimate()))
	if console.IsTerminal(os.Stdin) {
		if err := agreed(cmd.ErrOrStderr(), cmd.InOrStdin()); err != nil {
			return err
		}
	}
	a, err := f.open(cmd, c.typ)
	if err != nil {
		return err
	}
	defer a.Close()
	seat, err := seatOf(a, c.typ)
	if err != nil {
		return err
	}
	p.Progress = progressOf(cmd, p.RewriteEstimate())
	r := assay.RunRewrite(cmd.Context(), seat, p)
	nameAdapter(r, a)
	return f.report(cmd, c, r)
}

// eraseWord is what a person types to have an EEPROM erased.
const eraseWord = "ERASE"

// agreed asks a person to type the word out; nothing less is taken.
func agreed(out io.Writer, in io.Reader) error {
	fmt.Fprintf(out, "type %s to go on: ", eraseWord)
	line, err := bufio.NewReader(in).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	if strings.TrimSpace(line) != eraseWord {
		return fmt.Errorf("nothing was written: what was typed is not %s", eraseWord)
	}
	return nil
}

// roughly is a time as a person waits: 45 s, 12 minutes.
func roughly(d time.Duration) string {
	if d < 2*time.Minute {
		return fmt.Sprintf("%.0f s", max(1, d.Seconds()))
	}
	return fmt.Sprintf("%.0f minutes", d.Minutes())
}
