package drawer

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"chipassay/host/assay"
	"chipassay/host/marking"
	"chipassay/host/record"
	"chipassay/host/report"
)

// A command is what the operator can type: a word, or as much of its beginning as
// is no other's, and what stands behind it.
type command struct {
	word, argument, does string
	do                   func(r *Run, ctx context.Context, argument string) error
}

// An invalid is input that the operator is asked to correct; the run goes on.
type invalid string

func (i invalid) Error() string { return string(i) }

// Commands lists what the operator can type, a line each.
func Commands() string {
	var b strings.Builder
	b.WriteString("Enter alone      test; in practice seat the next and test it; go on if paused\n")
	for _, c := range commands {
		fmt.Fprintf(&b, "%-16s %s\n", strings.TrimSpace(c.word+" "+c.argument), c.does)
	}
	return b.String()
}

var commands []command

func init() { // help lists the list that it is in
	commands = []command{
		{"date", "CODE", "date code of this chip if tested, else of the next; - for none", (*Run).setDate},
		{"note", "TEXT", "note about that chip", (*Run).setNote},
		{"marking", "TEXT", "marking of that chip", (*Run).setMarking},
		{"retest", "", "test the last chip again; this test then counts", by(again)},
		{"undo", "", "take back the last record", (*Run).undo},
		{"skip", "", "do not test the next chip", (*Run).skipNext},
		{"part", "PART", "part of the following chips", (*Run).changePart},
		{"pause", "", "do nothing with the socket until go", by(pause)},
		{"go", "", "go on after a pause", by(goOn)},
		{"end", "", "end the run with a summary", by(end)},
		{"help", "", "list what you can type", func(r *Run, _ context.Context, _ string) error {
			r.Screen.Say(strings.TrimSuffix(Commands(), "\n"))
			return nil
		}},
	}
}

// by is the command that is an event.
func by(e event) func(*Run, context.Context, string) error {
	return func(r *Run, ctx context.Context, _ string) error { return r.on(ctx, e) }
}

// execute does what a line says. It reports what it cannot do, and the run goes on.
func (r *Run) execute(ctx context.Context, line string) error {
	word, argument, _ := strings.Cut(strings.TrimSpace(line), " ")
	err := r.command(ctx, strings.ToLower(word), strings.TrimSpace(argument))
	if errors.Is(err, record.ErrNotCurrent) {
		err = invalid("the last record was corrected elsewhere since: correct it, or take it back, there")
	}
	if why, ok := err.(invalid); ok {
		r.Screen.Say(string(why))
		return nil
	}
	return err
}

func (r *Run) command(ctx context.Context, word, argument string) error {
	if word == "" {
		return r.on(ctx, enter)
	}
	fits := func(c command) bool { return strings.HasPrefix(c.word, word) }
	i := slices.IndexFunc(commands, fits)
	switch {
	case i < 0:
		return invalid(fmt.Sprintf("%q is not a command; help lists them", word))
	case commands[i].word != word && slices.ContainsFunc(commands[i+1:], fits):
		return invalid(fmt.Sprintf("%q begins several commands; help lists them", word))
	case commands[i].argument != "" && argument == "":
		return invalid(fmt.Sprintf("type %s %s", commands[i].word, commands[i].argument))
	case commands[i].argument == "" && argument != "":
		return invalid(fmt.Sprintf("%s takes no argument", commands[i].word))
	}
	return commands[i].do(r, ctx, argument)
}

// date understands a date code for the next chip.
func (r *Run) date(code string) error {
	if code == "-" {
		r.next.date = nil
		return nil
	}
	d, err := marking.ReadDateCode(code, marking.MadeSince(r.typ.Family), time.Now())
	if err != nil {
		return invalid(err.Error())
	}
	r.next.date = &d
	return nil
}

func (r *Run) setDate(ctx context.Context, code string) error {
	before := r.next.date
	if err := r.date(code); err != nil {
		return err
	}
	if r.seat() != tested {
		return nil
	}
	d := r.next.date
	if !r.KeepDate {
		r.next.date = before
	}
	return r.correct(ctx, func(entry *record.Record, sheet *report.Document) {
		sheet.DateCode = d
		entry.SetDate(d)
	})
}

