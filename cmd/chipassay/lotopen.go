package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"chipassay/host/lot"
	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/host/statistics"
)

// lotFlags are the flags of the command that opens a lot.
type lotFlags struct {
	file                    recordsFile
	size                    int
	aql                     float64
	level, severity, source string
	decides                 string
	reduced, resume, asJSON bool
	html                    string
}

func lotOpenCommand() *cobra.Command {
	var f lotFlags
	cmd := &cobra.Command{
		Use:   "open [NAME]",
		Short: "Choose the plan of a lot: how many chips to test, and how many bad ones reject it",
		Long: `Choose the plan of a lot: how many chips to test, and how many bad ones reject it.

With NAME the lot is recorded and its plan is fixed; opening it again with the same
plan only prints it. Without NAME the plan is only printed.

Lots of one --source and AQL are a series. The switching rules choose the severity
from the decided lots of the series: tightened after 2 of 5 lots were rejected,
normal again after 5 consecutive accepted. After 5 rejected on tightened
inspection, inspection is discontinued until the supplier has acted (--resume).
Reduced inspection needs --reduced. A lot inspected at another severity than the
rules demand (--severity) does not count in them.`,
		Example: `  chipassay lot open --size 500 --aql 1.0 --level II
  chipassay lot open depot-1 --size 500 --aql 1.0 --source "signal department" --html depot-1.html`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return f.run(cmd, args) },
	}
	flags := cmd.Flags()
	flags.IntVar(&f.size, "size", 0, "chips in the lot")
	flags.Float64Var(&f.aql, "aql", 0, "acceptance quality limit, per cent nonconforming: 0.010 to 10")
	flags.StringVar(&f.level, "level", string(lot.II), "inspection level: S-1 to S-4, I, II, III")
	flags.StringVar(&f.severity, "severity", "", "normal, tightened, reduced or reduced-105E, instead of the choice of the switching rules")
	flags.StringVar(&f.decides, "decides", string(record.ByLevels), "what makes a chip nonconforming: function (a wrong vector), or levels (that, or a PASS, BUT)")
	flags.StringVar(&f.source, "source", "", "supplier of the lot; lots of one supplier are a series")
	flags.BoolVar(&f.reduced, "reduced", false, "let the rules lead to reduced inspection: the supply is steady and the buyer agrees")
	flags.BoolVar(&f.resume, "resume", false, "the supplier has acted since inspection was discontinued")
	flags.BoolVar(&f.asJSON, "json", false, "print one JSON object")
	flags.StringVar(&f.html, "html", "", "write plan and operating characteristic to this HTML file too")
	f.file.flag(cmd)
	return cmd
}

func (f lotFlags) run(cmd *cobra.Command, args []string) error {
	switch {
	case f.size == 0:
		return errors.New("how many chips are in the lot? give --size, as --size 500")
	case f.aql == 0:
		return errors.New("which quality is to be accepted? give --aql, as --aql 1.0 for 1 % nonconforming")
	}
	decides, err := oneOf("--decides", f.decides, record.ByFunction, record.ByLevels)
	if err != nil {
		return err
	}
	l := record.Lot{Source: f.source, Resumed: f.resume, Decides: decides}
	if len(args) == 0 {
		return f.compute(cmd, l)
	}
	l.Name = args[0]
	if _, err := f.plan(lot.Normal); err != nil {
		return err // before a file is made
	}
	s, err := f.file.append()
	if err != nil {
		return err
	}
	return errors.Join(f.keep(cmd, s, l), s.Close())
}

// plan is the plan that the flags ask for, at the severity that they name or else at this one.
func (f lotFlags) plan(severity lot.Severity) (lot.Plan, error) {
	level, err := lot.ParseLevel(f.level)
	if err != nil {
		return lot.Plan{}, fmt.Errorf("--level: %w", err)
	}
	if f.severity != "" {
		if severity, err = lot.ParseSeverity(f.severity); err != nil {
			return lot.Plan{}, fmt.Errorf("--severity: %w", err)
		}
	}
	return lot.PlanForChips(f.size, f.aql, level, severity)
}

