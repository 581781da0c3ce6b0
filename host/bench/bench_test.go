package bench

import (
	"context"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/link"
	"chipassay/host/record"
	"chipassay/host/verdict"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// A cable is the line to an adapter that stands for a real one: a hand can seat chips at it,
// and pull it out.
type cable struct {
	sync.Mutex
	socket *virtual.Socket
	conn   link.Conn
	pulled bool
	silent bool // at its port nobody answers, however long one waits
}

func (c *cable) Read(p []byte) (int, error) {
	c.Lock()
	defer c.Unlock()
	if c.pulled {
		return 0, link.ErrUnplugged
	}
	return c.conn.Read(p)
}

func (c *cable) Write(p []byte) (int, error) {
	c.Lock()
	defer c.Unlock()
	if c.pulled {
		return 0, link.ErrUnplugged
	}
	return c.conn.Write(p)
}

func (c *cable) SetReadTimeout(d time.Duration) error { return c.conn.SetReadTimeout(d) }
func (c *cable) Close() error                         { return nil }

// pull pulls the cable out, or plugs it in again.
func (c *cable) pull(out bool) {
	c.Lock()
	defer c.Unlock()
	c.pulled = out
}

// seat seats a chip, or takes it out where there is none.
func (c *cable) seat(t *testing.T, typed string, defects ...string) {
	t.Helper()
	var chip *virtual.Chip
	if typed != "" {
		typ, err := library.Open(typed)
		require.NoError(t, err)
		var list []virtual.Defect
		for _, text := range defects {
			d, err := virtual.ParseDefect(text)
			require.NoError(t, err)
			list = append(list, d)
		}
		chip, err = virtual.NewChip(typ, list...)
		require.NoError(t, err)
	}
	c.Lock()
	defer c.Unlock()
	c.socket.Swap(chip)
}

// live reports whether the supply is on.
func (c *cable) live() bool {
	c.Lock()
	defer c.Unlock()
	return c.socket.Live()
}

// byHand is a bench whose chips are seated by hand, with tests of a length of the adapter's
// time.
func byHand(t *testing.T, atLeast time.Duration) (*Bench, *cable) {
	t.Helper()
	socket := virtual.NewBoard().Socket(nil, 1)
	conn, err := virtual.Open(t.Context(), socket)
	require.NoError(t, err)
	c := &cable{socket: socket, conn: conn}
	b := New(Means{
		Find: library.Open,
		Plan: func(typ part.Type) (assay.Plan, error) {
			p, err := assay.NewPlan(typ, nil)
			p.AtLeast = atLeast
			return p, err
		},
		Adapter: func(ctx context.Context) (*adapter.Adapter, error) {
			c.Lock()
			silent := c.silent
			c.Unlock()
			if silent {
				<-ctx.Done()
				return nil, ctx.Err()
			}
			return adapter.Open(ctx, link.New(c, 0))
		},
		Records: func(context.Context, bool) (*record.Store, error) {
			return record.Open(filepath.Join(t.TempDir(), "records"))
		},
		Pace: time.Millisecond,
	})
	require.NoError(t, b.Open(t.Context()))
	t.Cleanup(func() { require.NoError(t, b.Close()) })
	return b, c
}

// until waits until the state is as wanted.
func until(t *testing.T, b *Bench, wanted string, holds func(State) bool) State {
	t.Helper()
	limit := time.After(30 * time.Second)
	for {
		s, changed := b.State()
		if holds(s) {
			return s
		}
		select {
		case <-changed:
		case <-limit:
			t.Fatalf("not %s: %+v, %+v", wanted, s, s.Drawer)
		}
	}
}

// verdicts are those of the records.
func verdicts(t *testing.T, b *Bench) (list []verdict.Verdict) {
	t.Helper()
	for r, err := range b.Records().Find(t.Context(), record.Query{}) {
		require.NoError(t, err)
		list = append(list, r.Verdict)
	}
	return list
}

func waits(s State) bool {
	return s.Work == DrawerRun && !s.Drawer.Standing.Testing && s.Drawer.Standing.Awaits != ""
}

// Chips that are seated by hand are tested as they come, and a run ends with its summary.
func TestRunByHand(t *testing.T) {
	b, c := byHand(t, 0)
	require.NoError(t, b.Run(Order{Drawer: "D3", Part: "7400", DateCode: "7806"}))
	s := until(t, b, "ready", waits)
	assert.Equal(t, "D3", s.Drawer.Order.Drawer)
	assert.True(t, s.Drawer.Standing.Empty)
	c.seat(t, "7400")
	s = until(t, b, "tested", func(s State) bool { return s.Drawer.Verdicts == 1 && len(s.Drawer.Standing.Written) == 1 })
	assert.Equal(t, verdict.Pass, s.Drawer.Standing.Sheet.Verdict)
	assert.Contains(t, s.Drawer.Standing.Recorded, "number 1")
	assert.ErrorIs(t, b.Run(Order{Drawer: "D4", Part: "7400"}), ErrRefused, "one work at a time")
	require.NoError(t, b.Tell("note from the point controller"))
	said := until(t, b, "corrected", func(s State) bool { return s.Message.Text == "corrected" }).Message.Number
	c.seat(t, "")
	until(t, b, "empty", func(s State) bool { return s.Drawer.Standing.Empty })
	c.seat(t, "7400", "2 open")
	s = until(t, b, "tested", func(s State) bool { return s.Drawer.Verdicts == 2 && len(s.Drawer.Standing.Written) == 2 })
	number := s.Drawer.Standing.Written[1].BagNumber
	require.NoError(t, b.Tell("undo"))
	s = until(t, b, "taken back", func(s State) bool { return len(s.Drawer.Standing.Written) == 1 })
	assert.Greater(t, s.Message.Number, said, "each message has a number of its own")
	assert.Equal(t, "taken back", s.Drawer.Standing.Recorded)
	assert.Equal(t, "taken back: the test of chip "+number+": fail", s.Message.Text, "by the number that was shown")
	require.NoError(t, b.Tell("part 7399"))
	until(t, b, "refused", func(s State) bool { return strings.Contains(s.Message.Text, "7399") })
	require.NoError(t, b.Tell("note "+strings.Repeat("x", record.MaxText+1)))
	until(t, b, "too long", func(s State) bool { return s.Message.Text == "the note is too long: 10000 characters at most" })
	require.NoError(t, b.Tell("note x"))
	until(t, b, "another word: what was said is of before", func(s State) bool { return s.Message.Text == "" })
	require.NoError(t, b.Tell("part 7399"))
	until(t, b, "refused", func(s State) bool { return strings.Contains(s.Message.Text, "7399") })
	c.seat(t, "")
	until(t, b, "empty", func(s State) bool { return s.Drawer.Standing.Empty })
	c.seat(t, "7400", "2 open")
	s = until(t, b, "tested", func(s State) bool { return s.Drawer.Verdicts == 3 && len(s.Drawer.Standing.Written) == 2 })
	assert.Empty(t, s.Message.Text, "of the chip before")
	require.NoError(t, b.Tell("undo"))
	until(t, b, "taken back", func(s State) bool { return len(s.Drawer.Standing.Written) == 1 })
	require.NoError(t, b.Tell("end"))
	s = until(t, b, "over", func(s State) bool { return s.Work == Idle })
	assert.Contains(t, s.Drawer.Summary, "1 chip: 1 pass")
	assert.Equal(t, []verdict.Verdict{verdict.Pass}, verdicts(t, b))
	assert.ErrorIs(t, b.Tell("go"), ErrRefused)
}

// What is asked for wrongly is refused in words, and nothing begins.
func TestRunsThatAreRefused(t *testing.T) {
	b, _ := byHand(t, 0)
	long := strings.Repeat("D", record.MaxText+1) // no record could hold it
	for _, o := range []Order{{Drawer: "D3", Part: "7400", DateCode: "7854"}, {Drawer: "D3", Part: "4116"}, {Drawer: long, Part: "7400"}, {Drawer: "D3", Part: "7400", Operator: long}, {Part: "7400"}, {Drawer: "D3"}, {Drawer: "D3", Part: "7399"}, {Drawer: "D3", Part: "7400", Lot: "no such lot"}} {
		err := b.Run(o)
		assert.ErrorIs(t, err, ErrRefused, "%+v", o)
		assert.NotEmpty(t, err.Error())
		s, _ := b.State()
		assert.Equal(t, Idle, s.Work)
	}
}

// testing7400 is a bench at which a chip has just come that is tested for an hour.
func testing7400(t *testing.T) (*Bench, *cable) {
	t.Helper()
	b, c := byHand(t, time.Hour)
	require.NoError(t, b.Run(Order{Drawer: "D3", Part: "7400"}))
	until(t, b, "ready", waits)
	c.seat(t, "7400")
	return b, c
}

// A test that is stopped leaves the supply off, and nothing is recorded of the chip; the
// run goes on.
func TestStopInTheMiddleOfATest(t *testing.T) {
	b, c := testing7400(t)
	until(t, b, "testing", func(s State) bool { return s.Drawer.Standing.Testing })
	require.Eventually(t, c.live, 20*time.Second, time.Millisecond)
	assert.ErrorIs(t, b.Start(), ErrRefused)
	b.Stop()
	s := until(t, b, "stopped", waits)
	assert.False(t, c.live())
	assert.Contains(t, s.Message.Text, "not recorded")
	assert.Nil(t, s.Drawer.Standing.Sheet)
	assert.Zero(t, s.Drawer.Verdicts)
	assert.Empty(t, verdicts(t, b))
	assert.Equal(t, DrawerRun, s.Work)
}

// Where nobody looks on any more, the test is stopped and the run waits.
func TestNobodyLooksOn(t *testing.T) {
	b, c := testing7400(t)
	until(t, b, "testing", func(s State) bool { return s.Drawer.Standing.Testing })
	require.Eventually(t, c.live, 20*time.Second, time.Millisecond)
	b.Unattended()
	until(t, b, "paused", func(s State) bool { return s.Drawer.Standing.Paused })
	assert.False(t, c.live())
	assert.Empty(t, verdicts(t, b))
}

// A cable that is pulled out in the middle of a test loses nothing: the run says so, and
// goes on where it is plugged in again.
func TestUnplugged(t *testing.T) {
	b, c := testing7400(t)
	require.Eventually(t, c.live, 20*time.Second, time.Millisecond)
	c.pull(true)
	s := until(t, b, "lost", func(s State) bool { return s.Drawer.Standing.Lost })
	assert.Contains(t, s.Drawer.Standing.Awaits, "does not answer")
	assert.True(t, s.Adapter.Lost)
	for _, v := range verdicts(t, b) {
		assert.Equal(t, verdict.NotTested, v, "as in the terminal")
	}
	c.pull(false)
	s = until(t, b, "back", func(s State) bool { return !s.Drawer.Standing.Lost })
	assert.False(t, s.Adapter.Lost)
	assert.False(t, c.live(), "opening an adapter makes its socket safe")
}

// The word of the operator does not wait until an adapter that is lost was looked for. A test
// after it is back can be stopped as one before.
func TestWordsWhileTheAdapterIsLookedFor(t *testing.T) {
	b, c := testing7400(t)
	require.Eventually(t, c.live, 20*time.Second, time.Millisecond)
	c.Lock()
	c.pulled, c.silent = true, true
	c.Unlock()
	until(t, b, "lost", func(s State) bool { return s.Drawer.Standing.Lost })
	require.NoError(t, b.Start())
	until(t, b, "refused", func(s State) bool { return s.Message.Text == "the adapter does not answer: check its cable" })
	c.Lock()
	c.pulled, c.silent = false, false
	c.Unlock()
	require.NoError(t, b.Tell("note x"))
	until(t, b, "back", func(s State) bool { return !s.Drawer.Standing.Lost })
	require.NoError(t, b.Tell("retest"))
	until(t, b, "testing again", func(s State) bool { return s.Drawer.Standing.Testing })
	require.Eventually(t, c.live, 20*time.Second, time.Millisecond)
	b.Stop()
	until(t, b, "stopped", waits)
	assert.False(t, c.live())
	require.NoError(t, b.Tell("end"))
	until(t, b, "over", func(s State) bool { return s.Work == Idle })
}

// A bench that is closed in the middle of a test switches the supply off.
func TestCloseInTheMiddleOfATest(t *testing.T) {
	b, c := testing7400(t)
	require.Eventually(t, c.live, 20*time.Second, time.Millisecond)
	before, _ := b.State()
	records := b.Records()
	require.NoError(t, b.Close())
	assert.False(t, c.live())
	after, _ := b.State()
	assert.Greater(t, after.Serial, before.Serial, "who looks on is woken")
	_, err := records.Append(t.Context(), record.Record{})
	assert.Error(t, err, "the file is closed")
	assert.ErrorIs(t, b.Run(Order{Drawer: "D3", Part: "7400"}), ErrRefused)
}

// Without an adapter the virtual one seats the chips of the tray, one for each Enter, and
// the run ends behind the last.
func TestPractice(t *testing.T) {
	trays := 0 // that were read
	b := New(Means{
		Find:    library.Open,
		Plan:    func(typ part.Type) (assay.Plan, error) { return assay.NewPlan(typ, nil) },
		Adapter: func(context.Context) (*adapter.Adapter, error) { return nil, link.ErrNoAdapter },
		Board:   func() (*virtual.Board, error) { return virtual.NewBoard(), nil },
		Tray: func() ([]virtual.Place, error) {
			trays++
			return virtual.ParseTray(strings.NewReader("7400\n7402 chip 7400\n7404 defect \"2 stuck low\""), library.Open)
		},
		Records: func(_ context.Context, isVirtual bool) (*record.Store, error) {
			assert.True(t, isVirtual)
			return record.Open(filepath.Join(t.TempDir(), "records"))
		},
	})
	require.NoError(t, b.Open(t.Context()))
	t.Cleanup(func() { require.NoError(t, b.Close()) })
	s, _ := b.State()
	assert.True(t, s.Adapter.Virtual)
	require.NoError(t, b.Open(t.Context()), "looking for an adapter again keeps the virtual one")
	for range 3 {
		assert.Equal(t, 3, b.Practice())
	}
	assert.Equal(t, 1, trays, "however many pages ask")
	require.NoError(t, b.Run(Order{Drawer: "D3"}))
	assert.Equal(t, 2, trays, "its chips are new ones")
	for n := 1; n <= 3; n++ {
		until(t, b, "ready", waits)
		require.NoError(t, b.Start())
		until(t, b, "tested", func(s State) bool { return s.Drawer.Verdicts == n })
	}
	until(t, b, "ready", waits)
	require.NoError(t, b.Start())
	s = until(t, b, "over", func(s State) bool { return s.Work == Idle })
	assert.Equal(t, []verdict.Verdict{verdict.Pass, verdict.Fail, verdict.Fail}, verdicts(t, b))
	assert.Equal(t, 3, len(s.Drawer.Tray.Chips))
}
