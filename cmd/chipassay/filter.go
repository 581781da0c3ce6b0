package main

import (
	"errors"

	"github.com/spf13/cobra"

	"chipassay/host/record"
)

// A filter is what of the records is asked for, by flags.
type filter struct{ record.Filter }

// flags gives a command the flags that choose records.
func (f *filter) flags(cmd *cobra.Command) {
	f.chipFlags(cmd)
	flags := cmd.Flags()
	flags.StringVar(&f.Verdict, "verdict", "", "with this verdict: pass, pass-but, fail, not-tested")
	flags.StringVar(&f.Grade, "grade", "", "of this grade: strong, sound, function-only, doubtful, reject")
	flags.StringVar(&f.Text, "text", "", "with this in marking, operator, reason or note")
}

// chipFlags gives a command the flags that choose chips whatever came of them.
func (f *filter) chipFlags(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&f.Part, "part", "", "of this part: 7400 for all families, 74LS00 for one")
	flags.StringVar(&f.Family, "family", "", "of this family: 74, 74LS, HC …")
	flags.StringVar(&f.Drawer, "drawer", "", "from this drawer")
	flags.StringVar(&f.Lot, "lot", "", "of this lot")
	flags.StringVar(&f.From, "from", "", "with a date code from here on: 1979, 1979-09, 1979-W38, 1979-09-17, 7938 or SEP79")
	flags.StringVar(&f.To, "to", "", "with a date code up to and including this")
}

// query understands what was typed.
func (f filter) query() (record.Query, error) {
	q, err := f.Query()
	return q, flagError(err)
}

// flagError names the flag of the first field that is wrong.
func flagError(err error) error {
	var field *record.FieldError
	if errors.As(err, &field) {
		return errors.New("--" + field.Error())
	}
	return err
}
