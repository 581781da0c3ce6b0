// Package bench is the one bench of a workshop, whatever shows it: the adapter, what is
// being done with it, and how that stands. One work is done at a time: a drawer run, an
// exploration, an identification, a check or a calibration of the adapter. Each is that of
// the command line; the bench adds only that several views may look on, and that a view
// may go away in the middle.
//
// The supply is off wherever no work has it on: when a work ends, is stopped, or loses
// the last one who looks on.
package bench

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/identify"
	"chipassay/host/record"
	"chipassay/host/virtual"
	"chipassay/vectors/part"
)

// ErrRefused is what cannot be done now, or not with what was typed. Its text is for a
// person.
var ErrRefused = errors.New("refused")

// refusal is an ErrRefused with its reason.
type refusal string

func (r refusal) Error() string      { return string(r) }
func (refusal) Is(target error) bool { return target == ErrRefused }

// refused is a refusal in words.
func refused(format string, args ...any) error { return refusal(fmt.Sprintf(format, args...)) }

// Means are what a bench works with. They are set once.
type Means struct {
	Find     func(typed string) (part.Type, error)
	Plan     func(part.Type) (assay.Plan, error) // how logic is tested
	Memory   func(part.Type) assay.MemoryPlan    // how a memory is
	Identify func() (identify.Plan, error)       // how a chip without a marking is identified
	// Capacitor has the plan of a type measure with a capacitor, which the virtual socket has
	// clipped on by itself. The error says what of it does not fit the type.
	Capacitor func(c Capacitor, t part.Type, socket *virtual.Socket, h Helper) (func(*assay.Plan), error)

	// Adapter connects to the adapter at its port. Where the error is a link.ErrNoAdapter
	// the virtual one takes its place.
	Adapter func(ctx context.Context) (*adapter.Adapter, error)
	// Board is the virtual adapter's, Tray the chips of practice.
	Board func() (*virtual.Board, error)
	Tray  func() ([]virtual.Place, error)
	Seed  uint64 // of all that a virtual chip leaves to chance

	// Records opens the file for real or for virtual chips.
	Records func(ctx context.Context, virtual bool) (*record.Store, error)

	// Pace is between two looks at the socket of a real adapter.
	Pace time.Duration
}

// A Work is what the adapter is used for.
type Work string

// The works.
const (
	Idle        Work = ""
	DrawerRun   Work = "drawer"
	Exploring   Work = "explore"
	Identifying Work = "identify"
	Checking    Work = "check"
	Calibrating Work = "calibrate"
	Measuring   Work = "measure"
)

// doing says what each work is, for a refusal.
var doing = map[Work]string{
	DrawerRun: "a drawer run is going on: end it first", Exploring: "a chip is being explored: switch it off first",
	Identifying: "a chip is being identified: stop that first", Checking: "the adapter is being checked: stop that first",
	Calibrating: "the adapter is being calibrated: stop that first", Measuring: "the adapter is being measured: wait a moment",
}

// Busy says what must be ended before another work begins; empty where nothing must.
func (s State) Busy() string { return doing[s.Work] }

// A Bench is the bench. Its methods may be called by several goroutines.
type Bench struct {
	means Means
	ctx   context.Context // done when the bench is closed
	close context.CancelFunc

	practice func() int // read once: each page asks for it, and a run reads the tray anew

	mu      sync.Mutex
	state   State
	changed chan struct{} // closed at the next change
	work    *work
	opening bool             // an adapter is looked for
	adapter *adapter.Adapter // that of the work, or of nobody
	socket  *virtual.Socket  // nil at a real adapter
	records *record.Store
}

// A work is one that has the adapter.
type work struct {
	cancel context.CancelFunc
	ended  chan struct{}

	lines chan string                   // to a drawer run
	stop  context.CancelFunc            // of the test that is running in it; nil for none
	hurry context.CancelFunc            // of the look for a lost adapter in it; nil for none
	done  chan struct{}                 // closed when the person has done what is asked for; nil for nothing
	asked bool                          // something is clipped on
	calls chan func(*exploration) error // to an exploration
}

