package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/spf13/cobra"

	"chipassay/host/console"
	"chipassay/host/explore"
	"chipassay/host/explore/screen"
	"chipassay/host/virtual"
)

// exploreFlags are the flags of the explore command.
type exploreFlags struct {
	testFlags
	steps, script string
}

func exploreCommand(d *definitions) *cobra.Command {
	f := exploreFlags{testFlags: testFlags{definitions: d}}
	cmd := &cobra.Command{
		Use:   "explore PART",
		Short: "Toggle the inputs of the chip in the socket and see what it does, live",
		Long: `Toggle the inputs of the chip in the socket between H, L and open, and see what its
outputs do: level and volts at every pin, what the data sheet's function gives beside
it, and a lamp at each output, an LED from the supply through its resistor as pull has
it, which glows while the output is low.

On a terminal the chip is drawn with its pins:
  arrows, tab, click   choose a pin; enter or a click toggles it: L, H, open
  h, l, o              set it high, low or open
  space                pulse the clock
  r                    walk the function table, and tick off each row; r again stops
  t                    the function table, or the chip
  : or a pin's name    type a step, as for --steps; the name alone toggles the pin
  p, q                 supply off and on; end
The supply goes off after a minute without a key.

Without a terminal, --steps and --script take steps: PIN=H, PIN=L and PIN=open, any
number of them in a step; clock PIN; and rows, which walks the function table. They
are separated by semicolons or ends of lines; a # begins a comment.

Outputs are never driven, and what the data sheet forbids is refused. A look at a
chip is no test: it says nothing of what was not looked at.

The exit status is 0 when all steps were taken, whatever the chip did; 2 for wrong
input or a refused step; 3 where the chip could not be powered.`,
		Example: `  chipassay explore 7410
  chipassay explore 7400 --adapter virtual --steps "1A=H 1B=L; 1B=open"
  chipassay explore 7474 --script lesson.txt --json`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return f.run(cmd, args[0]) },
	}
	flags := cmd.Flags()
	f.connection.flags(cmd)
	f.supplyFlag(cmd)
	flags.StringVar(&f.family, "family", "", "family, where PART names none: LS, HC, B …")
	flags.StringVar(&f.steps, "steps", "", `steps to take: "1A=H 1B=L; 1B=open; clock CLK; rows"`)
	flags.StringVar(&f.script, "script", "", "a file of steps, a line each")
	cmd.MarkFlagsMutuallyExclusive("steps", "script")
	flags.BoolVar(&f.asJSON, "json", false, "with --steps or --script: print a JSON object a line for each step")
	anywayFlag(cmd, &f.anyway)
	flags.StringVar(&f.chip, "chip", "", "virtual adapter: the part that is really in the socket")
	flags.StringArrayVar(&f.chipDefects, "defect", nil, "virtual adapter: something wrong with the chip (may be repeated):\n"+virtual.DefectForms())
	flags.Uint64Var(&f.seed, "seed", 1, "virtual adapter: random seed")
	return cmd
}

func (f exploreFlags) run(cmd *cobra.Command, typed string) (err error) {
	scripted := cmd.Flags().Changed("steps") || f.script != ""
	switch {
	case !scripted && f.asJSON:
		return errors.New("--json prints steps: add --steps or --script")
	case !scripted && !(console.IsTerminal(os.Stdin) && console.IsTerminal(os.Stdout)):
		return errors.New("there is no terminal to explore in: --steps or --script takes steps without one")
	}
	if err := f.connection.check(cmd); err != nil {
		return err
	}
	c, err := f.chipTyped(typed)
	if err != nil {
		return err
	}
	text := f.steps
	if f.script != "" {
		file, err := os.ReadFile(f.script)
		if err != nil {
			return err
		}
		text = string(file)
	}
	plan, err := explore.New(nil, c.typ) // what is wrong with the steps is said before an adapter is looked for
	if err != nil {
		return err
	}
	var steps []explore.Statement
	if scripted {
		if steps, err = plan.Script(strings.TrimRight(text, "\n")); err != nil {
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
	s, err := explore.New(seat, c.typ)
	if err != nil {
		return err
	}
	s.PowerAnyway = f.anyway
	defer func() { err = errors.Join(err, f.off(s)) }()
	if _, err := s.PowerOn(cmd.Context()); err != nil {
		return ended(cmd.Context(), err)
	}
	if scripted {
		return ended(cmd.Context(), f.take(cmd, s, steps))
	}
	return ended(cmd.Context(), f.show(cmd, s))
}

// off switches the supply off.
func (f exploreFlags) off(s *explore.Session) error {
	if err := s.Close(context.Background()); err != nil {
		return couldNotTest(err)
	}
	return nil
}

// ended says what ended a session: a step that was refused is the person's to mend, what
// else went wrong is the adapter's or the socket's.
func ended(ctx context.Context, err error) error {
	switch {
	case err == nil || errors.Is(err, explore.ErrRefused):
		return err
	case ctx.Err() != nil:
		return couldNotTest(errors.New("interrupted; the supply is off"))
	}
	return couldNotTest(err)
}

// take takes steps and prints each state.
func (f exploreFlags) take(cmd *cobra.Command, s *explore.Session, steps []explore.Statement) error {
	out := cmd.OutOrStdout()
	encode := json.NewEncoder(out)
	encode.SetEscapeHTML(false)
	see := func(state explore.State) error {
		if f.asJSON {
			return encode.Encode(state)
		}
		return screen.WriteStep(out, state)
	}
	for i, st := range steps {
		err := s.Do(cmd.Context(), st, see)
		if errors.Is(err, explore.ErrRefused) {
			return &explore.RefusedError{Why: fmt.Sprintf("step %d, %s: %v", i+1, st.Text, err)}
		}
		if err != nil {
			return err
		}
	}
	if f.asJSON {
		return nil
	}
	return screen.WriteTables(out, s.Tables())
}

// show shows the session on the terminal until it is ended.
func (f exploreFlags) show(cmd *cobra.Command, s *explore.Session) error {
	m := screen.New(cmd.Context(), s, time.Now, console.Colour(os.Stdout))
	_, err := tea.NewProgram(m, tea.WithContext(cmd.Context()), tea.WithoutSignalHandler()).Run()
	if m.Err() != nil {
		return m.Err()
	}
	return err
}
