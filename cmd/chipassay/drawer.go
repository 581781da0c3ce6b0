package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/console"
	"chipassay/host/drawer"
	"chipassay/host/identify"
	"chipassay/host/report"
	"chipassay/host/statistics"
	"chipassay/host/virtual"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// pace is how often the socket is looked at while a chip is waited for.
const pace = 150 * time.Millisecond

// drawerFlags are the flags of the drawer command.
type drawerFlags struct {
	connection
	definitions                                     *definitions
	file                                            recordsFile
	lot                                             lotFlag
	part, operator, dateCode, tray, html, marchTest string
	keepDate, bell, everyChip, numbers, fast        bool
	identify                                        bool
	hint                                            identify.Hint
	atLeast                                         time.Duration
	seed                                            uint64
}

func drawerCommand(d *definitions) *cobra.Command {
	f := drawerFlags{definitions: d}
	cmd := &cobra.Command{
		Use:   "drawer NAME",
		Short: "Test a drawer of chips one after another, hands free, and record each",
		Long: `Test a drawer of chips one after another. Seat a chip: it is detected, tested and
recorded, and the verdict is shown. Take it out and seat the next. The adapter's
button, or Enter, also starts a test; the button also repeats one. You can type at
any time:

` + drawer.Commands() + `
Each record is on disk before its verdict is shown: nothing is lost at Ctrl-C, at
a power cut, or when the cable comes off. Wrongly seated chips and empty sockets
are not recorded.

With --identify each chip is identified instead of tested as a part, and the run
ends with a list by part; with --numbers it lists the numbers for the bags. Type
marking 74?? before a chip that can be read in part; --pins and --kind are for all
chips of the run, and exclude nothing. A chip that is not certain is recorded as not
tested.

With --tray FILE you practise with virtual chips: Enter takes out the chip in the
socket, seats the next and tests it, and every command works. In a pipe, or with
--fast, the tray runs through by itself. A tray has one line for each chip, with its
marking, then any of date CODE, note "TEXT", chip PART (what it really is),
defect "TEXT", and for an unattended run before "COMMAND" and after "COMMAND".
Practice records go to a file of their own: chipassay log --practice.`,
		Example: `  chipassay drawer D3 --part 74LS00 --operator "the apprentice"
  chipassay drawer D3 --part 7400 --lot depot-1 --date-code 7938 --keep-date --bell
  chipassay drawer D3 --identify --operator "the apprentice"
  chipassay drawer D3 --tray d3.tray`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return f.run(cmd, args[0]) },
	}
	f.file.flag(cmd)
	flags := cmd.Flags()
	flags.StringVar(&f.part, "part", "", "part of the chips: 7400, 74LS00, 4011B …")
	flags.BoolVar(&f.identify, "identify", false, "identify each chip instead of testing it as a part: for chips without a marking")
	cmd.MarkFlagsMutuallyExclusive("part", "identify")
	hintFlags(cmd, &f.hint, "with --identify: ")
	f.lot.flags(cmd, "lot to which they belong")
	flags.StringVar(&f.operator, "operator", "", "who tests")
	flags.StringVar(&f.dateCode, "date-code", "", "date code of the first chip: YYWW, YWW, or a month as marked: T4")
	flags.BoolVar(&f.keepDate, "keep-date", false, "keep the date code for the following chips until another is given")
	flags.BoolVar(&f.bell, "bell", false, "ring once for a pass, twice for not tested, three times for a fail, four for PASS, BUT")
	f.connection.flags(cmd)
	f.supplyFlag(cmd)
	flags.StringVar(&f.tray, "tray", "", "practise with the virtual chips of this file")
	flags.BoolVar(&f.fast, "fast", false, "with --tray: run through it without waiting for Enter")
	flags.BoolVar(&f.numbers, "numbers", false, "show the number under which each chip was recorded, for its bag")
	flags.StringVar(&f.html, "html", "", "write the report of the run to this HTML file")
	flags.BoolVar(&f.everyChip, "every-chip", false, "with --html: a report of every chip, passed ones too")
	flags.StringVar(&f.marchTest, "march", march.Default, "march test of memories, by its name or written down")
	atLeastFlag(cmd, &f.atLeast)
	flags.Uint64Var(&f.seed, "seed", 1, "virtual adapter: random seed")
	return cmd
}

