// Package drawer is the work on a drawer of chips, one after another and hands
// free: it waits for a chip, tests it, writes the record, shows the verdict,
// waits until the chip is taken out, and goes on. The operator can say more at
// any time (Commands), but need not.
//
// A verdict is shown as written down only once its record is on the disk. What
// is said of a chip afterwards, its date code or an undo, is a record of its own.
package drawer

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"chipassay/host/assay"
	"chipassay/host/assay/contact"
	"chipassay/host/marking"
	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/host/verdict"
	"chipassay/vectors/part"
)

// ErrNoMore is the error of a Bench that no further chip comes to.
var ErrNoMore = errors.New("no more chips")

// A Bench is a socket that chips come to. Station and Tray are two.
type Bench interface {
	// Present tells whether there is a chip, without supply; ErrNoMore ends the run.
	Present(ctx context.Context, t part.Type) (bool, error)
	// Pressed tells whether the adapter's button is down.
	Pressed(ctx context.Context) (bool, error)
	// Test tests the chip as a type.
	Test(ctx context.Context, t part.Type) (*assay.Result, error)
}

// An Operator says what to do. The error is io.EOF where nothing more will come.
type Operator interface {
	// Next is a line that was typed, or ok false where there is none now.
	Next() (line string, ok bool, err error)
}

// A Keeper keeps records; *record.Store is one.
type Keeper interface {
	Append(ctx context.Context, r record.Record) (record.Record, error)
}

// A Run is the work on one drawer. Its fields up to Screen are set by the caller.
type Run struct {
	Drawer, Lot, Operator string
	Typed                 string // the part, as typed
	DateCode              string // of the first chip; empty for none
	KeepDate              bool   // a date code holds until another is given
	Find                  func(typed string) (part.Type, error)
	Bench                 Bench
	Reconnect             func(ctx context.Context) (Bench, error) // where the adapter was lost; nil where that cannot be
	Hand                  Operator
	Records               Keeper
	Screen                *Screen
	Pace                  time.Duration // between two looks at the socket

	typ     part.Type
	next    said // of the next chip
	held    bool // the chip in the socket was dealt with
	seen    int  // looks in turn that say otherwise than held
	pressed bool // the button was down
	paused  bool
	skip    bool // the next chip is not to be tested
	again   bool // the next chip is the last one again
	ended   bool
	written []row             // of this run, not undone, the latest last
	sheets  []report.Document // of the chips of this run
	last    record.Record     // the latest test, to which a retest belongs
	lies    int64             // serial of the first test of the chip in the socket; 0 where none was written
	trouble assay.Trouble     // of the last chip when it was tested last
	out     bool              // that chip was taken out since
}

// A row is a record with how things stood before it, for an undo.
type row struct {
	record.Record
	sheets []report.Document
	last   record.Record
}

// said is what the operator says of a chip.
type said struct {
	date          *marking.DateCode
	note, marking string
}

// steady is how many looks in turn must agree before a chip is taken to be in the
// socket, or out of it: the lever takes its time.
const steady = 2

// Do works on the drawer until the operator ends it, no more chips come or ctx is
// done, which are no errors, and tells what came of it.
func (r *Run) Do(ctx context.Context) (Summary, error) {
	var err error
	if r.typ, err = r.find(r.Typed); err != nil {
		return Summary{}, err
	}
	if r.DateCode != "" {
		if err := r.date(r.DateCode); err != nil {
			return Summary{}, err
		}
	}
	r.Screen.say("%s: %s. Seat a chip with pin 1 at the lever end; help lists what you can type.", r.Drawer, r.typ)
	for err == nil && !r.ended && ctx.Err() == nil {
		err = r.turn(ctx)
	}
	if errors.Is(err, ErrNoMore) || ctx.Err() != nil {
		err = nil
	}
	s := r.summary()
	r.Screen.say("%s", s)
	return s, err
}

// find finds a type that can be tested here.
func (r *Run) find(typed string) (part.Type, error) {
	t, err := r.Find(typed)
	switch {
	case err != nil:
		return t, err
	case t.Variant.Refusal != "":
		return t, fmt.Errorf("a %s must not be powered in the adapter: %s", t.Name(), t.Variant.Refusal)
	}
	return t, assay.NoTest(t, typed)
}

// turn is one look at the operator and one at the socket.
func (r *Run) turn(ctx context.Context) error {
	line, ok, err := r.Hand.Next()
	switch {
	case ok:
		return r.obey(ctx, line)
	case err != nil && !errors.Is(err, io.EOF):
		return err
	case r.paused && err != nil:
		r.ended = true // nobody is there to say go
		return nil
	case r.paused:
		r.wait(ctx)
		return nil
	}
	if err := r.look(ctx); err != nil {
		return err
	}
	r.wait(ctx)
	return nil
}

// wait lets some time pass.
func (r *Run) wait(ctx context.Context) {
	if r.Pace <= 0 {
		return
	}
	t := time.NewTimer(r.Pace)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}

