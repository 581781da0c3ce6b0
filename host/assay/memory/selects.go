package memory

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"chipassay/host/adapter"
)

// The select inputs of a mask ROM act high or low as the mask was ordered, so the level of
// each is found by trying them all. A ROM that is not selected releases its outputs; one that
// is, whatever it holds, drives some word against the bias rail, high or low.

// selectWords is how many words are read at each combination of levels.
const selectWords = 256

// findSelects finds the levels at which a mask ROM's selects act, and has the bench use them.
func (c *Contents) findSelects(ctx context.Context, b *bench) error {
	n := 0
	for n < len(b.m.Select) && b.m.Select[n].Either {
		n++
	}
	if n == 0 {
		return nil
	}
	var answered []int
	for levels := range 1 << n {
		try := b.withSelects(levels)
		drives, err := try.answers(ctx)
		if err != nil {
			return err
		}
		if drives {
			answered = append(answered, levels)
		}
	}
	if len(answered) == 0 {
		c.Findings = append(c.Findings, fmt.Sprintf("its outputs drive at none of the %d combinations of its selects: it is not selected, or its outputs are dead", 1<<n))
		c.Pins |= b.selects()
		return nil
	}
	*b = b.withSelects(answered[0])
	c.Selected = b.levelWords(answered)
	return nil
}

// withSelects is the bench with the levels of the selects, bit 0 the first's.
func (b bench) withSelects(levels int) bench {
	m := *b.m
	m.Select = slices.Clone(m.Select)
	for i := range m.Select {
		m.Select[i].Active = levels>>i&1 != 0
	}
	b.m = &m
	return b
}

// answers reports whether some word stands against the bias rail.
func (b bench) answers(ctx context.Context) (bool, error) {
	m := *b.m
	m.Words = min(m.Words, selectWords)
	b.m = &m
	for _, rail := range b.rails() {
		released := map[adapter.Pull]byte{adapter.High: 1<<m.Bits - 1}[rail]
		words, err := new(Contents).readAll(ctx, b, rail, func(float64) {})
		if err != nil {
			return false, err
		}
		if slices.ContainsFunc(words, func(w byte) bool { return w != released }) {
			return true, nil
		}
	}
	return false, nil
}

// levelWords says at which levels the memory answered: CS1 low, CS2 high. A select
// with which it answers at both levels makes no difference.
func (b bench) levelWords(answered []int) string {
	var words []string
	for i, c := range b.m.Select {
		level := map[bool]string{false: "low", true: "high"}[c.Active]
		if slices.ContainsFunc(answered, func(levels int) bool { return levels>>i&1 != answered[0]>>i&1 }) {
			level = "low or high"
		}
		words = append(words, b.t.Variant.Pins[c.Pin-1].Name+" "+level)
	}
	return strings.Join(words, ", ")
}
