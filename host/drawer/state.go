package drawer

import (
	"context"
	"errors"
	"fmt"
	"io"

	"chipassay/host/assay"
)

// A state is what a run waits for.
type state int

const (
	waiting    state = iota // the socket is empty: for a chip
	tested                  // the chip in the socket is the one recorded last: that it is taken out
	passedOver              // the chip in the socket has no record (skipped, taken back, not tested): likewise
	paused                  // for go; the socket is left alone
	lost                    // for the adapter to answer again
	ended
	states
)

// An event is what a run meets with, at the socket or from the operator.
type event int

const (
	came     event = iota // looks in turn agree that a chip is in the empty socket
	gone                  // and that the chip was taken out
	button                // the adapter's button went down
	enter                 // Enter alone
	again                 // retest
	pause                 //
	goOn                  // go
	end                   //
	silent                // the adapter does not answer
	answered              // it does again
	events
)

// An action is what a run does at an event, with the state that it goes to.
type action func(*Run, context.Context) error

// at is what an event does in a state; nil for nothing.
//
//	            chip came       taken out   button      Enter       retest           pause    go        adapter silent   answers
//	waiting     test, or skip               test        test        the last again   paused             lost
//	tested                      waiting     test again  refused     test again       paused             lost
//	passedOver                  waiting     test        refused     test             paused             lost
//	paused                                              as before   refused                   as before
//	lost                                                refused     refused          refused  refused                    as before
//
// A test leads to tested where it was recorded, to passedOver where not, and to
// waiting where the socket was empty; end ends every state. In practice, Enter seats the next
// chip first. What the operator enters for a chip (date, note, marking, undo) and of the
// next one (part, skip) does the same in every state: it is about the chip in the socket
// while that is tested, else the next.
func at(s state, e event) action {
	return [states][events]action{
		waiting: {
			came: (*Run).take, button: (*Run).test, enter: (*Run).start, again: (*Run).expect,
			pause: (*Run).halt, goOn: (*Run).announce, end: (*Run).finish, silent: (*Run).lose,
		},
		tested: {
			gone: (*Run).release, button: (*Run).retest, enter: (*Run).start, again: (*Run).retest,
			pause: (*Run).halt, goOn: (*Run).announce, end: (*Run).finish, silent: (*Run).lose,
		},
		passedOver: {
			gone: (*Run).release, button: (*Run).test, enter: (*Run).start, again: (*Run).test,
			pause: (*Run).halt, goOn: (*Run).announce, end: (*Run).finish, silent: (*Run).lose,
		},
		paused: {
			enter: (*Run).resume, again: refuse("paused: type go first"), goOn: (*Run).resume, end: (*Run).finish,
		},
		lost: {
			enter: refuse(noAnswer), again: refuse(noAnswer), pause: refuse(noAnswer), goOn: refuse(noAnswer), end: (*Run).finish,
			answered: (*Run).resume,
		},
	}[s][e]
}

const noAnswer = "the adapter does not answer: check its cable"

// on does what an event does.
func (r *Run) on(ctx context.Context, e event) error {
	if do := at(r.state, e); do != nil {
		return do(r, ctx)
	}
	return nil
}

// seat is the state of the socket, also while the run is paused or its adapter lost.
func (r *Run) seat() state {
	if r.state == paused || r.state == lost {
		return r.back
	}
	return r.state
}

// turn is one look at the operator, and where nothing was typed, at what the state waits for.
func (r *Run) turn(ctx context.Context) error {
	r.show(Standing{})
	line, ok, err := r.Hand.Next()
	switch {
	case ok:
		return r.execute(ctx, line)
	case err != nil && !errors.Is(err, io.EOF):
		return err
	case err != nil && (r.state == paused || r.Practice != nil): // nobody is there to go on
		return r.on(ctx, end)
	case r.state == lost:
		err = r.reconnect(ctx)
	case r.state != paused && r.Practice == nil: // virtual chips come and go by Enter alone
		err = r.look(ctx)
	default:
		err = nil
	}
	if err == nil {
		r.wait(ctx)
	}
	return err
}

// steady is how many looks in turn must agree before a chip is taken to be in the
// socket, or out of it: the lever takes its time.
const steady = 2

// look looks at the button and the socket.
func (r *Run) look(ctx context.Context) error {
	pressed, err := r.Bench.Pressed(ctx)
	if err != nil {
		return r.failed(ctx, err)
	}
	went := pressed && !r.pressed
	if r.pressed = pressed; went {
		return r.on(ctx, button)
	}
	present, err := r.Bench.Present(ctx, r.typ)
	if err != nil {
		return r.failed(ctx, err)
	}
	if present == (r.state != waiting) {
		r.seen = 0
		return nil
	}
	if r.seen++; r.seen < steady {
		return nil
	}
	r.seen = 0
	if present {
		return r.on(ctx, came)
	}
	return r.on(ctx, gone)
}

