package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/assay"
	"chipassay/host/assay/contact"
	"chipassay/host/chip"
	"chipassay/host/drawer"
	"chipassay/host/record"
	"chipassay/host/report"
)

// A keeping is how the test of a single chip is recorded.
type keeping struct {
	file                      recordsFile
	wanted                    bool
	drawer, operator, marking string
	lot                       lotFlag
	again                     numberFlag
	retest                    int64         // its number
	store                     *record.Store // nil where nothing is to be written
}

func (k *keeping) flags(cmd *cobra.Command) {
	k.file.flag(cmd)
	flags := cmd.Flags()
	flags.BoolVar(&k.wanted, "record", false, "record the test")
	flags.StringVar(&k.drawer, "drawer", "", "with --record: drawer that the chip is in")
	k.lot.flags(cmd, "with --record: lot to which it belongs")
	flags.StringVar(&k.operator, "operator", "", "with --record: operator")
	flags.StringVar(&k.marking, "marking", "", "with --record: the marking, if it is more than PART")
	flags.Var(&k.again, "retest", "with --record: number of this same chip, which was tested before")
}

// open opens the file before the test, so that a test is not made in vain.
func (k *keeping) open(ctx context.Context, adapter string) (err error) {
	k.retest = k.again.number
	if !k.wanted {
		if k.drawer+k.lot.name+k.operator+k.marking+k.file.path != "" || k.retest != 0 || k.lot.isNew || k.file.practice {
			return errors.New("--drawer, --lot, --new-lot, --operator, --marking, --retest, --records and --practice are for recorded tests: add --record")
		}
		return nil
	}
	if k.store, err = k.file.forChips(ctx, adapter == virtualAdapter); err != nil {
		return err
	}
	if err := k.lot.check(ctx, k.store); err != nil {
		return errors.Join(err, k.store.Close())
	}
	if k.retest == 0 {
		return nil
	}
	if other := k.again.letter; other != "" && other != k.store.Bench() {
		return errors.Join(fmt.Errorf("--retest: chip %s is of bench %s, and is tested again there; without --retest it gets a number of this bench", &k.again, other), k.store.Close())
	}
	if _, err = k.store.Get(ctx, k.retest); err != nil {
		return errors.Join(fmt.Errorf("--retest: %w", err), k.store.Close())
	}
	return nil
}

func (k *keeping) close() error {
	if k.store == nil {
		return nil
	}
	return k.store.Close()
}

// keep writes a test down. An empty socket is no chip, and an interruption no test.
func (k *keeping) keep(cmd *cobra.Command, result *assay.Result, d report.Document) error {
	if k.store == nil {
		return nil
	}
	seating := result.Seating
	if seating != nil && seating.Found == contact.EmptySocket || result.Verdict == assay.NotTested && cmd.Context().Err() != nil {
		fmt.Fprintln(cmd.ErrOrStderr(), "nothing was recorded: no chip was tested")
		return nil
	}
	r, err := drawer.Entry(d)
	if err != nil {
		return err
	}
	r.Drawer, r.Lot, r.Operator = strings.TrimSpace(k.drawer), k.lot.name, strings.TrimSpace(k.operator)
	r.RetestOf = k.retest
	r.Marking = cmp.Or(k.marking, r.Marking)
	if k.retest != 0 {
		if err := k.inherit(cmd.Context(), &r); err != nil {
			return err
		}
	}
	if r, err = k.store.Append(context.WithoutCancel(cmd.Context()), r); err != nil {
		return fmt.Errorf("the test was not recorded: %w", err)
	}
	where := "in " + k.store.Path()
	if k.file.practice {
		where = "of practice: chipassay log --practice"
	}
	fmt.Fprintf(cmd.ErrOrStderr(), "record %s %s\n", k.store.Number(r.Chip), where)
	sayLate(cmd, k.store)
	return nil
}

// inherit takes over from a chip's earlier record what was not given again.
func (k *keeping) inherit(ctx context.Context, r *record.Record) error {
	c, err := chip.Find(ctx, k.store, k.retest)
	if err != nil {
		return err
	}
	before := c.Current
	if before == nil {
		before = &c.History[0]
	}
	drawer := before.Drawer
	if record.IsAway(drawer) { // it is here again
		drawer = c.Drawer()
	}
	r.Drawer, r.Lot, r.Note = cmp.Or(r.Drawer, drawer), cmp.Or(r.Lot, before.Lot), cmp.Or(r.Note, before.Note)
	r.Marking = cmp.Or(k.marking, before.Marking)
	if r.DateCode == "" {
		r.DateCode, r.From, r.To, r.Year = before.DateCode, before.From, before.To, before.Year
	}
	return nil
}
