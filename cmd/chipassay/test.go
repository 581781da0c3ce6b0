package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/assay/thresholds"
	"chipassay/host/assay/timing"
	"chipassay/host/console"
	"chipassay/host/marking"
	"chipassay/host/report"
	"chipassay/host/virtual"
	"chipassay/vectors/logic"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
)

// testFlags are the flags of the test command.
type testFlags struct {
	connection
	definitions                        *definitions
	family, dateCode, note, html       string
	chip, march                        string
	chipDefects                        []string
	only, tied                         []string
	short, long, everyReadback, anyway bool
	full, erase                        bool
	runs                               int
	soak, atLeast                      time.Duration
	seed                               uint64
	asJSON                             bool
	clipping                           clipping
	timing                             timingFlags
	keeping                            keeping
}

func testCommand(d *definitions) *cobra.Command {
	f := testFlags{definitions: d}
	cmd := &cobra.Command{
		Use:   "test PART",
		Short: "Test the chip in the socket as PART, and name what is wrong",
		Long: `Test the chip in the socket as PART: every vector applied and compared.

The last line is the verdict with its reason. The exit status is 0 for a pass, 1
for a fail, 2 for wrong input, 3 for what could not be tested, and 4 for PASS, BUT:
every vector was right, but a level, a leak or the family is wrong.

An EEPROM is written and tested only with --erase-and-test: what it holds is lost.

PART is what is marked on the chip without the maker's letters, such as 7410,
74LS51 or 4011B. Seat the chip with pin 1 at the lever end before you start.`,
		Example: `  chipassay test 7410 --date-code 7938
  chipassay test 74LS51 --adapter /dev/ttyACM0 --html 74ls51.html
  chipassay test 7410 --record --drawer D3
  chipassay test 7410 --adapter virtual --defect "2 open"`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return runTest(cmd, args[0], f) },
	}
	flags := cmd.Flags()
	f.connection.flags(cmd)
	f.supplyFlag(cmd)
	flags.StringVar(&f.family, "family", "", "family, if PART names none: LS, HC, B …")
	flags.StringVar(&f.dateCode, "date-code", "", "date code on the chip: YYWW, YWW, or a month as marked: T4, 9K, SEP79")
	flags.StringVar(&f.note, "note", "", "note for the report")
	flags.BoolVar(&f.asJSON, "json", false, "print the result as one JSON object")
	flags.BoolVar(&f.full, "full", false, "print the whole report instead of ten lines")
	flags.StringVar(&f.html, "html", "", "write the report to this HTML file too")
	flags.StringSliceVar(&f.only, "only", nil, "only these stages: contact, function, levels; without function no chip passes")
	flags.StringSliceVar(&f.tied, "tied", nil, "test for one use only, with these inputs held at a level: 1D=L,1E=L,1F=L")
	f.timing.flags(cmd)
	flags.BoolVar(&f.short, "short", false, "quick test: the fewest vectors that show every modelled fault")
	flags.BoolVar(&f.long, "long", false, "reach the stages of a divider that take up to a million clocks")
	cmd.MarkFlagsMutuallyExclusive("short", "long")
	flags.BoolVar(&f.everyReadback, "every-readback", false, "compare every readback in the host instead of signatures in the adapter")
	f.clipping.flags(cmd)
	anywayFlag(cmd, &f.anyway)
	flags.StringVar(&f.march, "march", march.Default, "march test of a memory: MATS+, March X, March Y, March C-, March SS …;\nor one of your own, such as '{any(w0);up(r0,w1);down(r1,w0)}'")
	flags.BoolVar(&f.erase, "erase-and-test", false, "write all of an EEPROM, twice, and read it back: what it holds is lost.\nOn a terminal the word ERASE must be typed as well")
	atLeastFlag(cmd, &f.atLeast)
	flags.IntVar(&f.runs, "repeat", 1, "number of tests, to find intermittent faults")
	flags.DurationVar(&f.soak, "soak", 0, "repeat the test for this long: 30s, 10m")
	flags.StringVar(&f.chip, "chip", "", "virtual adapter: the part that is really in the socket")
	flags.StringArrayVar(&f.chipDefects, "defect", nil, "virtual adapter: a defect of the chip (may be repeated):\n"+virtual.DefectForms())
	flags.Uint64Var(&f.seed, "seed", 1, "virtual adapter: random seed")
	f.keeping.flags(cmd)
	return cmd
}

