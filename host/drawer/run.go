// Package drawer tests a drawer of chips, one after another and hands free: it waits
// for a chip, tests it, writes the record, shows the verdict and waits until the chip
// is taken out. The operator may type commands at any time (Commands).
//
// A verdict is shown as recorded only once its record is on disk. A later date code,
// note or undo is a record of its own.
package drawer

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
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

// ErrStopped is the error of a test that the operator stopped. The run goes on, and
// nothing is recorded of the chip.
var ErrStopped = errors.New("stopped; the supply is off")

// A Bench is a socket that chips come to. Station and Tray are two.
type Bench interface {
	// Present reports whether there is a chip, without supply; ErrNoMore ends the run.
	Present(ctx context.Context, t part.Type) (bool, error)
	// Pressed reports whether the adapter's button is down.
	Pressed(ctx context.Context) (bool, error)
	// Test tests the chip as a type.
	Test(ctx context.Context, t part.Type) (*assay.Result, error)
}

// An Operator gives commands. The error is io.EOF where nothing more will come.
type Operator interface {
	// Next is a line that was typed, or ok false where there is none now.
	Next() (line string, ok bool, err error)
}

// A View shows how a run goes to a person. *Screen is one.
type View interface {
	// Say shows a message once, in one line or several.
	Say(text string)
	// Show shows how things stand, at every turn.
	Show(s Standing)
	// Verdict shows the verdict on the chip in the socket, and what was recorded.
	Verdict(d report.Document, written string)
	// Close ends what Show shows.
	Close()
}

// A Standing is how a run stands.
type Standing struct {
	Tally   string
	Awaits  string // what is waited for
	Testing bool   // the chip is being tested: it must be left alone
	Paused  bool
	Lost    bool // the adapter does not answer
	Empty   bool // the socket, so that a chip may be seated
	Kept    bool // the chip in the socket is the one that was recorded last
	News    bool // it has just changed: a view that does not show it all the time prints it now
	Written []Written

	// Sheet is what was found of the chip in the socket, or of the last that was there, as it
	// was corrected since; nil where nothing was, as of a chip whose test was stopped.
	Sheet    *report.Document
	Recorded string // what was recorded of it
	Last     int64  // serial of the last record that was not taken back; 0 for none
}

// Written is a chip of a run that is recorded, and the document of its last test.
type Written struct {
	Chip      int64  // its number in the records
	BagNumber string // the same with the letter of the bench, if it has one
	Marking   string // as it was written last; empty for none
	report.Document
}

// A Keeper keeps records; *record.Store is one.
type Keeper interface {
	Append(ctx context.Context, r record.Record) (record.Record, error)
}

// A Run is the work on one drawer. Its fields up to Screen are set by the caller.
type Run struct {
	Drawer, Lot, Operator string
	Typed                 string // the part, as typed
	Identify              bool   // nobody names the part: the Bench identifies each chip
	DateCode              string // of the first chip; empty for none
	KeepDate              bool   // a date code holds until another is given
	Find                  func(typed string) (part.Type, error)
	Bench                 Bench
	Reconnect             func(ctx context.Context) (Bench, error) // where the adapter was lost; nil where that cannot be
	Hand                  Operator
	Records               Keeper
	Behind                func() string // what is not handed over to a server yet; nil where there is none
	Screen                View
	Pace                  time.Duration // between two looks at the socket
	Numbers               bool          // show the number under which each chip was recorded, for its bag

	// Practice is the Bench where a person practises with virtual chips, and takes them
	// out and seats them by Enter; nil where chips come by hand.
	Practice *Practice

	state   state
	back    state // to which paused and lost go back
	typ     part.Type
	next    entered           // for the next chip
	seen    int               // successive looks that disagree with the state
	pressed bool              // the button was down
	written []row             // of this run, not taken back, the latest last
	sheets  []report.Document // of the chips of this run
	counted Standing          // what of the last that was shown changes with these two alone
	last    record.Record     // the latest test, to which a retest belongs
	trouble assay.Trouble     // of that chip when it was tested last
	found   finding
}

// A finding is what is known of the chip in the socket, or of the last that was there.
type finding struct {
	chip  int64            // its number in the records; 0 where it was not recorded
	sheet *report.Document // nil where it was not tested
	words string           // what was recorded of it
}

// A row is a record with how things stood before it, for an undo.
type row struct {
	record.Record
	sheets []report.Document
	last   record.Record
}

// entered is what the operator has typed about a chip.
type entered struct {
	as            coming
	date          *marking.DateCode
	note, marking string
}

// A coming is what the next chip is.
type coming int

const (
	another   coming = iota // one that was not tested yet
	lastAgain               // the last one again
	skipped                 // one that is not to be tested
)

// Do works on the drawer until the operator ends it, no more chips come or ctx is
// done, which are no errors, and returns what came of it.
func (r *Run) Do(ctx context.Context) (Summary, error) {
	err := r.Check()
	if err != nil {
		return Summary{}, err
	}
	defer r.Screen.Close()
	r.printf("%s: %s.%s", r.Drawer, strings.TrimSpace(r.typ.String()), r.opening())
	for err == nil && r.state != ended && ctx.Err() == nil {
		err = r.turn(ctx)
	}
	r.Screen.Close()
	if errors.Is(err, ErrNoMore) || ctx.Err() != nil {
		err = nil
	}
	s := r.summary()
	r.Screen.Say(s.String())
	return s, err
}

