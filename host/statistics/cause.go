package statistics

import (
	"regexp"
	"strings"
)

// Of one chip and one test: which run it was, how many runs, reads and vectors, and
// which of them.
var (
	whichRuns = regexp.MustCompile(`^(in run \d+: |(?:intermittent|fails only sometimes): \d+ of \d+ runs.*; in the first of them )`)
	inEach    = regexp.MustCompile(`,? in each of \d+ runs`)
	counted   = regexp.MustCompile(`\b\d+ (of \d+ )?(vectors|reads|steps|runs)\b`)
	which     = regexp.MustCompile(` ?\((vector|step|read)s? [^()]*\)|,? at (vector|step) \d+`)
	address   = regexp.MustCompile(`\b(address|word|cell|row|column) (0x[0-9A-Fa-f]+|\d+)\b`)
)

// Cause is a failed test's reason without what belongs to the one chip and the one
// test, so that equal causes read alike: numbers of steps, runs and reads, and
// places in a memory's array. An intermittent chip is kept apart; earlier versions
// wrote "fails only sometimes".
func Cause(reason string) string {
	sometimes := !strings.HasPrefix(reason, "in run ") && whichRuns.MatchString(reason)
	reason = whichRuns.ReplaceAllString(reason, "")
	reason = inEach.ReplaceAllString(reason, "")
	reason = which.ReplaceAllString(reason, "")
	reason = address.ReplaceAllString(reason, "some $1")
	reason = counted.ReplaceAllString(reason, "some $2")
	if sometimes {
		reason = "sometimes: " + reason
	}
	return strings.TrimSpace(reason)
}