// compute prints a plan and keeps nothing.
func (f lotFlags) compute(cmd *cobra.Command, l record.Lot) (err error) {
	if f.source == "" {
		if l.Plan, err = f.plan(lot.Normal); err != nil {
			return err
		}
		return f.write(cmd, l, "")
	}
	return f.file.use(func(s *record.Store) error {
		because, err := f.choose(cmd.Context(), s, &l)
		if err != nil {
			return err
		}
		return f.write(cmd, l, because)
	})
}

// choose chooses the plan of a lot, and says why at that severity.
func (f lotFlags) choose(ctx context.Context, s *record.Store, l *record.Lot) (because string, err error) {
	scheme, decided := lot.Scheme{}, 0
	if l.Source != "" {
		if scheme, decided, err = s.Scheme(ctx, l.Source, f.aql, f.reduced); err != nil {
			return "", err
		}
	}
	if scheme.Discontinued() {
		if !f.resume {
			return "", fmt.Errorf("inspection of lots from %s was discontinued: five were rejected on tightened inspection at AQL %s. Once the supplier has acted, open the next with --resume",
				l.Source, lot.FormatAQL(f.aql))
		}
		scheme = scheme.Resumed()
	} else {
		l.Resumed = false
	}
	if l.Plan, err = f.plan(scheme.Severity()); err != nil {
		return "", err
	}
	switch {
	case l.Source == "":
	case l.Plan.Severity != scheme.Severity():
		because = fmt.Sprintf(", as given; the switching rules demand %s, and leave this lot out", scheme.Severity())
	case decided == 0:
		because = ", the first: no earlier lot of the series is decided"
	default:
		because = fmt.Sprintf(", by the switching rules and %d decided earlier lots", decided)
	}
	if !f.reduced && scheme.Score() >= lot.ScoreForReduced {
		because += "; --reduced may lead to reduced inspection"
	}
	return because, nil
}

// keep opens a lot, or shows the one that is open with the same plan.
func (f lotFlags) keep(cmd *cobra.Command, s *record.Store, l record.Lot) error {
	there, err := s.Lot(cmd.Context(), l.Name)
	if err == nil {
		return f.again(cmd, there, l.Decides)
	}
	if !errors.Is(err, record.ErrNoLot) {
		return err
	}
	because, err := f.choose(cmd.Context(), s, &l)
	if err != nil {
		return err
	}
	kept, err := s.OpenLot(context.WithoutCancel(cmd.Context()), l)
	if errors.Is(err, record.ErrLotOpen) { // another program was here first
		return f.again(cmd, kept, l.Decides)
	}
	if err != nil {
		return err
	}
	return f.write(cmd, kept, because)
}

// again prints a lot that is open already, if what is asked for is what it was opened with.
func (f lotFlags) again(cmd *cobra.Command, l record.Lot, decides record.Deciding) error {
	plan, err := f.plan(l.Plan.Severity)
	if err != nil {
		return err
	}
	if plan != l.Plan || f.source != l.Source || decides.Words() != l.Decides.Words() {
		from := ""
		if l.Source != "" {
			from = " from " + report.Printable(l.Source)
		}
		return fmt.Errorf("lot %s was opened with another plan (%d chips%s, AQL %s, level %s, %s; %s), which is fixed: give another name",
			report.Printable(l.Name), l.Plan.LotSize, from, lot.FormatAQL(l.Plan.AQL), l.Plan.Level, l.Plan.Severity, l.Decides.Words())
	}
	fmt.Fprintf(cmd.ErrOrStderr(), "lot %s is open with this plan since %s; nothing was changed\n", report.Printable(l.Name), l.Time.Format("2006-01-02"))
	return f.write(cmd, l, "")
}

func (f lotFlags) write(cmd *cobra.Command, l record.Lot, because string) error {
	if f.html != "" {
		if err := writeFile(f.html, statistics.LotSheet{Lot: l}.WriteHTML); err != nil {
			return err
		}
	}
	w := cmd.OutOrStdout()
	if f.asJSON {
		return writeIndented(w, struct {
			lotLine
			Characteristic lot.Characteristic `json:"characteristic"`
		}{lotLineOf(l), l.Plan.Characteristic()})
	}
	writePlan(w, l, because)
	writeRisks(w, l.Plan)
	return nil
}
