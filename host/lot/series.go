package lot

// An Inspected is a lot of a series as the switching rules see it.
type Inspected struct {
	Standing
	Resumed bool // the supplier had acted on a discontinuation before this lot
}

// Series is where the scheme stands after lots of one series, in the order in which
// they were opened. A lot that is not decided does not count yet, and one that was
// inspected by another severity than the rules asked for does not count at all.
// Reduced inspection is possible only by reduceBy; see Scheme.
func Series(lots []Inspected, reduceBy Severity) (Scheme, error) {
	s := Scheme{ReduceBy: reduceBy}
	for _, l := range lots {
		if l.Resumed && s.Discontinued() {
			s = s.Resumed()
		}
		if l.Decision == GoOn || l.Plan.Severity != s.Severity() || s.Discontinued() {
			continue
		}
		var err error
		if s, err = s.After(l.Plan, l.Tested, l.Nonconforming); err != nil {
			return s, err
		}
	}
	return s, nil
}
