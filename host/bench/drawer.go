package bench

import (
	"context"
	"strings"
	"time"

	"chipassay/host/assay"
	"chipassay/host/drawer"
	"chipassay/host/report"
	"chipassay/vectors/part"
)

// practicePace is between two looks at what the operator of a practice run says.
const practicePace = 15 * time.Millisecond

// An Order is a drawer run that is asked for.
type Order struct {
	Drawer, Part, Operator, Lot, DateCode string
	KeepDate                              bool
	Identify                              bool // the chips have no marking
	Capacitor                                  // empty for none
}

// Run begins a drawer run: with chips that come by hand or, at the virtual adapter, with
// those of practice.
func (b *Bench) Run(o Order) error {
	o.Drawer, o.Part, o.Capacitor = strings.TrimSpace(o.Drawer), strings.TrimSpace(o.Part), o.Capacitor.trimmed()
	if o.Drawer == "" {
		return refused("name the drawer")
	}
	records := b.Records()
	if o.Lot = strings.TrimSpace(o.Lot); o.Lot != "" {
		if err := records.FindLot(b.ctx, o.Lot); err != nil {
			return refused("%v", err)
		}
	}
	station := &drawer.Station{Plan: b.planned(o), Memory: b.memory}
	if o.Identify {
		plan, err := b.means.Identify()
		if err != nil {
			return err
		}
		station.Identify = &plan
	}
	r := &drawer.Run{
		Drawer: o.Drawer, Lot: o.Lot, Operator: strings.TrimSpace(o.Operator), Typed: o.Part, Identify: o.Identify,
		DateCode: strings.TrimSpace(o.DateCode), KeepDate: o.KeepDate, Find: b.means.Find, Records: records, Behind: records.BehindWords, Numbers: true,
	}
	return b.begin(DrawerRun, func(s *State, w *work) error {
		if err := b.seat(r, station); err != nil {
			return err
		}
		if r.Typed == "" && !o.Identify {
			return refused("name the part that is printed on the chips, or choose that they are identified")
		}
		if err := r.Check(); err != nil {
			return refused("%v", err)
		}
		if err := b.fits(o, r.Typed); err != nil {
			return err
		}
		w.lines = make(chan string, 16)
		r.Hand = hand(w.lines)
		s.Drawer = &Drawer{Order: o, Part: r.Typed}
		return nil
	}, func(ctx context.Context, w *work) error {
		r.Bench, r.Screen = &stoppable{r.Bench, b, w}, screen{b, r}
		if again := r.Reconnect; again != nil {
			r.Reconnect = func(ctx context.Context) (drawer.Bench, error) {
				ctx, cancel := context.WithCancel(ctx)
				defer cancel()
				b.hurries(w, cancel)
				defer b.hurries(w, nil)
				found, err := again(ctx)
				return &stoppable{found, b, w}, err
			}
		}
		summary, err := r.Do(ctx)
		b.run(func(d *Drawer) { d.Summary, d.Tray = summary.String(), summary.Tray })
		return err
	})
}

// seat gives a run its socket: that of the adapter, or the tray of practice.
func (b *Bench) seat(r *drawer.Run, station *drawer.Station) error {
	station.Adapter = b.adapter
	if b.socket == nil {
		r.Bench, r.Pace = station, b.means.Pace
		r.Reconnect = func(ctx context.Context) (drawer.Bench, error) {
			a, err := b.again(ctx)
			if err == nil {
				station.Adapter = a
			}
			return station, err
		}
		return nil
	}
	places, err := b.means.Tray()
	if err != nil {
		return err
	}
	if r.Typed == "" && len(places) > 0 && !r.Identify {
		r.Typed = places[0].Marking
	}
	practised := r.Typed
	if r.Identify && len(places) > 0 {
		practised = places[0].Marking
	}
	b.socket.Swap(nil)
	r.Practice = &drawer.Practice{Station: station, Socket: b.socket, Places: places, Typed: practised}
	r.Bench, r.Pace = r.Practice, practicePace
	return nil
}

// Practice is how many virtual chips there are to practise with.
func (b *Bench) Practice() int { return b.practice() }

