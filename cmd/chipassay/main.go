// Chipassay tests vintage logic chips in a microcontroller's socket and says
// what each is, whether every gate of it works, and why not.
//
// Exit status: 0 pass; 1 the chip failed; 2 the command line, a definition or
// an input is wrong; 3 could not test, or could not write what came of it.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"regexp"
	"syscall"

	"github.com/spf13/cobra"

	"chipassay/host/console"
)

// Exit statuses.
const (
	exitPass         = 0
	exitFailed       = 1
	exitUsage        = 2
	exitCouldNotTest = 3
	exitPassBut      = 4 // every vector was right, and something else is wrong
)

// A statusError ends the program with a status of its own.
type statusError struct {
	status int
	err    error // printed, unless nil
}

func (e *statusError) Error() string {
	if e.err == nil {
		return ""
	}
	return e.err.Error()
}

func (e *statusError) Unwrap() error { return e.err }

// couldNotTest marks an error as the adapter's or the socket's, not the user's.
func couldNotTest(err error) error { return &statusError{exitCouldNotTest, err} }

// stopSignals end a test or a drawer run as Ctrl-C does, with the supply off: a
// request to end, a terminal that was closed, and Ctrl-\.
func stopSignals() []os.Signal {
	list := []os.Signal{os.Interrupt, syscall.SIGTERM, syscall.SIGQUIT}
	if !signal.Ignored(syscall.SIGHUP) { // nohup lets a run outlive its terminal
		list = append(list, syscall.SIGHUP)
	}
	return list
}

func main() { os.Exit(run()) }

// run is the whole program; it gives the exit status.
func run() int {
	ctx, stop := signal.NotifyContext(context.Background(), stopSignals()...)
	defer stop()
	root := rootCommand()
	out := &standardOutput{Writer: os.Stdout}
	root.SetOut(out)
	cmd, err := root.ExecuteContextC(ctx)
	return finish(counted(cmd, err), out.err)
}

// argumentCount is how cobra counts what is too much or too little on the command line.
var argumentCount = regexp.MustCompile(`^(accepts|requires) .*arg\(s\)`)

// counted says how a command is written where cobra only counts.
func counted(cmd *cobra.Command, err error) error {
	if err == nil || !argumentCount.MatchString(err.Error()) {
		return err
	}
	return fmt.Errorf("write it as %s; what has spaces stands in quotes", cmd.UseLine())
}

// finish says what went wrong, if anything did, and gives the exit status. What could not
// be printed is an error of its own, unless it is the command's.
func finish(err, unprinted error) int {
	status := exitPass
	var s *statusError
	switch {
	case unprinted != nil || noRoom(err):
		status = exitCouldNotTest
	case errors.As(err, &s):
		status = s.status
	case err != nil:
		status = exitUsage
	}
	if unprinted != nil && errors.Is(err, unprinted) {
		unprinted = nil
	}
	for _, err := range []error{err, unprinted} {
		if err == nil || err.Error() == "" {
			continue
		}
		text := err.Error()
		if noRoom(err) {
			text += "; " + noRoomAdvice
		}
		fmt.Fprintln(os.Stderr, "chipassay:", text)
	}
	return status
}

func rootCommand() *cobra.Command {
	var d definitions
	root := &cobra.Command{
		Use:     "chipassay",
		Version: version(),
		Short:   "Test vintage logic chips: what it is, whether every gate works, which pin fails and why",
		Long: `Chipassay tests vintage logic chips in the socket of a microcontroller adapter.

From a part's definition it computes what the part must do, applies every vector,
compares the answers, and names what is wrong and how sure that is.

Discharge yourself before you touch a chip, seat it with pin 1 at the lever
end, and take it out if it gets hot. A pass means that the chip performed its data
sheet's function at 5 V and room temperature. It is no release for safety-critical
use.`,
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	root.SetFlagErrorFunc(wrongValue)
	root.PersistentPreRun = func(cmd *cobra.Command, _ []string) {
		if d.say = cmd.ErrOrStderr(); console.IsTerminal(os.Stdin) && console.IsTerminal(os.Stderr) {
			d.ask = os.Stdin
		}
	}
	root.PersistentFlags().StringArrayVar(&d.folders, "library", nil, "a folder of definitions that add to the library or override it (may be repeated)")
	root.AddCommand(partsCommand(&d), showCommand(&d), vectorsCommand(&d), testCommand(&d), identifyCommand(&d), palCommand(&d), demoCommand(&d), readCommand(&d), defineCommand(&d), coverageCommand(&d), exploreCommand(&d), pullCommand(), tieCommand(&d), substitutesCommand(&d), dumpCommand(&d), adapterCommand(&d),
		benchCommand(&d), drawerCommand(&d), logCommand(), stockCommand(&d), recordCommand(), recordsCommand(&d), certificateCommand(), keyCommand(), lotCommand(), yieldCommand())
	for _, command := range more {
		root.AddCommand(command(root))
	}
	completeAll(root, &d)
	return root
}

// more are commands that only some builds have (man.go).
var more []func(root *cobra.Command) *cobra.Command
