package main

import (
	"time"

	"github.com/spf13/cobra"

	"chipassay/host/record"
	"chipassay/host/stock"
)

// possessions are the good chips in the records, by the part's number.
func (f *recordsFile) possessions(cmd *cobra.Command) (have map[string][]stock.Owned, err error) {
	err = f.useAll(cmd, "", func(s *record.Store) error {
		have, err = stock.Good(cmd.Context(), s)
		return err
	})
	return have, err
}

// noDay asks for the oldest chips first.
var noDay time.Time

// haveFlag gives a command the flag --have, with the file of records that it asks.
func haveFlag(cmd *cobra.Command, have *bool, file *recordsFile) {
	cmd.Flags().BoolVar(have, "have", false, "only parts of which your records have a good chip, and where it is")
	file.readFlag(cmd)
}
