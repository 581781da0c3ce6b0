package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// taken is what a flag takes, by the name of its type: what package strconv says of a wrong one helps nobody.
var taken = map[string]string{
	"int": "a whole number", "int64": "a whole number",
	"uint64":   "a whole number from 0",
	"float64":  "a number",
	"duration": "a time with its unit, such as 250ms or 2m",
	"bool":     "true or false",
}

// wrongValue words a value that a flag does not take.
func wrongValue(_ *cobra.Command, err error) error {
	if wrong := new(pflag.InvalidValueError); errors.As(err, &wrong) {
		if takes, ok := taken[wrong.GetFlag().Value.Type()]; ok {
			return fmt.Errorf("--%s takes %s, not %q", wrong.GetFlag().Name, takes, wrong.GetValue())
		}
	}
	return err
}