// look looks at the button and the socket, and tests a chip that came.
func (r *Run) look(ctx context.Context) error {
	pressed, err := r.Bench.Pressed(ctx)
	if err != nil {
		return r.lost(ctx, err)
	}
	edge := pressed && !r.pressed
	if r.pressed = pressed; edge {
		r.again = r.again || r.about()
		return r.test(ctx)
	}
	present, err := r.Bench.Present(ctx, r.typ)
	if err != nil {
		return r.lost(ctx, err)
	}
	if present == r.held {
		r.seen = 0
		return nil
	}
	if r.seen++; r.seen < steady {
		return nil
	}
	r.seen = 0
	switch {
	case !present:
		r.held, r.out = false, true
		r.Screen.ready(r)
	case r.skip:
		r.skip, r.held, r.lies = false, true, 0
		r.forget()
		r.Screen.say("skipped; take it out")
	default:
		return r.test(ctx)
	}
	return nil
}

// lost says that the adapter does not answer, and looks for it again.
func (r *Run) lost(ctx context.Context, err error) error {
	if errors.Is(err, ErrNoMore) || r.Reconnect == nil || ctx.Err() != nil {
		return err
	}
	r.Screen.say("the adapter does not answer: look at its cable. Every record is kept, and the run goes on by itself when it is back")
	for ctx.Err() == nil && !r.ended {
		if line, ok, _ := r.Hand.Next(); ok {
			if err := r.obey(ctx, line); err != nil {
				return err
			}
		}
		if bench, err := r.Reconnect(ctx); err == nil {
			r.Bench = bench
			r.Screen.say("the adapter is back")
			return nil
		}
		r.wait(ctx)
	}
	return nil
}

// test tests what is in the socket and writes the record.
func (r *Run) test(ctx context.Context) error {
	r.Screen.testing()
	result, err := r.Bench.Test(ctx, r.typ)
	if err != nil {
		return r.lost(ctx, err)
	}
	r.held, r.seen = true, 0
	r.pressed = true // a button that went down meanwhile has what it asked for
	reject := r.again && r.out && result.Reseated(r.trouble)
	sheet := report.Of(result, r.Typed, fmt.Sprint(len(r.sheets)+1), r.next.date, r.next.note)
	if r.again {
		before := r.sheets[len(r.sheets)-1]
		sheet.Place = before.Place
		sheet.DateCode = cmp.Or(sheet.DateCode, before.DateCode)
		sheet.Note = cmp.Or(sheet.Note, before.Note)
	}
	if why := unknown(ctx, result); why != "" {
		r.held = result.Seating == nil || result.Seating.Found != contact.EmptySocket
		r.lies = 0
		r.Screen.verdict(sheet, "not written down: "+why)
		return nil
	}
	written, err := r.write(ctx, sheet)
	if err != nil {
		r.Screen.say("NOT WRITTEN DOWN: the chip in the socket, which is to be tested again")
		return fmt.Errorf("the last chip was not written down: %w", err)
	}
	words := fmt.Sprintf("record %d", written.Serial)
	if written.RetestOf != 0 {
		words += fmt.Sprintf(", again after record %d", written.RetestOf)
	}
	if written.Grade != verdict.None {
		words += ", " + written.Grade.String()
	}
	r.Screen.verdict(sheet, words)
	if r.trouble, r.out = result.Trouble, false; r.trouble.Condemns() && !reject {
		r.Screen.say("     take it out, clean its pins, say retest and put it in again")
	}
	r.forget()
	return nil
}

// forget drops what was said of a chip, but for a date code that is kept.
func (r *Run) forget() {
	date := r.next.date
	if r.next = (said{}); r.KeepDate {
		r.next.date = date
	}
}

// unknown says why a test tells nothing of a chip, so that there is nothing to write down.
func unknown(ctx context.Context, result *assay.Result) string {
	switch s := result.Seating; {
	case result.Verdict != assay.NotTested:
		return ""
	case ctx.Err() != nil:
		return "interrupted"
	case s != nil && s.Found == contact.EmptySocket:
		return "there is no chip"
	case s != nil && s.Kind == contact.Misplaced:
		return "put it in as it should lie"
	}
	return ""
}

// write writes the record of a sheet. What was measured is not given up at Ctrl-C.
func (r *Run) write(ctx context.Context, sheet report.Document) (record.Record, error) {
	entry, err := Entry(sheet)
	if err != nil {
		return entry, err
	}
	entry.Drawer, entry.Lot, entry.Operator = r.Drawer, r.Lot, r.Operator
	sheets := r.sheets
	if r.again {
		entry.RetestOf = r.last.Serial
		entry.Marking = r.markingOf(r.last.Chip)
		sheets = sheets[:len(sheets)-1]
	}
	if r.next.marking != "" {
		entry.Marking = r.next.marking
	}
	entry, err = r.append(ctx, entry, append(sheets[:len(sheets):len(sheets)], sheet))
	if err != nil {
		return entry, err
	}
	r.last, r.lies, r.again = entry, entry.Chip, false
	return entry, nil
}

// markingOf is the marking of a chip as it was written last.
func (r *Run) markingOf(chip int64) string {
	for _, w := range slices.Backward(r.written) {
		if w.Chip == chip {
			return w.Marking
		}
	}
	return r.Typed
}

// append adds a record and remembers how things stood before it.
func (r *Run) append(ctx context.Context, entry record.Record, sheets []report.Document) (record.Record, error) {
	entry, err := r.Records.Append(context.WithoutCancel(ctx), entry)
	if err != nil {
		return entry, err
	}
	r.written = append(r.written, row{entry, r.sheets, r.last})
	r.sheets = sheets
	return entry, nil
}
