package record

import "strings"

// away is the drawer of a chip that was given away: sold, swapped or lent for good. Where a chip
// is, is its drawer, so this needs no column of its own, and the chip still counts in its lot.
const away = "given away"

// Away is the drawer of a chip that was given away to somebody; to may be empty.
func Away(to string) string {
	if to = strings.TrimSpace(oneLine(to)); to == "" {
		return away
	}
	return away + " to " + to
}

// IsAway reports whether a drawer is that of chips that were given away.
func IsAway(drawer string) bool { return drawer == away || strings.HasPrefix(drawer, away+" to ") }
