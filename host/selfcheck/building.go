package selfcheck

import (
	"fmt"
	"slices"
	"strings"

	"chipassay/firmware/carrier"
)

// next says what to do next while one builds.
func (c *check) next(faults int) []string {
	groups := carrier.AllGroups()
	at := slices.Index(groups, c.options.Group)
	switch {
	case faults > 0:
		words := []string{fmt.Sprintf("repair what was found, in this order, and check again with --building %s", c.options.Group)}
		if !c.anythingOf(c.options.Group) {
			words = append(words, fmt.Sprintf("or, if nothing of the group %s is soldered in yet, begin with it:", c.options.Group))
			words = append(words, stagesOf(c.options.Group)...)
		}
		return words
	case at+1 < len(groups):
		words := []string{fmt.Sprintf("the group %s works; unplug, and solder the group %s, in this order, with the meter readings of wiring.csv:", c.options.Group, groups[at+1])}
		words = append(words, stagesOf(groups[at+1])...)
		return append(words, fmt.Sprintf("then check with --building %s; or stop here: the adapter works as it is", groups[at+1]))
	}
	return []string{"all groups work: calibrate with chipassay adapter calibrate"}
}

// anythingOf reports whether anything of a group was found.
func (c *check) anythingOf(g carrier.Group) bool {
	switch g {
	case carrier.Starter:
		return c.found.bias != 0
	case carrier.Load:
		return c.found.load != 0
	case carrier.FarHalf:
		return c.found.bias > 16
	case carrier.Switches:
		return (c.found.highFound|c.found.lowFound)&^starterSwitches != 0
	}
	return c.found.converter[0] || c.found.converter[1]
}

// stagesOf lists what a group consists of, in the order in which one solders it.
func stagesOf(g carrier.Group) (words []string) {
	var names []string
	parts := map[string][]string{}
	for _, s := range carrier.New().Wiring() {
		if s.Group != g || s.Check != "" || s.About == "" {
			continue
		}
		if !slices.Contains(names, s.Stage) {
			names = append(names, s.Stage)
		}
		if !slices.Contains(parts[s.Stage], s.About) {
			parts[s.Stage] = append(parts[s.Stage], s.About)
		}
	}
	for _, name := range names {
		words = append(words, fmt.Sprintf("  %s: %s", name, strings.Join(parts[name], " ")))
	}
	return words
}
