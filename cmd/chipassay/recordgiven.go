package main

import (
	"fmt"

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
			var numbers []int64
			for _, a := range args {
				n, err := chip.ParseNumber(a)
				if err != nil {
					return err
				}
				numbers = append(numbers, n)
			}
			return file.use(func(s *record.Store) error {
				for _, n := range numbers {
					r, err := chip.Give(cmd.Context(), s, n, to)
					if err != nil {
						return err
					}
					fmt.Fprintf(cmd.OutOrStdout(), "record %d: %s\n", r.Chip, r.Drawer)
				}
				return nil
			})
		},
	}
	file.flag(cmd)
	cmd.Flags().StringVar(&to, "to", "", "to whom, or for what")
	return cmd
}