// Check says what is wrong with what was typed for a run: that is to be known before the
// first chip comes.
func (r *Run) Check() error {
	err := cmp.Or(fits("the drawer's name", r.Drawer), fits("the operator's name", r.Operator), fits("the part", r.Typed))
	if err != nil {
		return err
	}
	if r.typ, err = r.find(r.Typed); err != nil || r.DateCode == "" {
		return err
	}
	return r.date(r.DateCode)
}

// fits refuses a text that is too long for a record.
func fits(what, text string) error {
	if len(text) > record.MaxText {
		return invalid(fmt.Sprintf("%s is too long: %d characters at most", what, record.MaxText))
	}
	return nil
}

// opening words how a chip comes into the socket.
func (r *Run) opening() string {
	if r.Practice != nil {
		return "\nPractice with virtual chips: Enter seats and tests the next; help lists more."
	}
	return " Seat a chip with pin 1 at the lever end; help lists what you can type."
}

// find finds a type that can be tested here.
func (r *Run) find(typed string) (part.Type, error) {
	if r.Identify {
		return stranger(""), nil
	}
	t, err := r.Find(typed)
	switch {
	case err != nil:
		return t, err
	case t.Variant.Refusal != "":
		return t, fmt.Errorf("a %s must not be powered in the adapter: %s", t.Name(), t.Variant.Refusal)
	}
	return t, assay.NoTest(t, typed)
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

// test tests what is in the socket and writes the record.
func (r *Run) test(ctx context.Context) error {
	r.found = finding{}
	r.show(Standing{Testing: true, News: true})
	typ := r.typ
	if r.Identify {
		typ = stranger(r.marked())
	}
	result, err := r.Bench.Test(ctx, typ)
	if errors.Is(err, ErrStopped) {
		r.state, r.seen = passedOver, 0
		r.Screen.Say("stopped, not recorded: the supply is off")
		return nil
	}
	if err != nil {
		return r.failed(ctx, err)
	}
	r.seen, r.pressed = 0, true // a button that went down meanwhile has what it asked for
	reject := r.sameTrouble(result)
	sheet := report.Of(result, r.Typed, fmt.Sprint(len(r.sheets)+1), r.next.date, r.next.note)
	if r.next.as == lastAgain {
		before := r.sheets[len(r.sheets)-1]
		sheet.Place = before.Place
		sheet.DateCode = cmp.Or(sheet.DateCode, before.DateCode)
		sheet.Note = cmp.Or(sheet.Note, before.Note)
	}
	if why := nothingLearned(ctx, result); why != "" {
		if r.state = passedOver; result.Seating != nil && result.Seating.Found == contact.EmptySocket {
			r.state = waiting
		}
		r.judge(0, sheet, "not recorded: "+why)
		return nil
	}
	written, err := r.write(ctx, sheet)
	if err != nil {
		r.Screen.Say("NOT RECORDED: test the chip in the socket again")
		return fmt.Errorf("the last chip was not recorded: %w", err)
	}
	r.judge(written.Chip, sheet, r.asWritten(written))
	r.state, r.trouble = tested, result.Trouble
	if r.trouble.Condemns() && !reject {
		r.Screen.Say(r.cleaning())
	}
	r.suspect()
	r.forget()
	return nil
}

// judge shows the verdict on the chip in the socket.
func (r *Run) judge(chip int64, sheet report.Document, words string) {
	r.found = finding{chip, &sheet, words}
	r.Screen.Verdict(sheet, words)
}

// asWritten words what was recorded.
func (r *Run) asWritten(written record.Record) string {
	words := "recorded"
	if written.RetestOf != 0 {
		words = "tested again, " + words
	}
	if r.Numbers {
		words += " as number " + written.BagNumber()
	}
	if written.Grade != verdict.None {
		words += ", " + written.Grade.String()
	}
	if r.Behind != nil {
		if late := r.Behind(); late != "" {
			words += "; " + late
		}
	}
	return words
}

// cleaning is what to do with a chip whose trouble may be its pins'.
func (r *Run) cleaning() string {
	if r.Practice != nil {
		return "     at a bench you would clean its pins; retest seats it again"
	}
	return "     take it out, clean its pins, type retest and seat it again"
}

// forget drops what was entered for a chip, but for a date code that is kept.
func (r *Run) forget() {
	date := r.next.date
	if r.next = (entered{}); r.KeepDate {
		r.next.date = date
	}
}

// nothingLearned says why a test shows nothing of a chip, so that there is nothing to record.
func nothingLearned(ctx context.Context, result *assay.Result) string {
	switch s := result.Seating; {
	case result.Verdict != assay.NotTested:
		return ""
	case ctx.Err() != nil:
		return "interrupted"
	case s != nil && s.Found == contact.EmptySocket:
		return "there is no chip"
	case s != nil && s.Kind == contact.Misplaced:
		return "seat it the right way round"
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
	if r.next.as == lastAgain {
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
	r.last = entry
	return entry, nil
}

// marked is what can be read of the marking of the chip in the socket, as it was entered.
func (r *Run) marked() string {
	if r.next.marking == "" && r.next.as == lastAgain {
		return r.markingOf(r.last.Chip)
	}
	return r.next.marking
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
