package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"chipassay/host/console"
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
	o := record.LotOrder{Source: f.source, Size: f.size, AQL: f.aql, Level: f.level, Severity: f.severity, Decides: f.decides, Reduced: f.reduced, Resume: f.resume}
	if len(args) > 0 {
		o.Name = args[0]
	}
	l, err := o.Lot() // before a file is made
	if err != nil {
		return flagError(err)
	}
	switch {
	case o.Name == "" && o.Source == "":
		return f.write(cmd, record.PlannedLot{Lot: l})
	case o.Name == "":
		return f.file.useAll(cmd, "", func(s *record.Store) error {
			p, err := s.PlanLot(cmd.Context(), o)
			if err != nil {
				return flagError(err)
			}
			return f.write(cmd, p)
		})
	}
	s, err := f.file.append()
	if err != nil {
		return err
	}
	err = f.keep(cmd, s, o)
	if err == nil {
		sayLate(cmd, s)
	}
	return errors.Join(err, s.Close())
}

// keep opens a lot, or shows the one that is open with the same plan.
func (f lotFlags) keep(cmd *cobra.Command, s *record.Store, o record.LotOrder) error {
	p, err := s.OrderLot(cmd.Context(), o)
	if err != nil {
		return flagError(err)
	}
	if p.There {
		fmt.Fprintf(cmd.ErrOrStderr(), "lot %s is open with this plan since %s; nothing was changed\n", console.Printable(p.Name), p.Time.Format("2006-01-02"))
	}
	return f.write(cmd, p)
}

func (f lotFlags) write(cmd *cobra.Command, p record.PlannedLot) error {
	l, because := p.Lot, p.Because
	if p.MayReduce {
		because += "; --reduced may lead to reduced inspection"
	}
	if f.html != "" {
		if err := writeFile(f.html, statistics.LotSheet{Lot: l}.WriteHTML); err != nil {
			return err
		}
	}
	w := cmd.OutOrStdout()
	if f.asJSON {
		return report.WriteJSON(w, struct {
			lotLine
			Characteristic lot.Characteristic `json:"characteristic"`
		}{lotLineOf(l), l.Plan.Characteristic()})
	}
	writePlan(w, l, because)
	writeRisks(w, l.Plan)
	return nil
}
