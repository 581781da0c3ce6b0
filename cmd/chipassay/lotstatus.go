package main

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/console"
	"chipassay/host/lot"
	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/host/statistics"
)

func lotStatusCommand() *cobra.Command {
	var (
		file   recordsFile
		asJSON bool
		html   string
	)
	cmd := &cobra.Command{
		Use:   "status NAME",
		Short: "Show whether a lot is accepted, what can still happen, and what its tested chips prove",
		Long: `Show whether a lot is accepted, what can still happen, and what its tested chips
prove. The sample is the first chips that were tested under the lot's name. A chip
that could not be tested keeps its place until it is retested (test --retest) or
its record is void. Bad chips that no longer count, because of a retest, a void or
a correction, are listed separately.

Exit status: 0 accepted; 1 rejected; 3 not decided yet.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			name := strings.TrimSpace(args[0])
			return file.useAll(cmd, name, func(s *record.Store) error {
				l, err := s.Lot(cmd.Context(), name)
				if errors.Is(err, record.ErrNoLot) {
					return fmt.Errorf("lot %s has records but was not opened, so it has no plan: chipassay lot list names those that were", console.Printable(name))
				}
				if err != nil {
					return err
				}
				i, err := s.Inspect(cmd.Context(), l)
				if err != nil {
					return err
				}
				if html != "" {
					if err := writeFile(html, statistics.LotSheet{Lot: l, Inspection: &i}.WriteHTML); err != nil {
						return err
					}
				}
				if err := writeLotStatus(cmd.OutOrStdout(), i, asJSON); err != nil {
					return err
				}
				return decisionStatus(i.Decision)
			})
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	cmd.Flags().StringVar(&html, "html", "", "write the sheet of the lot to this HTML file too")
	file.readFlag(cmd)
	return cmd
}

// decisionStatus gives the exit status of a decision; the text has said why.
func decisionStatus(d lot.Decision) error {
	switch d {
	case lot.Accept:
		return nil
	case lot.Reject:
		return &statusError{status: exitFailed}
	}
	return &statusError{status: exitCouldNotTest}
}

func writeLotStatus(w io.Writer, i record.Inspection, asJSON bool) error {
	if asJSON {
		return report.WriteJSON(w, struct {
			lotLine
			lot.Standing
			NotTested int       `json:"not_tested"`
			Left      int       `json:"left"`      // chips of the sample without a verdict
			MoreBad   int       `json:"more_bad"`  // that reject the lot
			MoreGood  int       `json:"more_good"` // in a row that accept it; 0 once it is decided
			Before    int       `json:"tested_before_opening"`
			Outlook   string    `json:"outlook"`
			Proof     lot.Proof `json:"proof"`

			Cleared []record.Cleared `json:"cleared"` // were nonconforming and no longer count
		}{lotLineOf(i.Lot), i.Standing, i.NotTested(), i.Left(), i.MoreBad(), i.MoreGood(), i.Before, i.Outlook(), i.Proof(), append([]record.Cleared{}, i.Cleared...)})
	}
	fmt.Fprintf(w, "%s  lot %s: %s\n", strings.ToUpper(i.Decision.Word()), console.Printable(i.Name), i.Outlook())
	writePlan(w, i.Lot, "")
	fmt.Fprintf(w, "tested %d of %d, nonconforming %d, not tested %d", i.Tested, i.Lot.Plan.SampleSize, i.Nonconforming, i.NotTested())
	if n := len(i.Cleared); n > 0 {
		fmt.Fprintf(w, ", formerly bad, no longer counted %d", n)
	}
	fmt.Fprintln(w)
	for _, line := range i.Proof().Words(i.Lot.Plan.LotSize) {
		fmt.Fprintln(w, line)
	}
	for _, note := range i.Notes() {
		fmt.Fprintln(w, "note:", console.Printable(note))
	}
	return nil
}

func lotProvesCommand() *cobra.Command {
	var (
		size   int
		asJSON bool
	)
	cmd := &cobra.Command{
		Use:   "proves CHIPS",
		Short: "Show what N good chips without a bad one prove",
		Example: `  chipassay lot proves 50
  chipassay lot proves 50 --size 500`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			n, err := strconv.Atoi(args[0])
			if err != nil || n < 1 {
				return fmt.Errorf("%s: how many chips? give a number from 1 on", args[0])
			}
			if size != 0 && size < n {
				return fmt.Errorf("--size %d: a lot has at least the %d chips tested", size, n)
			}
			p := lot.Prove(size, n, 0)
			if asJSON {
				return writeProof(cmd.OutOrStdout(), p, size)
			}
			_, err = fmt.Fprintln(cmd.OutOrStdout(), strings.Join(p.Words(size), "\n"))
			return err
		},
	}
	cmd.Flags().IntVar(&size, "size", 0, "chips in the lot that they are drawn from; a large supply if not given")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}

// writeProof writes what good chips prove; most_in_lot is null where there is no lot.
func writeProof(w io.Writer, p lot.Proof, size int) error {
	var most *int
	if size > 0 {
		most = &p.MostInLot
	}
	return report.WriteJSON(w, struct {
		Lot          int     `json:"lot"` // chips, 0 for a large supply
		Tested       int     `json:"tested"`
		MostFraction float64 `json:"most_fraction"`
		MostInLot    *int    `json:"most_in_lot"`
	}{size, p.Tested, p.MostFraction, most})
}

func lotNeededCommand() *cobra.Command {
	var (
		size     int
		fraction float64
		asJSON   bool
	)
	cmd := &cobra.Command{
		Use:     "needed --fraction FRACTION",
		Aliases: []string{"prove"},
		Short:   "Show how many good chips without a bad one prove that at most a fraction is bad",
		Example: `  chipassay lot needed --fraction 0.01
  chipassay lot needed --fraction 0.05 --size 100`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case !(fraction > 0 && fraction < 1):
				return fmt.Errorf("--fraction %g: give one between 0 and 1, as 0.01 for 1 %%", fraction)
			case size < 0:
				return fmt.Errorf("--size %d: how many chips are in the lot?", size)
			}
			n := lot.ChipsToProve(fraction)
			if size > 0 {
				n = lot.ChipsToProveLot(size, lot.MostOf(fraction, size))
			}
			if asJSON {
				return report.WriteJSON(cmd.OutOrStdout(), struct {
					Fraction float64 `json:"fraction"`
					Lot      int     `json:"lot"` // chips, 0 for a large supply
					Chips    int     `json:"chips"`
				}{fraction, size, n})
			}
			what := "a large supply"
			if size > 0 {
				what = fmt.Sprintf("a lot of %d", size)
			}
			_, err := fmt.Fprintf(cmd.OutOrStdout(), "%d good chips without a bad one, drawn at random, prove with 95 %% confidence that at most %g %% of %s is bad\n", n, 100*fraction, what)
			return err
		},
	}
	cmd.Flags().Float64Var(&fraction, "fraction", 0, "bad ones that are still allowed, 0 to 1")
	cmd.Flags().IntVar(&size, "size", 0, "chips in the lot that they are drawn from; a large supply if not given")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}