func runTest(cmd *cobra.Command, typed string, f testFlags) (err error) {
	if err := f.keeping.open(cmd.Context(), f.adapter); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.keeping.close()) }()
	if err := f.connection.check(cmd); err != nil {
		return err
	}
	if err := notNegative(f.atLeast); err != nil {
		return err
	}
	c, err := f.chipTyped(typed)
	if err != nil {
		return err
	}
	if f.erase {
		if err := assay.NoRewrite(c.typ); err != nil {
			return err
		}
	}
	if c.typ.Variant.Memory != nil && len(f.tied) == 0 {
		if f.timing.capacitor != "" {
			return fmt.Errorf("the thresholds of a memory's inputs are not measured: test the %s without --capacitor", c.typ.Name())
		}
		return f.testMemory(cmd, c)
	}
	chip := c.typ // as it is, whatever of it is tested
	if c.typ, err = f.oneUse(c.typ); err != nil {
		return err
	}
	p, err := f.plan(cmd, c.typ)
	if err != nil {
		return err
	}
	if p.Only, err = stages(f.only); err != nil {
		return err
	}
	p.EveryReadback, p.AtLeast, p.PowerAnyway = f.everyReadback, f.atLeast, f.anyway
	if f.short {
		if p, err = p.Short(); err != nil {
			return err
		}
	}
	if p.Timing, err = f.withCapacitor(c.typ); err != nil {
		return err
	}
	a, err := f.open(cmd, chip)
	if err != nil {
		return err
	}
	defer a.Close()
	p.Thresholds = f.clipping.request(headerOf(cmd, thresholds.Cautions...), f.socket, chip)
	f.clipToTime(headerOf(cmd, timingCautions...), p.Timing, chip)
	r, err := assayOn(cmd, a, p, f.repetition(cmd))
	if err != nil {
		return err
	}
	if r.Timing != nil && f.socket == nil {
		fmt.Fprintln(cmd.ErrOrStderr(), takeOff)
	}
	return f.report(cmd, c, r)
}

// plan plans the test of a type, a long one if that is asked for.
func (f testFlags) plan(cmd *cobra.Command, typ part.Type) (assay.Plan, error) {
	if !f.long {
		if console.IsTerminal(os.Stderr) && !proof.IsKept(typ) {
			fmt.Fprintf(cmd.ErrOrStderr(), "working out the vectors of %s and what they prove: takes seconds, or half a minute for a long divider\n", typ.Name())
		}
		return f.definitions.plan(typ)
	}
	fmt.Fprintln(cmd.ErrOrStderr(), "working out the long test: up to a minute for a divider of 20 stages")
	return assay.NewLongPlan(typ, f.definitions.circuits)
}

// stages understands the names of stages.
func stages(names []string) (only []assay.Stage, err error) {
	for _, name := range names {
		s := assay.Stage(strings.TrimSpace(name))
		if !slices.Contains(assay.Stages, s) {
			return nil, fmt.Errorf("--only %s: no such stage; the stages are contact, function and levels", name)
		}
		only = append(only, s)
	}
	return only, nil
}

// A typedChip is what the person said of the chip in the socket.
type typedChip struct {
	typed, note string
	typ         part.Type
	date        *marking.DateCode // nil for none
}

// document is the document of the chip's test.
func (c typedChip) document(r *assay.Result, place string) report.Document {
	return report.Of(r, c.typed, place, c.date, c.note)
}

// chipTyped reads what was typed, before anything is powered.
func (f testFlags) chipTyped(typed string) (c typedChip, err error) {
	c = typedChip{typed: typed, note: f.note}
	if c.typ, err = f.definitions.typeOf(typed, f.family); err != nil || f.dateCode == "" {
		return c, err
	}
	d, err := marking.ReadDateCode(f.dateCode, marking.MadeSince(c.typ.Family), time.Now())
	c.date = &d
	return c, err
}

// plan plans the test of a type as it is done at the bench: in rounds, and with the
// library's other parts to name a wrong one by.
func (d *definitions) plan(typ part.Type) (assay.Plan, error) {
	p, err := assay.NewPlan(typ, d.circuits)
	p.Memories = d.memories
	p.AtLeast = assay.DefaultAtLeast
	return p, err
}

