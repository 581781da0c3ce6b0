package bench_test

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/bench"
	"chipassay/host/explore"
	"chipassay/host/identify"
	"chipassay/host/link"
	"chipassay/host/record"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/match"
)

// patience bounds how long a test waits; nothing is measured by it.
const patience = 30 * time.Second

// practising is a bench with a virtual adapter, and candidates for what a chip may be.
func practising(t *testing.T, candidates ...string) *bench.Bench {
	t.Helper()
	var circuits []*logic.Circuit
	for _, typed := range candidates {
		typ, err := library.Open(typed)
		require.NoError(t, err)
		c, err := logic.Compile(typ.Variant)
		require.NoError(t, err)
		circuits = append(circuits, c)
	}
	file := filepath.Join(t.TempDir(), "records")
	b := bench.New(bench.Means{
		Find: library.Open,
		Identify: func() (identify.Plan, error) {
			return identify.Plan{Candidates: match.Of(circuits, nil), MemorySteps: 300}, nil
		},
		Adapter: func(context.Context) (*adapter.Adapter, error) { return nil, link.ErrNoAdapter },
		Board:   func() (*virtual.Board, error) { return virtual.NewBoard(), nil },
		Tray:    func() ([]virtual.Place, error) { return nil, nil },
		Seed:    1,
		Records: func(context.Context, bool) (*record.Store, error) { return record.Open(file) },
	})
	require.NoError(t, b.Open(t.Context()))
	t.Cleanup(func() { require.NoError(t, b.Close()) })
	return b
}

// becomes waits until a bench stands so.
func becomes(t *testing.T, b *bench.Bench, so func(bench.State) bool) bench.State {
	t.Helper()
	late := time.After(patience)
	for {
		s, changed := b.State()
		if so(s) {
			return s
		}
		select {
		case <-changed:
		case <-late:
			require.Fail(t, "the bench did not become so", "%+v", s)
		}
	}
}

func on(s bench.State) bool { return s.Explore != nil && s.Explore.On }

func idle(s bench.State) bool { return s.Work == bench.Idle }

// exploring explores a chip that is powered.
func exploring(t *testing.T, typed, chip, defects string) *bench.Bench {
	t.Helper()
	b := practising(t)
	require.NoError(t, b.Explore(typed, chip, defects))
	becomes(t, b, on)
	return b
}

// pin is what was last seen at a pin.
func pin(t *testing.T, b *bench.Bench, number int) explore.Pin {
	t.Helper()
	s, _ := b.State()
	return *s.Explore.State.Pin(number)
}

// Gate 1 of a 7410 is at pins 1, 2, 13 and 12 (data book of the series).
func TestAToggleIsSeenAtOnce(t *testing.T) {
	b := exploring(t, " 7410 ", "", "")
	assert.Equal(t, explore.StandsHigh, pin(t, b, 12).Seen)
	for _, input := range []int{1, 2, 13} {
		require.NoError(t, b.Toggle(input))
	}
	assert.Equal(t, explore.StandsLow, pin(t, b, 12).Seen)
	require.NoError(t, b.Set(13, explore.Open))
	open := pin(t, b, 13)
	assert.InDelta(t, 1.5, open.Volts, 0.1, "an open TTL input floats to 1.4 to 1.6 V (data books; from memory)")
	assert.Equal(t, logic.One, open.Takes)
	assert.Equal(t, explore.StandsLow, pin(t, b, 12).Seen)
	s, _ := b.State()
	assert.Equal(t, "1C=open", s.Explore.State.Did)
}

func TestStepsArePulsedTypedAndKept(t *testing.T) {
	b := exploring(t, "7474", "", "")
	require.NoError(t, b.Step("1D=H"))
	require.NoError(t, b.Pulse(2)) // the clock that goes with 1D
	assert.Equal(t, explore.StandsHigh, pin(t, b, 5).Seen, "a 7474 takes D at the rising edge (data book)")
	s, _ := b.State()
	assert.Equal(t, "clock 1CLK", s.Explore.State.Did)
	require.NoError(t, b.Step("1D"), "the name alone toggles")
	assert.Equal(t, explore.Open, pin(t, b, 2).Drive)
	require.NoError(t, b.Keep())
	assert.Equal(t, explore.Open, pin(t, b, 2).Drive)
}