func (f drawerFlags) run(cmd *cobra.Command, name string) (err error) {
	r := drawer.Run{
		Drawer: strings.TrimSpace(name), Operator: strings.TrimSpace(f.operator), Typed: f.part, DateCode: f.dateCode, KeepDate: f.keepDate,
		Find: f.definitions.typed, Numbers: f.numbers,
		Screen: &drawer.Screen{W: cmd.OutOrStdout(), Bell: f.bell,
			Large: console.IsTerminal(os.Stdout), Colour: console.Colour(os.Stdout), Size: terminalSize},
	}
	if err := notNegative(f.atLeast); err != nil {
		return err
	}
	if err := f.wrongHint(cmd); err != nil {
		return err
	}
	if f.tray == "" {
		if err := f.connection.check(cmd); err != nil {
			return err
		}
		if f.fast {
			return errors.New("--fast is for virtual chips: add --tray FILE")
		}
	}
	test, err := march.Read(f.marchTest)
	if err != nil {
		return fmt.Errorf("--march: %w", err)
	}
	places, err := f.places()
	if err != nil {
		return err
	}
	if r.Identify = f.identify; !f.identify && r.Typed == "" && len(places) > 0 {
		r.Typed = places[0].Marking
	}
	if r.Typed == "" && !f.identify {
		return errors.New("name the part: --part 74LS00; or --identify if it is not known")
	}
	store, err := f.file.forChips(cmd.Context(), f.tray != "")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	if err := f.lot.check(cmd.Context(), store); err != nil {
		return err
	}
	r.Records, r.Lot, r.Behind = store, f.lot.name, store.BehindWords
	station := &drawer.Station{Plan: f.plan, Memory: func(t part.Type) assay.MemoryPlan {
		return assay.MemoryPlan{Type: t, Test: test, Others: f.definitions.circuits, Memories: f.definitions.memories}
	}}
	if f.identify {
		p, err := f.definitions.identification()
		if err != nil {
			return err
		}
		p.Hint, p.Seed, p.AtLeast = f.hint, f.seed, f.atLeast
		station.Identify = &p
	}
	if f.tray != "" {
		err = f.fillFromTray(cmd, &r, station, places)
	} else {
		err = f.byHand(cmd, &r, station)
	}
	if err != nil {
		return err
	}
	defer func() { station.Adapter.Close() }()
	summary, err := r.Do(cmd.Context())
	if f.file.practice && len(summary.Tray.Chips) > 0 {
		fmt.Fprintln(cmd.OutOrStdout(), "practice, in a file of its own: chipassay log --practice")
	}
	if f.html != "" && len(summary.Tray.Chips) > 0 {
		summary.Tray.EveryChip = f.everyChip
		err = errors.Join(err, writeRun(f.html, summary.Tray))
	}
	return err
}

// wrongHint says what is wrong of what is known of chips to be identified.
func (f drawerFlags) wrongHint(cmd *cobra.Command) error {
	if !f.identify {
		for _, name := range []string{"pins", "kind"} {
			if cmd.Flags().Changed(name) {
				return fmt.Errorf("--%s is for chips without a marking: add --identify", name)
			}
		}
	}
	return wrongHint(f.hint)
}

// plan plans how a type of logic is tested.
func (f drawerFlags) plan(typ part.Type) (assay.Plan, error) {
	p, err := f.definitions.plan(typ)
	p.AtLeast = f.atLeast
	return p, err
}

// writeRun writes the report of a run with its charts.
func writeRun(name string, tray report.Tray) error {
	tray.Charts = statistics.TrayCharts(tray)
	return writeFile(name, tray.WriteHTML)
}

// places reads the tray, where there is one.
func (f drawerFlags) places() ([]virtual.Place, error) {
	switch {
	case f.tray == "" && f.adapter == virtualAdapter:
		return nil, errors.New("the virtual adapter takes its chips from a tray: --tray FILE")
	case f.tray == "":
		return nil, nil
	case f.adapter != "" && f.adapter != virtualAdapter:
		return nil, errors.New("--tray is for the virtual adapter: leave --adapter out")
	}
	file, err := os.Open(f.tray)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	return virtual.ParseTray(file, f.definitions.typed)
}

// fillFromTray sets a run up at the virtual adapter.
func (f drawerFlags) fillFromTray(cmd *cobra.Command, r *drawer.Run, station *drawer.Station, places []virtual.Place) (err error) {
	board, err := f.board()
	if err != nil {
		return err
	}
	socket := board.Socket(nil, f.seed)
	if f.fast || !console.IsTerminal(os.Stdin) || !console.IsTerminal(os.Stdout) {
		tray := &drawer.Tray{Station: station, Socket: socket, Places: places}
		r.Bench, r.Hand = tray, tray
	} else {
		practised := r.Typed
		if f.identify && len(places) > 0 {
			practised = places[0].Marking
		}
		r.Practice = &drawer.Practice{Station: station, Socket: socket, Places: places, Typed: practised}
		r.Bench, r.Hand, r.Pace = r.Practice, drawer.Lines(cmd.InOrStdin()), pace
	}
	station.Adapter, err = openSocket(cmd.Context(), socket)
	return err
}

// terminalSize is that of the terminal at standard output, where it moves its cursor.
func terminalSize() (columns, rows int) {
	if t := os.Getenv("TERM"); t == "" || t == "dumb" {
		return 0, 0
	}
	columns, rows, err := term.GetSize(int(os.Stdout.Fd()))
	if err != nil {
		return 0, 0
	}
	return columns, rows
}

// byHand sets a run up at an adapter on a serial port.
func (f drawerFlags) byHand(cmd *cobra.Command, r *drawer.Run, station *drawer.Station) error {
	connect := func(ctx context.Context) (a *adapter.Adapter, err error) {
		return f.connection.port(ctx, printing(cmd))
	}
	a, err := connect(cmd.Context())
	if err != nil {
		return err
	}
	station.Adapter = a
	r.Bench, r.Hand, r.Pace = station, drawer.Lines(cmd.InOrStdin()), pace
	r.Reconnect = func(ctx context.Context) (drawer.Bench, error) {
		station.Adapter.Close() // it is gone
		a, err := connect(ctx)
		if err == nil {
			station.Adapter = a
		}
		return station, err
	}
	return nil
}