// New is a bench without an adapter; Open finds one.
func New(m Means) *Bench {
	b := &Bench{means: m, changed: make(chan struct{})}
	b.practice = sync.OnceValue(func() int {
		places, err := m.Tray()
		if err != nil {
			return 0
		}
		return len(places)
	})
	b.ctx, b.close = context.WithCancel(context.Background())
	return b
}

// State is how the bench stands, and a channel that is closed when that changes.
func (b *Bench) State() (State, <-chan struct{}) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.state, b.changed
}

// change changes the state, and wakes those who wait for it.
func (b *Bench) change(how func(s *State)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.changeLocked(how)
}

func (b *Bench) changeLocked(how func(s *State)) {
	how(&b.state)
	b.state.Serial++
	close(b.changed)
	b.changed = make(chan struct{})
}

// say says something to whoever looks on.
func (b *Bench) say(text string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.sayLocked(text)
}

func (b *Bench) sayLocked(text string) {
	b.changeLocked(func(s *State) { s.Message = Message{s.Message.Number + 1, text} })
}

// begin begins a work with the adapter, in a goroutine of its own, once start has made
// sure that nothing is wrong with what was asked for. It is refused while another goes on.
func (b *Bench) begin(what Work, start func(s *State, w *work) error, do func(ctx context.Context, w *work) error) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch {
	case b.ctx.Err() != nil:
		return refused("the bench is closed")
	case b.work != nil:
		return refused("%s", doing[b.state.Work])
	case b.adapter == nil || b.opening:
		return refused("no adapter is connected")
	}
	w := &work{ended: make(chan struct{})}
	next := b.state
	if err := start(&next, w); err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(b.ctx)
	w.cancel = cancel
	b.work = w
	b.changeLocked(func(s *State) {
		serial := s.Serial
		*s = next
		s.Serial, s.Work, s.Since, s.Stopping = serial, what, time.Now(), false
	})
	go func() {
		defer close(w.ended)
		defer cancel()
		err := do(ctx, w)
		b.end(w, err, ctx.Err() != nil)
	}()
	return nil
}

// end is a work at its end. What went wrong is said, unless the work was stopped.
func (b *Bench) end(w *work, err error, stopped bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.work = nil
	b.changeLocked(func(s *State) {
		s.Work, s.Stopping, s.Progress = Idle, false, 0
		if err != nil && !stopped {
			s.Message = Message{s.Message.Number + 1, plain(err)}
			s.Adapter.Lost = s.Adapter.Lost || gone(err)
		}
	})
}

// Stop stops the work, or of a drawer run the test that is going on; the supply goes off.
func (b *Bench) Stop() {
	b.mu.Lock()
	defer b.mu.Unlock()
	w := b.work
	switch {
	case w == nil:
		return
	case b.state.Work == DrawerRun && w.stop != nil:
		w.stop()
	case b.state.Work == DrawerRun: // between chips nothing is on
		return
	default:
		w.cancel()
	}
	b.changeLocked(func(s *State) { s.Stopping = true })
}

// Unattended is when nobody looks on any more: what has the supply on is stopped, and a
// drawer run waits.
func (b *Bench) Unattended() {
	b.Stop()
	b.mu.Lock()
	run := b.state.Work == DrawerRun && b.state.Drawer != nil && !b.state.Drawer.Standing.Paused
	b.mu.Unlock()
	if run {
		b.Tell("pause")
	}
}

// Close ends the work and switches the supply off. What was recorded is on disk already.
func (b *Bench) Close() error {
	b.close()
	b.mu.Lock()
	w := b.work
	b.mu.Unlock()
	if w != nil {
		<-w.ended
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	var err error
	if b.adapter != nil {
		err = b.adapter.Close()
		b.adapter = nil
	}
	if b.records != nil {
		err = errors.Join(err, b.records.Close())
		b.records = nil
	}
	return err
}

// Records are those of the chips that are tested here.
func (b *Bench) Records() *record.Store {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.records
}

// Find finds the type of a marking, or of a part as typed.
func (b *Bench) Find(typed string) (part.Type, error) { return b.means.Find(typed) }