func TestARefusalChangesNothing(t *testing.T) {
	b := exploring(t, "7400", "", "")
	before, _ := b.State()
	for want, do := range map[string]func() error{
		"1Y is an output: outputs are never driven":     func() error { return b.Toggle(3) },
		"VCC is no input: supply":                       func() error { return b.Set(14, explore.High) },
		"pin 15: the chip has pins 1 to 14":             func() error { return b.Toggle(15) },
		"pin 0: the chip has pins 1 to 14":              func() error { return b.Pulse(0) },
		"a 7400 has no clock":                           func() error { return b.Pulse(1) },
		"9Z=H":                                          func() error { return b.Step("9Z") },
		`a 7400 has no input "9Z": it has 1A 1B`:        func() error { return b.Step("9Z=H") },
		"a chip is being explored: switch it off first": func() error { return b.Explore("7402", "", "") },
	} {
		if want == "9Z=H" {
			want = `"9Z" is no step`
		}
		err := do()
		require.ErrorIs(t, err, bench.ErrRefused, want)
		assert.Contains(t, err.Error(), want)
	}
	after, _ := b.State()
	assert.Equal(t, before.Explore.State.Step, after.Explore.State.Step)
	assert.True(t, after.Explore.On)
	assert.Equal(t, bench.Exploring, after.Work)
}

func TestWhatCannotBeExploredIsSaidBefore(t *testing.T) {
	b := practising(t)
	for want, do := range map[string]func() error{
		"no part":                    func() error { return b.Explore("7x99", "", "") },
		"2114":                       func() error { return b.Explore("2114", "", "") },
		"no part nonsense":           func() error { return b.Explore("7400", "nonsense", "") },
		"the forms are":              func() error { return b.Explore("7400", "", "2 melted") },
		"no chip is being explored":  func() error { return b.Toggle(1) },
		"no chip is being explored ": func() error { return b.Walk() },
	} {
		err := do()
		require.ErrorIs(t, err, bench.ErrRefused, want)
		assert.Contains(t, err.Error(), strings.TrimSpace(want))
	}
	s, _ := b.State()
	assert.Equal(t, bench.Idle, s.Work)
}

// A chip that is seated wrong stays in view with the reason, and without supply.
func TestAChipThatIsSeatedWrongIsNotPowered(t *testing.T) {
	b := practising(t)
	require.NoError(t, b.Explore("7400", "", "reversed"))
	s := becomes(t, b, func(s bench.State) bool { return s.Explore.Trouble != "" })
	assert.Equal(t, bench.Exploring, s.Work)
	assert.False(t, s.Explore.On)
	assert.Contains(t, s.Explore.Trouble, "put in backwards")
	assert.Zero(t, s.Explore.Left)
	require.ErrorContains(t, b.Toggle(1), "the supply is off")
	require.ErrorContains(t, b.Walk(), "the supply is off")
	require.NoError(t, b.Power())
	s, _ = b.State()
	assert.Contains(t, s.Explore.Trouble, "put in backwards")
}

func TestPowerOffAndOn(t *testing.T) {
	b := exploring(t, "7400", "", "")
	require.NoError(t, b.Power())
	s, _ := b.State()
	assert.False(t, s.Explore.On)
	assert.Zero(t, s.Explore.Left)
	require.NoError(t, b.Power())
	s, _ = b.State()
	assert.True(t, s.Explore.On)
	assert.Equal(t, explore.Patience, s.Explore.Left)
}

// What the socket really holds is what answers: a 7402 has its output at pin 1.
func TestAnotherChipIsInTheSocket(t *testing.T) {
	b := exploring(t, "7400", "7402", "")
	s, _ := b.State()
	assert.NotZero(t, s.Explore.State.Differences())
	require.NotEmpty(t, s.Explore.State.Notes)
}

