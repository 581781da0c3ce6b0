package twolevel

// reduce takes what must be taken and leaves out what need not be looked at, until
// nothing changes: columns that alone cover a row, columns that another covers for no
// more, rows that are covered with another. It fails where a row has no column.
func (t *table) reduce(left bitset, columns, chosen []int) (bitset, []int, []int, bool) {
	for !t.spent() {
		columns = t.undominated(left, columns)
		of := t.columnsOf(left, columns)
		forced := false
		for _, r := range of {
			switch {
			case len(r.columns) == 0:
				return nil, nil, nil, false
			case len(r.columns) == 1 && left.has(r.row):
				chosen = append(chosen, r.columns[0])
				left = left.minus(t.covers[r.columns[0]])
				forced = true
			}
		}
		if forced {
			continue
		}
		rows := t.easiest(left, of)
		if rows.count() == left.count() {
			break
		}
		left = rows
	}
	return left, columns, chosen, true
}

// undominated leaves out columns that cover nothing of what is left, or nothing
// that another does not cover at no greater cost.
func (t *table) undominated(left bitset, columns []int) (kept []int) {
	covers := make([]bitset, len(columns))
	for i, c := range columns {
		covers[i] = t.covers[c].and(left)
	}
	for i, c := range columns {
		keep := !covers[i].empty()
		for j := 0; keep && j < len(columns); j++ {
			d := columns[j]
			if i == j || t.cost(d) > t.cost(c) || !covers[i].inside(covers[j]) {
				continue
			}
			// Of two alike the first stays.
			alike := t.cost(d) == t.cost(c) && covers[j].inside(covers[i])
			keep = alike && i < j
		}
		t.work += len(columns) * len(left)
		if keep {
			kept = append(kept, c)
		}
	}
	return kept
}

// easiest leaves out rows that are covered whenever another is.
func (t *table) easiest(left bitset, of []rowColumns) bitset {
	rows := append(bitset(nil), left...)
	for i, a := range of {
		for j, b := range of {
			if i == j || !rows.has(b.row) || len(b.columns) > len(a.columns) || !b.set.inside(a.set) {
				continue
			}
			if len(a.columns) != len(b.columns) || j < i {
				rows[a.row/64] &^= 1 << (a.row % 64)
				break
			}
		}
		t.work += len(of)
	}
	return rows
}