func (r *Run) setNote(ctx context.Context, text string) error {
	if err := fits("the note", text); err != nil {
		return err
	}
	if r.seat() != tested {
		r.next.note = text
		return nil
	}
	return r.correct(ctx, func(entry *record.Record, sheet *report.Document) { entry.Note, sheet.Note = text, text })
}

func (r *Run) setMarking(ctx context.Context, text string) error {
	if err := fits("the marking", text); err != nil {
		return err
	}
	if r.seat() != tested {
		r.next.marking = text
		return nil
	}
	return r.correct(ctx, func(entry *record.Record, _ *report.Document) { entry.Marking = text })
}

// correct writes a record that replaces the last one.
func (r *Run) correct(ctx context.Context, change func(*record.Record, *report.Document)) error {
	entry := r.written[len(r.written)-1].Record
	entry.Kind, entry.Corrects, entry.RetestOf, entry.Time = record.Correction, entry.Serial, 0, time.Now()
	sheets := slices.Clone(r.sheets)
	sheet := &sheets[len(sheets)-1]
	change(&entry, sheet)
	changed, err := Entry(*sheet)
	if err != nil {
		return err
	}
	entry.Report = changed.Report
	if entry, err = r.append(ctx, entry, sheets); err != nil {
		return err
	}
	r.found = finding{entry.Chip, sheet, r.asWritten(entry)}
	r.Screen.Say("corrected")
	return nil
}

// undo voids what was written last.
func (r *Run) undo(ctx context.Context, _ string) error {
	if len(r.written) == 0 {
		return invalid("nothing of this run is left to take back")
	}
	last := r.written[len(r.written)-1]
	void := last.Record
	void.Kind, void.Corrects, void.RetestOf, void.Time = record.Void, last.Serial, 0, time.Now()
	void.Verdict, void.Grade, void.Reason, void.Report = "", "", "undone by the operator", nil
	if _, err := r.Records.Append(context.WithoutCancel(ctx), void); err != nil {
		return err
	}
	r.written = r.written[:len(r.written)-1]
	r.sheets, r.last, r.trouble = last.sheets, last.last, assay.NoTrouble
	if r.next.as == lastAgain {
		r.next.as = another
	}
	if r.seat() == tested && r.last.Chip != last.Chip {
		r.unseat()
	}
	r.restate(last.Chip)
	r.Screen.Say("taken back: " + r.called(last))
	return nil
}

// restate has what is shown of a chip be what holds now that a record of it was taken back.
func (r *Run) restate(chip int64) {
	if r.found.chip != chip {
		return
	}
	if n := len(r.written); n > 0 && r.written[n-1].Chip == chip {
		r.found.sheet, r.found.words = &r.sheets[len(r.sheets)-1], r.asWritten(r.written[n-1].Record)
		return
	}
	r.found.chip, r.found.words = 0, "taken back"
}

// unseat leaves the chip in the socket without a record.
func (r *Run) unseat() {
	if r.state == tested {
		r.state = passedOver
	} else {
		r.back = passedOver
	}
}

// called is what a row is called.
func (r *Run) called(w row) string {
	switch {
	case w.Kind == record.Correction:
		return "the correction"
	case w.RetestOf != 0:
		return "the retest; the test before it counts"
	}
	number := strconv.Itoa(len(w.sheets) + 1)
	if r.Numbers { // as it was shown when it was recorded
		number = w.BagNumber()
	}
	return fmt.Sprintf("the test of chip %s: %s", number, w.Verdict)
}

func (r *Run) skipNext(context.Context, string) error {
	r.next.as = skipped
	r.Screen.Say("the next chip will not be tested")
	return nil
}

func (r *Run) changePart(_ context.Context, typed string) error {
	if err := fits("the part", typed); err != nil {
		return err
	}
	if r.Identify { // what is printed on the chip orders what it may be
		if readable(typed) {
			r.next.marking = typed
		}
		return nil
	}
	if typed == r.Typed {
		r.show(Standing{News: true})
		return nil
	}
	t, err := r.find(typed)
	if err != nil {
		return invalid(err.Error())
	}
	r.typ, r.Typed, r.trouble = t, typed, assay.NoTrouble
	r.show(Standing{News: true})
	return nil
}