// atLeastFlag gives a command the flag for how long the vectors go round.
func atLeastFlag(cmd *cobra.Command, atLeast *time.Duration) {
	cmd.Flags().DurationVar(atLeast, "at-least", assay.DefaultAtLeast,
		"apply the vectors of logic in rounds for this long of the adapter's time, to find\nintermittent faults; 0 applies them once")
}

// anywayFlag gives a command the flag by which a person vouches for how the chip is seated.
func anywayFlag(cmd *cobra.Command, anyway *bool) {
	cmd.Flags().BoolVar(anyway, "power-anyway", false,
		"power a chip, at a low current limit, although the test before power cannot show\nthat it is seated right; check twice how it is seated")
}

func notNegative(atLeast time.Duration) error {
	if atLeast < 0 {
		return fmt.Errorf("--at-least %v: give a time such as 1s, or 0 for one round", atLeast)
	}
	return nil
}

// planFor plans the test of what was typed.
func (d *definitions) planFor(typed, family string) (assay.Plan, error) {
	typ, err := d.typeOf(typed, family)
	if err != nil {
		return assay.Plan{}, err
	}
	return d.plan(typ)
}

// circuits expands every part of the library.
func (d *definitions) circuits() ([]*logic.Circuit, error) {
	parts, err := d.all()
	if err != nil {
		return nil, err
	}
	return logic.CompileAll(parts)
}

// all are the parts of logic of the library.
func (d *definitions) all() ([]*part.Part, error) {
	lib, err := d.open()
	if err != nil {
		return nil, err
	}
	return lib.All()
}

// memories are those of the library.
func (d *definitions) memories() ([]*part.Part, error) {
	lib, err := d.open()
	if err != nil {
		return nil, err
	}
	return lib.Memories()
}

// open finds the adapter that the flags name.
func (f *testFlags) open(cmd *cobra.Command, typ part.Type) (*adapter.Adapter, error) {
	if f.adapter != virtualAdapter {
		return f.port(cmd.Context(), printing(cmd))
	}
	chip, err := f.virtualChip(typ)
	if err != nil {
		return nil, err
	}
	return f.virtual(cmd.Context(), chip, f.seed)
}

// withCapacitor reads what is to be done with the capacitor: a part that it times is timed,
// and of any other the inputs' thresholds are measured.
func (f *testFlags) withCapacitor(typ part.Type) (*timing.Plan, error) {
	if len(typ.Variant.Timings) > 0 {
		if f.clipping.inputs != "" {
			return nil, unmeasuredInputs(typ)
		}
		return f.timing.plan(typ)
	}
	if f.timing.resistor != "" || f.timing.section != "" {
		return nil, fmt.Errorf("--resistor and --section are for parts that a capacitor times, and a %s is none", typ.Name())
	}
	f.clipping.marked = f.timing.capacitor
	return nil, f.clipping.check(typ)
}

// unmeasuredInputs says why the thresholds of a part that a capacitor times are not measured.
func unmeasuredInputs(typ part.Type) error {
	why := ""
	if !slices.ContainsFunc(typ.Variant.Timings, func(x part.Timing) bool { return x.Oscillates }) {
		why = ": they would show in a pulse alone, which lasts some 30 ns without that capacitor, and the adapter looks once a µs"
	}
	return fmt.Errorf("--inputs: the capacitor of a %s times it, and the thresholds of its inputs are not measured%s; leave --inputs out", typ.Name(), why)
}

// clipToTime says how what times the part is clipped on: the virtual adapter does it by itself.
func (f testFlags) clipToTime(h helper, t *timing.Plan, typ part.Type) {
	switch {
	case t == nil:
	case f.socket != nil:
		t.Clip = itself(typ.Variant, f.socket)
	default:
		t.Clip = asking(h, typ.Variant)
	}
}

// virtualChip is what is in the virtual socket.
func (f testFlags) virtualChip(typ part.Type) (*virtual.Chip, error) {
	var defects []virtual.Defect
	for _, text := range f.chipDefects {
		d, err := virtual.ParseDefect(text)
		if err != nil {
			return nil, err
		}
		defects = append(defects, d)
	}
	if f.chip != "" {
		var err error
		if typ, err = f.definitions.typeOf(f.chip, ""); err != nil {
			return nil, err
		}
	}
	return virtual.NewChip(typ, defects...)
}

