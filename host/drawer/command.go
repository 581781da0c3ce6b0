package drawer

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"chipassay/host/assay"
	"chipassay/host/marking"
	"chipassay/host/record"
	"chipassay/host/report"
)

// A command is what the operator can say: a word, or as much of its beginning as
// is no other's, and what stands behind it.
type command struct {
	word, argument, does string
	obey                 func(r *Run, ctx context.Context, argument string) error
}

// An invalid is what the operator is told; the run goes on.
type invalid string

func (i invalid) Error() string { return string(i) }

// Commands says what the operator can type, a line each.
func Commands() string {
	var b strings.Builder
	b.WriteString("Enter alone      start the test, or go on after a pause\n")
	for _, c := range commands {
		fmt.Fprintf(&b, "%-16s %s\n", strings.TrimSpace(c.word+" "+c.argument), c.does)
	}
	return b.String()
}

var commands []command

func init() { // help lists the list that it stands in
	commands = []command{
		{"date", "CODE", "date code of the next chip, or of the one in the socket that was tested; - for none", (*Run).sayDate},
		{"note", "TEXT", "your words about the same chip", (*Run).sayNote},
		{"marking", "TEXT", "what is marked on the same chip", (*Run).sayMarking},
		{"retest", "", "test the last chip again; the new record takes the place of the old", (*Run).retest},
		{"undo", "", "take back what was written last", (*Run).undo},
		{"skip", "", "do not test the next chip", func(r *Run, _ context.Context, _ string) error {
			r.skip = true
			r.Screen.say("the next chip will not be tested")
			return nil
		}},
		{"part", "PART", "what the following chips are", (*Run).changePart},
		{"pause", "", "leave the socket alone until you say go", func(r *Run, _ context.Context, _ string) error {
			r.paused = true
			r.Screen.say("paused; go, or Enter, goes on")
			return nil
		}},
		{"go", "", "go on after a pause", func(r *Run, _ context.Context, _ string) error {
			r.paused = false
			r.Screen.ready(r)
			return nil
		}},
		{"end", "", "end the run with a summary", func(r *Run, _ context.Context, _ string) error {
			r.ended = true
			return nil
		}},
		{"help", "", "list what you can type", func(r *Run, _ context.Context, _ string) error {
			r.Screen.say("%s", strings.TrimSuffix(Commands(), "\n"))
			return nil
		}},
	}
}

// obey does what a line says. What it cannot do it says, and the run goes on.
func (r *Run) obey(ctx context.Context, line string) error {
	word, argument, _ := strings.Cut(strings.TrimSpace(line), " ")
	err := r.obeyWord(ctx, strings.ToLower(word), strings.TrimSpace(argument))
	if said, ok := err.(invalid); ok {
		r.Screen.say("%s", said)
		return nil
	}
	return err
}

func (r *Run) obeyWord(ctx context.Context, word, argument string) error {
	switch {
	case word == "" && r.paused:
		r.paused = false
		r.Screen.ready(r)
		return nil
	case word == "" && r.held:
		return invalid("this chip was dealt with: take it out, or say retest")
	case word == "":
		return r.test(ctx)
	}
	fits := func(c command) bool { return strings.HasPrefix(c.word, word) }
	i := slices.IndexFunc(commands, fits)
	switch {
	case i < 0:
		return invalid(fmt.Sprintf("%q is no command; help lists them", word))
	case commands[i].word != word && slices.ContainsFunc(commands[i+1:], fits):
		return invalid(fmt.Sprintf("%q is the beginning of several commands; help lists them", word))
	case commands[i].argument != "" && argument == "":
		return invalid(fmt.Sprintf("say %s %s", commands[i].word, commands[i].argument))
	case commands[i].argument == "" && argument != "":
		return invalid(fmt.Sprintf("%s stands alone", commands[i].word))
	}
	return commands[i].obey(r, ctx, argument)
}

// about tells whether what is said is about the chip in the socket, whose record
// is written, and not about the next one.
func (r *Run) about() bool {
	return r.held && r.lies != 0 && len(r.written) > 0 && r.written[len(r.written)-1].Chip == r.lies
}

// date understands a date code for the next chip.
func (r *Run) date(code string) error {
	if code == "-" {
		r.next.date = nil
		return nil
	}
	d, err := marking.ParseDateCode(code, marking.MadeSince(r.typ.Family), time.Now())
	if err != nil {
		return invalid(err.Error())
	}
	r.next.date = &d
	return nil
}

func (r *Run) sayDate(ctx context.Context, code string) error {
	before := r.next.date
	if err := r.date(code); err != nil {
		return err
	}
	if !r.about() {
		return nil
	}
	d := r.next.date
	if !r.KeepDate {
		r.next.date = before
	}
	return r.correct(ctx, func(entry *record.Record, sheet *report.Document) {
		sheet.DateCode = report.DateOf(d)
		entry.SetDate(d)
	})
}

func (r *Run) sayNote(ctx context.Context, text string) error {
	if !r.about() {
		r.next.note = text
		return nil
	}
	return r.correct(ctx, func(entry *record.Record, sheet *report.Document) { entry.Note, sheet.Note = text, text })
}

func (r *Run) sayMarking(ctx context.Context, text string) error {
	if !r.about() {
		r.next.marking = text
		return nil
	}
	return r.correct(ctx, func(entry *record.Record, _ *report.Document) { entry.Marking = text })
}

// correct writes a record that takes the place of the last one.
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
	r.Screen.say("record %d corrects %d", entry.Serial, entry.Corrects)
	return nil
}

func (r *Run) retest(ctx context.Context, _ string) error {
	switch {
	case r.held:
		r.again = r.about()
		return r.test(ctx)
	case len(r.sheets) == 0 || r.last.Serial == 0:
		return invalid("no chip was tested yet")
	}
	r.again = true
	r.Screen.say("put the last chip in again")
	return nil
}

// undo voids what was written last.
func (r *Run) undo(ctx context.Context, _ string) error {
	if len(r.written) == 0 {
		return invalid("nothing of this run is left to take back")
	}
	r.trouble = assay.NoTrouble
	last := r.written[len(r.written)-1]
	void := last.Record
	void.Kind, void.Corrects, void.RetestOf, void.Time = record.Void, last.Serial, 0, time.Now()
	void.Verdict, void.Grade, void.Reason, void.Report = "", "", "undone by the operator", nil
	void, err := r.Records.Append(context.WithoutCancel(ctx), void)
	if err != nil {
		return err
	}
	r.written = r.written[:len(r.written)-1]
	r.sheets, r.last, r.again = last.sheets, last.last, false
	r.Screen.say("record %d does not hold any more (record %d says so)", last.Serial, void.Serial)
	return nil
}

func (r *Run) changePart(_ context.Context, typed string) error {
	if typed == r.Typed {
		r.Screen.ready(r)
		return nil
	}
	t, err := r.find(typed)
	if err != nil {
		return invalid(err.Error())
	}
	r.typ, r.Typed, r.trouble = t, typed, assay.NoTrouble
	r.Screen.ready(r)
	return nil
}
