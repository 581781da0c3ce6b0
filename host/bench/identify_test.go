package bench_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/bench"
	"chipassay/host/identified"
	"chipassay/host/identify"
	"chipassay/host/verdict"
)

// gates are what a chip may be here.
var gates = []string{"7400", "7402", "7408", "7410", "7486"}

func answered(s bench.State) bool { return s.Identify != nil && s.Identify.Answer != nil }

func TestAChipIsIdentified(t *testing.T) {
	b := practising(t, gates...)
	require.NoError(t, b.Identify(identify.Hint{Marking: " 74?? 7938 ", Pins: 14}, "7410", ""))
	s := becomes(t, b, answered)
	d := s.Identify.Answer
	assert.Equal(t, "7410", d.Candidates[0].Part)
	assert.Equal(t, verdict.Pass, d.Test.Verdict)
	assert.Equal(t, 1979, d.DateCode.Year())
	assert.NotEmpty(t, d.Adapter)
	assert.Equal(t, d.Adapter, d.Test.Adapter)
	becomes(t, b, idle)
}

// The candidates fall out as steps are applied: from all that there are to the one.
func TestTheCandidatesFallOut(t *testing.T) {
	b := practising(t, gates...)
	require.NoError(t, b.Identify(identify.Hint{}, "7410", ""))
	history := becomes(t, b, answered).Identify.History
	first, last := history[0], history[len(history)-1]
	assert.Equal(t, len(gates), first.Left)
	assert.Zero(t, first.Steps)
	assert.Equal(t, 1, last.Left)
	assert.Equal(t, []string{"7410"}, last.Likely)
	assert.Equal(t, "testing it as a 7410", last.Doing)
	for i, p := range history[1:] {
		assert.GreaterOrEqual(t, p.Steps, history[i].Steps)
		assert.LessOrEqual(t, p.Left, history[i].Left)
	}
}

func TestABrokenChipIsNamedWithItsFault(t *testing.T) {
	b := practising(t, gates...)
	require.NoError(t, b.Identify(identify.Hint{}, "7400", "3 stuck low"))
	d := becomes(t, b, answered).Identify.Answer
	assert.Equal(t, verdict.Fail, d.Verdict)
	assert.Equal(t, "7400", d.Candidates[0].Part)
	assert.Equal(t, []int{3}, d.Test.PinsFailed)
}

// A chip that none of the candidates is has its function measured: a 7432 is four 2-input ORs.
func TestAnUnknownChipIsMeasured(t *testing.T) {
	b := practising(t, "7400", "7410")
	require.NoError(t, b.Identify(identify.Hint{}, "7432", ""))
	s := becomes(t, b, answered)
	d := s.Identify.Answer
	assert.Equal(t, identified.NotKnown, d.Verdict)
	require.NotNil(t, d.Table)
	assert.Equal(t, []int{3, 6, 8, 11}, d.Table.Outputs)
	assert.Equal(t, "measuring its function", s.Identify.Now().Doing)
	assert.Zero(t, s.Identify.Now().Left)
}

func TestAnEmptySocketIsSaidSo(t *testing.T) {
	b := practising(t, gates...)
	require.NoError(t, b.Identify(identify.Hint{}, "", ""))
	d := becomes(t, b, answered).Identify.Answer
	assert.Contains(t, d.Reason, "empty socket")
	assert.Zero(t, d.Pins)
}

func TestWrongHintsAreRefused(t *testing.T) {
	b := practising(t, gates...)
	for want, do := range map[string]func() error{
		"pins 15: a package has two rows":             func() error { return b.Identify(identify.Hint{Pins: 15}, "7400", "") },
		"kind counters: there is no such kind":        func() error { return b.Identify(identify.Hint{Kind: "counters"}, "7400", "") },
		`marking "?? ????" has no readable character`: func() error { return b.Identify(identify.Hint{Marking: "?? ????"}, "7400", "") },
		"name the chip that is in the socket":         func() error { return b.Identify(identify.Hint{}, "", "2 open") },
		"the forms are":                               func() error { return b.Identify(identify.Hint{}, "7400", "2 melted") },
	} {
		err := do()
		require.ErrorIs(t, err, bench.ErrRefused, want)
		assert.Contains(t, err.Error(), want)
	}
	s, _ := b.State()
	assert.Nil(t, s.Identify)
}

// Stopped, or with nobody looking on, it ends without an answer; another work is refused
// before.
func TestAnIdentificationIsStopped(t *testing.T) {
	for name, end := range map[string]func(*bench.Bench){"stopped": (*bench.Bench).Stop, "unattended": (*bench.Bench).Unattended} {
		b := practising(t, gates...)
		require.NoError(t, b.Identify(identify.Hint{}, "7410", ""))
		err := b.Explore("7400", "", "")
		require.ErrorIs(t, err, bench.ErrRefused)
		assert.ErrorContains(t, err, "a chip is being identified")
		end(b)
		s := becomes(t, b, idle)
		assert.Nil(t, s.Identify.Answer, name)
		assert.Equal(t, "stopped; the supply is off", s.Identify.Trouble, name)
		require.NoError(t, b.Explore("7400", "", ""), "the chip is without supply, so it is tested for contact again")
		becomes(t, b, on)
	}
}