// memory is how a memory is tested, with its progress shown.
func (b *Bench) memory(t part.Type) assay.MemoryPlan {
	p := b.means.Memory(t)
	p.Progress = b.progress
	return p
}

// progress shows how much of what is being done is done, 0 to 1.
func (b *Bench) progress(done float64) { b.change(func(s *State) { s.Progress = done }) }

// Tell says a line to the drawer run, as an operator types it; empty is Enter.
func (b *Bench) Tell(line string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.work == nil || b.work.lines == nil {
		return refused("no drawer run is going on")
	}
	select {
	case b.work.lines <- line:
		if b.work.hurry != nil { // a port at which nobody answers takes its time
			b.work.hurry()
		}
		if b.state.Message.Text != "" { // it was of what was done before
			b.changeLocked(func(s *State) { s.Message.Text = "" })
		}
		return nil
	default:
		return refused("the chip is being tested: wait until it is done")
	}
}

// Start tests the chip in the socket, or seats the next in practice: what Enter does. It
// is refused while a chip is being tested, but where the person was asked to do something: it
// is done then.
func (b *Bench) Start() error {
	if b.answered() {
		return nil
	}
	if s, _ := b.State(); s.Drawer != nil && s.Drawer.Standing.Testing {
		return refused("the chip is being tested: leave it alone")
	}
	return b.Tell("")
}

// run changes how the drawer run stands.
func (b *Bench) run(how func(d *Drawer)) {
	b.change(func(s *State) {
		d := *s.Drawer
		how(&d)
		s.Drawer = &d
	})
}

// hurries notes how the look for a lost adapter is cut short.
func (b *Bench) hurries(w *work, by context.CancelFunc) {
	b.mu.Lock()
	defer b.mu.Unlock()
	w.hurry = by
}

// A hand is the operator of a drawer run.
type hand chan string

func (h hand) Next() (string, bool, error) {
	select {
	case line := <-h:
		return line, true, nil
	default:
		return "", false, nil
	}
}

// A stoppable is a socket at which a test can be stopped.
type stoppable struct {
	drawer.Bench
	bench *Bench
	work  *work
}

func (s *stoppable) Test(ctx context.Context, t part.Type) (*assay.Result, error) {
	inner, cancel := context.WithCancel(ctx)
	defer cancel()
	s.set(cancel)
	defer s.set(nil)
	result, err := s.Bench.Test(inner, t)
	s.bench.unclipped(s.work)
	s.bench.change(func(s *State) { s.Progress, s.Stopping = 0, false })
	if inner.Err() != nil && ctx.Err() == nil {
		return nil, drawer.ErrStopped
	}
	return result, err
}

func (s *stoppable) set(cancel context.CancelFunc) {
	s.bench.mu.Lock()
	defer s.bench.mu.Unlock()
	s.work.stop = cancel
}

// A screen shows a run to those who look on.
type screen struct {
	bench *Bench
	run   *drawer.Run
}

func (s screen) Say(text string) { s.bench.say(text) }

func (s screen) Show(now drawer.Standing) {
	state, _ := s.bench.State()
	before := state.Drawer.Standing
	same := before.Tally == now.Tally && before.Awaits == now.Awaits && before.Testing == now.Testing && before.Paused == now.Paused &&
		before.Lost == now.Lost && before.Empty == now.Empty && before.Kept == now.Kept && before.Last == now.Last && before.Sheet == now.Sheet &&
		before.Recorded == now.Recorded && state.Drawer.Part == s.run.Typed
	if same {
		return
	}
	s.bench.change(func(state *State) {
		if now.Testing && !before.Testing { // what was said was of the chip before
			state.Message.Text = ""
		}
		state.Adapter.Lost = now.Lost
		d := *state.Drawer
		d.Standing, d.Part = now, s.run.Typed
		state.Drawer = &d
	})
}

func (s screen) Verdict(d report.Document, written string) {
	s.bench.run(func(run *Drawer) {
		run.Standing.Sheet, run.Standing.Recorded = &d, written
		run.Verdicts++
	})
}

func (screen) Close() {}
