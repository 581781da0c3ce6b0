package main

import (
	"github.com/spf13/cobra"

	"chipassay/host/chip"
	"chipassay/host/record"
)

func recordGivenCommand() *cobra.Command {
	var (
		file recordsFile
		to   string
	)
	cmd := &cobra.Command{
		Use:   "given N...",
		Short: "Record that chips were given away: they count in no stock and no offer any more",
		Long: `Record that chips were sold, swapped or given away. A new record replaces the
current one of each, which is kept; stock and offers leave the chips out. Their lots
count them still. To whom stays in the records for good: name nobody who minds.

chipassay record void N --why "it came back" takes it back. The digest on a
certificate that was printed before is that of the record before, which
chipassay log verify still finds.`,
		Example: `  chipassay record given 17 --to "the model club"
  chipassay record given 17 18 21`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			for _, typed := range args {
				err := replaceRecord(cmd, &file, typed, record.Away(to), func(s *record.Store, number int64) (record.Record, error) {
					return chip.Give(cmd.Context(), s, number, to)
				})
				if err != nil {
					return err
				}
			}
			return nil
		},
	}
	file.flag(cmd)
	cmd.Flags().StringVar(&to, "to", "", "to whom, or for what")
	return cmd
}
