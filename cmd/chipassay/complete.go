package main

import (
	"cmp"
	"context"
	"maps"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"chipassay/host/record"
	"chipassay/vectors/part"
)

// completer gives what a shell may complete a word to.
type completer func(cmd *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective)

// completeAll gives every command under root the completion of its arguments and
// flags: part numbers, families, and the drawers and lots of the records.
func completeAll(root *cobra.Command, d *definitions) {
	parts := words(func(*cobra.Command) []string { return d.numbers() })
	byFlag := map[string]completer{
		"part": parts, "chip": parts,
		"kind":   words(func(*cobra.Command) []string { return part.Kinds }),
		"family": words(func(*cobra.Command) []string { return familyLetters() }),
		"drawer": words(func(cmd *cobra.Command) []string {
			return recorded(cmd, func(r record.Record) string { return r.Drawer })
		}),
		"lot": words(func(cmd *cobra.Command) []string { return recorded(cmd, func(r record.Record) string { return r.Lot }) }),
	}
	byArgument := map[string]completer{"PART": parts, "NAME": byFlag["drawer"], "LOT": byFlag["lot"]}
	for _, cmd := range root.Commands() {
		completeAll(cmd, d)
		for name, complete := range byArgument {
			if strings.Contains(cmd.Use, name) && cmd.ValidArgsFunction == nil {
				cmd.ValidArgsFunction = cobra.CompletionFunc(complete)
			}
		}
		cmd.Flags().VisitAll(func(flag *pflag.Flag) {
			if complete := byFlag[flag.Name]; complete != nil {
				_ = cmd.RegisterFlagCompletionFunc(flag.Name, cobra.CompletionFunc(complete)) // it has one of its own
			}
		})
	}
}

// words completes from a list, whatever the case of what was begun.
func words(all func(*cobra.Command) []string) completer {
	return func(cmd *cobra.Command, _ []string, begun string) (found []string, _ cobra.ShellCompDirective) {
		for _, word := range all(cmd) {
			if strings.HasPrefix(strings.ToUpper(word), strings.ToUpper(begun)) {
				found = append(found, word)
			}
		}
		return found, cobra.ShellCompDirectiveNoFileComp
	}
}

// numbers are the type names of the whole library.
func (d *definitions) numbers() (names []string) {
	lib, err := d.open()
	if err != nil {
		return nil
	}
	all, err := lib.Parts()
	if err != nil {
		return nil
	}
	for _, p := range all {
		for _, f := range p.Families() {
			names = append(names, f.TypeName(p.Number))
		}
	}
	return names
}

// familyLetters are the families as --family takes them.
func familyLetters() (names []string) {
	for _, f := range part.AllFamilies() {
		letters := strings.TrimPrefix(strings.TrimPrefix(f.Name, "74"), "4000")
		names = append(names, cmp.Or(letters, f.Name))
	}
	return names
}

// recorded gives what a field of the records holds, in order; nothing where there are none.
func recorded(cmd *cobra.Command, field func(record.Record) string) []string {
	var file recordsFile
	if flag := cmd.Flags().Lookup("records"); flag != nil {
		file.path = flag.Value.String()
	}
	file.practice, _ = cmd.Flags().GetBool("practice")
	name, err := file.name()
	if err != nil {
		return nil
	}
	if _, err := os.Stat(name); err != nil {
		return nil // it is not made by asking
	}
	store, err := record.Open(name)
	if err != nil {
		return nil
	}
	defer store.Close()
	seen := map[string]bool{}
	for r, err := range store.Find(context.Background(), record.Query{}) {
		if err != nil {
			break
		}
		if name := field(r); name != "" {
			seen[name] = true
		}
	}
	return slices.Sorted(maps.Keys(seen))
}
