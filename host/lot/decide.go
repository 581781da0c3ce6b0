package lot

// A Decision is what a sample says of its lot so far.
type Decision string

const (
	GoOn   Decision = "go on"  // the rest of the sample may still decide either way
	Accept Decision = "accept" // no further chip of the sample can reject the lot
	Reject Decision = "reject" // Re is reached
)

// Word is the decision as a heading.
func (d Decision) Word() string {
	return map[Decision]string{Accept: "Accepted", Reject: "Rejected", GoOn: "Not decided"}[d]
}

// Decide gives what is certain after tested chips of the plan's sample, of which
// so many were nonconforming. It decides as early as it can, and once it has
// decided no further chip of the sample changes it. The counts are those of the
// first SampleSize chips drawn: a chip beyond them does not belong to the sample,
// and one that could not be tested counts as not tested.
//
// Where the AQL counts nonconformities the last chip may still have any number
// of them, so that only a whole sample accepts.
func Decide(plan Plan, tested, nonconforming int) Decision {
	left := plan.SampleSize - tested
	switch {
	case nonconforming >= plan.Reject:
		return Reject
	case left <= 0:
		return Accept
	case plan.AQL <= PerCent && nonconforming+left < plan.Reject:
		return Accept
	}
	return GoOn
}

// ReinstatesNormal reports whether a lot that reduced inspection after
// MIL-STD-105E accepted has more nonconforming chips than Ac, so that the next lot
// is to be inspected by the normal table (its paragraph 4.7.4 b).
func (p Plan) ReinstatesNormal(nonconforming int) bool {
	return nonconforming > p.Accept && nonconforming < p.Reject
}