// longTest is from how many steps on a person is shown how far a test is.
const longTest = 400_000

// assayOn seats the chip and tests it.
func assayOn(cmd *cobra.Command, a *adapter.Adapter, p assay.Plan, again assay.Repetition) (*assay.Result, error) {
	seat, err := seatOf(a, p.Type)
	if err != nil {
		return nil, err
	}
	if n := len(p.Sequence.Steps); seat != nil && n >= longTest && console.Colour(os.Stderr) { // no seat: a refused part
		seat.Progress = func(steps int) {
			drawBar(cmd.ErrOrStderr(), float64(steps)/float64(n), fmt.Sprintf("%d of %d steps", steps, n))
		}
	}
	if (seat == nil || seat.Progress == nil) && again.Progress == nil {
		defer working(cmd.ErrOrStderr(), "testing a "+p.Type.Name())()
	}
	r := assay.Repeat(cmd.Context(), seat, p, again)
	nameAdapter(r, a)
	return r, nil
}

// nameAdapter names the adapter in a result.
func nameAdapter(r *assay.Result, a *adapter.Adapter) {
	r.Adapter, r.Firmware = a.Capabilities.Board, a.Capabilities.Firmware
}

// repetition is how often the flags ask to test, with a bar on a terminal.
func (f testFlags) repetition(cmd *cobra.Command) assay.Repetition {
	again := assay.Repetition{Runs: f.runs, Soak: f.soak}
	if (f.runs > 1 || f.soak > 0) && console.Colour(os.Stderr) {
		again.Progress = func(runs int, elapsed time.Duration) {
			done := float64(runs) / float64(max(f.runs, 1))
			if f.soak > 0 {
				done = min(done, float64(elapsed)/float64(f.soak))
			}
			drawBar(cmd.ErrOrStderr(), done, fmt.Sprintf("%d runs", runs))
		}
	}
	return again
}

// report prints what came of a test and turns its verdict into the exit status.
func (f testFlags) report(cmd *cobra.Command, c typedChip, r *assay.Result) error {
	d := c.document(r, "")
	kept := f.keeping.keep(cmd, r, d)
	out := cmd.OutOrStdout()
	var err error
	switch {
	case f.asJSON:
		err = d.WriteJSON(out)
	case f.full:
		err = d.WriteText(out, console.Colour(os.Stdout))
	default:
		err = d.WriteBrief(out, console.Colour(os.Stdout))
	}
	var page error
	if f.html != "" {
		page = writeFile(f.html, d.WriteHTML)
	}
	if err := errors.Join(kept, err, page); err != nil { // each is tried, whatever becomes of the others
		return err
	}
	return verdictStatus(d.Verdict)
}

// verdictStatus gives the exit status of a verdict; the report has said why.
func verdictStatus(v assay.Verdict) error {
	switch v {
	case assay.Pass:
		return nil
	case assay.PassBut:
		return &statusError{status: exitPassBut}
	case assay.Fail:
		return &statusError{status: exitFailed}
	}
	return &statusError{status: exitCouldNotTest}
}

// writeFile writes a file whole, or not at all: what was there before then stays. A device or
// a pipe is written to, and not replaced.
func writeFile(name string, write func(io.Writer) error) error {
	if there, err := os.Stat(name); err == nil && !there.Mode().IsRegular() && !there.IsDir() {
		file, err := os.OpenFile(name, os.O_WRONLY, 0)
		if err == nil {
			err = errors.Join(write(file), file.Close())
		}
		return err
	}
	file, err := os.CreateTemp(dirOf(name), ".chipassay-*")
	if err == nil {
		// Some systems report only at Sync that the disk is full.
		if err = errors.Join(write(file), file.Sync(), file.Chmod(0o644), file.Close()); err == nil {
			err = os.Rename(file.Name(), name)
		}
		if err != nil {
			err = errors.Join(err, os.Remove(file.Name()))
		}
	}
	var path *fs.PathError // which names the temporary file
	if errors.As(err, &path) {
		err = path.Err
	}
	if err != nil {
		return fmt.Errorf("%s was not written: %w", name, err)
	}
	return nil
}