// A 7400 has four gates, of three rows each as data sheets print a NAND gate's.
func TestAWalkTicksEveryRow(t *testing.T) {
	b := exploring(t, "7400", "", "")
	require.NoError(t, b.Walk())
	s, _ := b.State()
	assert.True(t, s.Explore.Walking)
	assert.Equal(t, 12, s.Explore.Rows)
	s = becomes(t, b, func(s bench.State) bool { return !s.Explore.Walking })
	require.Len(t, s.Explore.Tables, 4)
	for _, table := range s.Explore.Tables {
		seen, differ, all := table.Ticked()
		assert.Equal(t, []int{3, 0, 3}, []int{seen, differ, all}, table.Heading())
	}
	assert.Equal(t, 2, s.Explore.Tables[3].Now, "it stands in the last row")
}

func TestAWalkIsStopped(t *testing.T) {
	for name, stop := range map[string]func(b *bench.Bench) error{
		"by the same button": (*bench.Bench).Walk,
		"by hand":            func(b *bench.Bench) error { return b.Toggle(1) },
		"by switching off":   (*bench.Bench).Power,
	} {
		b := exploring(t, "7400", "", "")
		require.NoError(t, b.Step("rows"), name)
		becomes(t, b, func(s bench.State) bool { return s.Explore.Rows == 11 })
		require.NoError(t, stop(b), name)
		s, _ := b.State()
		assert.False(t, s.Explore.Walking, name)
		assert.Zero(t, s.Explore.Rows, name)
	}
}

// Whoever ends it, the supply is off then.
// A pulled is the line to an adapter whose cable may be pulled out.
type pulled struct {
	link.Conn
	out atomic.Bool
}

func (c *pulled) Read(p []byte) (int, error) {
	if c.out.Load() {
		return 0, fmt.Errorf("/dev/ttyACM0: %w", link.ErrUnplugged)
	}
	return c.Conn.Read(p)
}

// A person is told of the cable, and neither of the request nor of the port.
func TestTheCableIsPulledInAnExploration(t *testing.T) {
	typ, err := library.Open("7400")
	require.NoError(t, err)
	chip, err := virtual.NewChip(typ)
	require.NoError(t, err)
	conn, err := virtual.Open(t.Context(), virtual.NewBoard().Socket(chip, 1))
	require.NoError(t, err)
	cable := &pulled{Conn: conn}
	file := filepath.Join(t.TempDir(), "records")
	b := bench.New(bench.Means{
		Find:    library.Open,
		Adapter: func(ctx context.Context) (*adapter.Adapter, error) { return adapter.Open(ctx, link.New(cable, 0)) },
		Records: func(context.Context, bool) (*record.Store, error) { return record.Open(file) },
	})
	require.NoError(t, b.Open(t.Context()))
	t.Cleanup(func() { _ = b.Close() }) // its adapter is gone
	require.NoError(t, b.Explore("7400", "", ""))
	becomes(t, b, on)
	cable.out.Store(true)
	require.ErrorIs(t, b.Toggle(1), bench.ErrRefused, "whoever noticed it first")
	s := becomes(t, b, idle)
	const words = "the adapter does not answer: check its cable"
	assert.Equal(t, words, s.Explore.Trouble)
	assert.Equal(t, words, s.Message.Text)
	assert.True(t, s.Adapter.Lost)
}

func TestAnExplorationEnds(t *testing.T) {
	for name, end := range map[string]func(*bench.Bench){"stopped": (*bench.Bench).Stop, "unattended": (*bench.Bench).Unattended} {
		b := exploring(t, "7400", "", "")
		end(b)
		s := becomes(t, b, idle)
		assert.False(t, s.Explore.On, name)
		assert.Empty(t, s.Explore.Trouble, name)
		require.NoError(t, b.Explore("7402", "", ""), "the next may begin")
		becomes(t, b, on)
	}
}