// failed is what an error of the bench does: the adapter may be found again.
func (r *Run) failed(ctx context.Context, err error) error {
	if errors.Is(err, ErrNoMore) || r.Reconnect == nil || ctx.Err() != nil {
		return err
	}
	return r.on(ctx, silent)
}

func (r *Run) reconnect(ctx context.Context) error {
	bench, err := r.Reconnect(ctx)
	if err != nil {
		return nil // not yet
	}
	r.Bench = bench
	r.Screen.Say("the adapter is back")
	return r.on(ctx, answered)
}

// take deals with a chip that came.
func (r *Run) take(ctx context.Context) error {
	if r.next.as != skipped {
		return r.test(ctx)
	}
	r.state, r.found = passedOver, finding{}
	r.forget()
	r.Screen.Say("skipped; take it out")
	return nil
}

// release is the socket empty again. A retest that the adapter's loss cut short is not
// the next chip's.
func (r *Run) release(ctx context.Context) error {
	if r.state == tested && r.next.as == lastAgain {
		r.next.as = another
	}
	r.state = waiting
	return r.announce(ctx)
}

// start is Enter: it tests what is in the socket, unless that was dealt with; in
// practice it takes out what is there, seats the next chip and tests that.
func (r *Run) start(ctx context.Context) error {
	switch {
	case r.Practice != nil:
		return r.seatNext(ctx)
	case r.state != waiting:
		return invalid("this chip is done: take it out, or type retest")
	}
	return r.test(ctx)
}

func (r *Run) seatNext(ctx context.Context) error {
	typed := r.Typed
	if r.Identify {
		typed = r.Practice.Typed
	}
	words, err := r.Practice.Seat(typed)
	if err != nil {
		return err
	}
	if r.state = waiting; r.next.as == lastAgain {
		r.next.as = another
	}
	for _, line := range words {
		if err := r.execute(ctx, line); err != nil {
			return err
		}
	}
	return r.take(ctx)
}

// expect has the next chip be the last one again.
func (r *Run) expect(context.Context) error {
	if r.Practice != nil {
		return invalid("there is no chip in the socket: Enter seats the next")
	}
	if len(r.sheets) == 0 || r.last.Serial == 0 {
		return invalid("no chip was tested yet")
	}
	r.next.as = lastAgain
	r.Screen.Say("put the last chip in again")
	return nil
}

// retest tests the chip in the socket again; in practice it is reseated before.
func (r *Run) retest(ctx context.Context) error {
	r.next.as = lastAgain
	if r.Practice != nil {
		r.state = waiting
	}
	return r.test(ctx)
}

func (r *Run) halt(context.Context) error {
	r.state, r.back = paused, r.state
	r.Screen.Say("paused; go, or Enter, goes on")
	return nil
}

func (r *Run) lose(context.Context) error {
	r.state, r.back = lost, r.state
	r.printf("%s. All records are safe, and the run continues when it is back", noAnswer)
	return nil
}

func (r *Run) resume(ctx context.Context) error {
	r.state = r.back
	return r.announce(ctx)
}

func (r *Run) announce(context.Context) error {
	r.show(Standing{News: true})
	return nil
}

func (r *Run) finish(context.Context) error {
	r.state = ended
	return nil
}

// refuse says why an event does nothing.
func refuse(why string) action {
	return func(*Run, context.Context) error { return invalid(why) }
}

// awaits says what a run waits for, and who does it.
func (r *Run) awaits() string {
	switch {
	case r.state == paused:
		return "paused: go, or Enter, goes on"
	case r.state == lost:
		return noAnswer
	case r.Practice != nil && r.Practice.Left() == 0:
		return "practice, the last chip: Enter takes it out and ends"
	case r.Practice != nil && r.state == waiting:
		return fmt.Sprintf("practice, %d to come: Enter seats the next", r.Practice.Left())
	case r.Practice != nil:
		return fmt.Sprintf("practice, %d to come: Enter takes this chip out and seats the next", r.Practice.Left())
	case r.state != waiting:
		return "done: take the chip out"
	case r.next.as == lastAgain:
		return "ready: seat the last chip again"
	case r.next.as == skipped:
		return "ready: seat the next chip, which will not be tested"
	}
	return "ready: seat " + r.nextChip()
}

// sameTrouble reports whether a chip that was reseated shows what it showed before: it
// is a reject then.
func (r *Run) sameTrouble(result *assay.Result) bool {
	return r.state == waiting && r.next.as == lastAgain && result.Reseated(r.trouble)
}
