//go:build man

package main

import (
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"

	"chipassay/firmware/images"
)

// The program that cmd/release builds for itself has one more command: it writes the
// manual pages. What a person gets does not carry the generator.
func init() {
	more = append(more, func(root *cobra.Command) *cobra.Command {
		var date string
		cmd := &cobra.Command{
			Use:    "man FOLDER",
			Hidden: true,
			Args:   cobra.ExactArgs(1),
			RunE: func(_ *cobra.Command, args []string) error {
				day, err := time.Parse(time.DateOnly, date)
				if err != nil {
					return err
				}
				root.DisableAutoGenTag = true
				return doc.GenManTree(root, &doc.GenManHeader{
					Section: "1", Manual: "chipassay", Date: &day,
					Source: "chipassay " + released + ", firmware " + images.Version,
				}, args[0])
			},
		}
		cmd.Flags().StringVar(&date, "date", "", "of the pages")
		return cmd
	})
}
