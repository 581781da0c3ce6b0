package carrier

import (
	"fmt"
	"slices"
	"strings"
)

// ParseGroups reads the names of groups as the command line takes them. The starter
// is always among what it gives, and nothing is there twice; load resistors of the
// far half come with both groups.
func ParseGroups(names []string) ([]Group, error) {
	groups := []Group{Starter}
	for _, name := range names {
		i := slices.Index(groupNames[:], strings.ToLower(strings.TrimSpace(name)))
		if i < 0 {
			return nil, fmt.Errorf("no group of the carrier is named %q; there are %s", name, strings.Join(groupNames[:], ", "))
		}
		if g := Group(i); !slices.Contains(groups, g) {
			groups = append(groups, g)
		}
	}
	slices.Sort(groups)
	return groups, nil
}
