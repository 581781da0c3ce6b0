package drawer

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/assay/contact"
	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/host/verdict"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// A bench plays a script: a letter a turn. c: a chip is there; -: none; b: the
// button goes down with a chip there; x: the adapter does not answer; a word in
// angle brackets is typed.
type bench struct {
	script   string
	verdicts []assay.Verdict // of the tests in turn; the last one again and again
	seatings []*contact.Seating
	troubles []assay.Trouble // of the tests in turn
	pins     []int           // that fail in every test
	gone     []int           // which tests find no adapter, from 0
	tests    []string        // types tested
	stop     func()
}

func (b *bench) Next() (string, bool, error) {
	if rest, ok := strings.CutPrefix(b.script, "<"); ok {
		line, rest, _ := strings.Cut(rest, ">")
		b.script = rest
		return line, true, nil
	}
	return "", false, nil
}

var errGone = errors.New("gone")

func (b *bench) Pressed(context.Context) (bool, error) {
	return strings.HasPrefix(b.script, "b"), nil
}

func (b *bench) Present(context.Context, part.Type) (bool, error) {
	if b.script == "" {
		return false, ErrNoMore
	}
	letter := b.script[0]
	b.script = b.script[1:]
	switch letter {
	case 'x':
		return false, errGone
	case '!':
		b.stop()
	}
	return letter == 'c' || letter == 'b', nil
}

func (b *bench) Test(_ context.Context, t part.Type) (*assay.Result, error) {
	b.script = strings.TrimPrefix(b.script, "b")
	i := len(b.tests)
	b.tests = append(b.tests, t.Name())
	if slices.Contains(b.gone, i) {
		return nil, errGone
	}
	r := &assay.Result{Type: t, Verdict: assay.Pass, Reason: "as scripted", Grade: verdict.Strong, Started: time.Date(2026, time.May, 4, 10, 0, i, 0, time.UTC)}
	r.PinsFailed = b.pins
	if len(b.verdicts) > 0 {
		r.Verdict = b.verdicts[min(i, len(b.verdicts)-1)]
	}
	if i < len(b.troubles) && b.troubles[i] != assay.NoTrouble {
		r.Verdict, r.Trouble, r.Grade = assay.NotTested, b.troubles[i], verdict.None
	}
	if r.Verdict == assay.NotTested && i < len(b.seatings) {
		r.Seating, r.Grade = b.seatings[i], verdict.None
	}
	return r, nil
}

// played runs a script and gives what is written of the chips, as they stand, and what was shown.
func played(t *testing.T, b *bench, change func(*Run)) (rows []string, shown string) {
	t.Helper()
	store, err := record.Open(filepath.Join(t.TempDir(), "records.db"))
	require.NoError(t, err)
	defer store.Close()
	var out bytes.Buffer
	r := Run{Drawer: "D3", Typed: "7400", Find: library.Open, Bench: b, Hand: b, Records: store, Screen: &Screen{W: &out}}
	if change != nil {
		change(&r)
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	b.stop = stop
	_, err = r.Do(ctx)
	require.NoError(t, err)
	for row, err := range store.Find(t.Context(), record.Query{}) {
		require.NoError(t, err)
		rows = append(rows, strings.TrimSpace(fmt.Sprintf("%d %s %s %s %s", row.Serial, row.Type, row.Verdict, row.DateCode, row.Note)))
	}
	_, bad, err := store.Verify(t.Context())
	require.NoError(t, err)
	require.Nil(t, bad)
	return rows, out.String()
}

// A chip that is shorted, or draws far too much, is a reject when it was reseated
// and is the same; never before, and never for pins without contact (common practice).
func TestRejectAfterReseating(t *testing.T) {
	short, open, heavy, none := assay.ShortedPins, assay.NoContactPins, assay.TooMuchSupply, assay.NoTrouble
	for _, c := range []struct {
		name, script string
		troubles     []assay.Trouble
		rows         []string
		advice       int
	}{
		{"shorted again", "cc--<retest>cc--", []assay.Trouble{short, short}, []string{"2 7400 fail"}, 1},
		{"too much current again", "cc--<retest>cc--", []assay.Trouble{heavy, heavy}, []string{"2 7400 fail"}, 1},
		{"it was not taken out", "cc<retest>--", []assay.Trouble{short, short}, []string{"2 7400 not tested"}, 2},
		{"taken out only after the second test", "cc<retest>--<retest>cc--", []assay.Trouble{short, short, short}, []string{"3 7400 fail"}, 2},
		{"another trouble", "cc--<retest>cc--", []assay.Trouble{short, heavy}, []string{"2 7400 not tested"}, 2},
		{"cleaning helped", "cc--<retest>cc--", []assay.Trouble{short, none}, []string{"2 7400 pass"}, 1},
		{"no contact may be the socket's", "cc--<retest>cc--", []assay.Trouble{open, open}, []string{"2 7400 not tested"}, 0},
		{"the next chip is another", "cc--cc--", []assay.Trouble{short, short}, []string{"1 7400 not tested", "2 7400 not tested"}, 2},
		{"an undo forgets it", "cc--cc<undo>--<retest>cc--", []assay.Trouble{none, short, short}, []string{"4 7400 not tested"}, 2},
		{"as another part", "cc--<part 7402><retest>cc--", []assay.Trouble{short, short}, []string{"2 7402 not tested"}, 2},
		{"a chip between has its own trouble", "cc--cc--<retest>cc--", []assay.Trouble{short, none, short}, []string{"1 7400 not tested", "3 7400 not tested"}, 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, shown := played(t, &bench{script: c.script, troubles: c.troubles}, nil)
			assert.Equal(t, c.rows, rows)
			assert.Equal(t, c.advice, strings.Count(shown, "clean its pins, type retest"))
			assert.Equal(t, strings.HasSuffix(c.rows[0], "fail"), strings.Contains(shown, ", reject\n"), shown)
		})
	}
}

// What an operator expects of each turn of events (common practice).
func TestRuns(t *testing.T) {
	for _, c := range []struct {
		name, script string
		tests        int
		rows         []string
	}{
		{"a chip that stays is tested once", "--cccccc--", 1, []string{"1 7400 pass"}},
		{"a chip that bounces into the contacts is tested once", "-c-c-ccc--", 1, []string{"1 7400 pass"}},
		{"a chip that loses contact for a moment is not a new one", "ccc-ccc--", 1, []string{"1 7400 pass"}},
		{"nor is it when that happens again", "ccc-c-ccc--", 1, []string{"1 7400 pass"}},
		{"a note after an undo of the note is the same chip's", "cc<note x><undo><note y>--cc--", 2, []string{"4 7400 pass  y", "5 7400 pass"}},
		{"two chips", "cc--cc--", 2, []string{"1 7400 pass", "2 7400 pass"}},
		{"a date code before the chip is that chip's alone", "<date 7938>cc--cc--", 2, []string{"1 7400 pass 7938", "2 7400 pass"}},
		{"a date code after the test is this chip's", "cc<date 7938>--cc--", 2, []string{"2 7400 pass 7938", "3 7400 pass"}},
		{"a date code taken away", "<date 7938>cc<date ->--", 1, []string{"2 7400 pass"}},
		{"a wrong date code is reported and changes nothing", "<date 7960>cc--", 1, []string{"1 7400 pass"}},
		{"the button starts, and once down starts once", "-bb--", 1, []string{"1 7400 pass"}},
		{"the button again tests the same chip again", "cc-bc--", 2, []string{"2 7400 pass"}},
		{"the button that went down during the test does not start another", "ccbb--", 1, []string{"1 7400 pass"}},
		{"Enter starts before the chip is noticed", "<>--", 1, []string{"1 7400 pass"}},
		{"Enter with a chip that was tested does not test it again", "cc<>--", 1, []string{"1 7400 pass"}},
		{"retest in the socket, with what was entered for the chip", "<date 7938><note x>cc<retest>--", 2, []string{"2 7400 pass 7938 x"}},
		{"retest of a chip that was taken out", "cc--<retest>cc--cc--", 3, []string{"2 7400 pass", "3 7400 pass"}},
		{"undo", "cc--cc<undo>--", 2, []string{"1 7400 pass"}},
		{"undo of a retest brings the first test back", "cc<retest><undo>--", 2, []string{"1 7400 pass"}},
		{"undo of a correction, then of the test", "cc<note x><undo><undo>--", 1, nil},
		{"a note after an undo is not the chip's before", "cc--cc<undo><note x>--cc--", 3, []string{"1 7400 pass", "4 7400 pass  x"}},
		{"undo of nothing is reported", "<undo>cc--", 1, []string{"1 7400 pass"}},
		{"skip", "<note x><skip>cc--cc--", 1, []string{"1 7400 pass"}},
		{"another part", "cc--<part 7402>cc--", 2, []string{"1 7400 pass", "2 7402 pass"}},
		{"a part that there is not leaves the old one", "<part 9999>cc--", 1, []string{"1 7400 pass"}},
		{"the beginning of a word", "<d 7938>cc--", 1, []string{"1 7400 pass 7938"}},
		{"the beginning of two words", "<p 7402>cc--", 1, []string{"1 7400 pass"}},
		{"pause leaves the socket alone", "<pause><go>cc--", 1, []string{"1 7400 pass"}},
		{"end", "cc--<end>cc--", 1, []string{"1 7400 pass"}},
		{"interrupted", "cc--!cc--", 1, []string{"1 7400 pass"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := &bench{script: c.script}
			rows, shown := played(t, b, nil)
			assert.Equal(t, c.rows, rows, shown)
			assert.Len(t, b.tests, c.tests, shown)
		})
	}
}

// What shows nothing of a chip is not recorded, and the chip comes again as a new one.
func TestWhatIsNotWritten(t *testing.T) {
	empty := &contact.Seating{Found: contact.EmptySocket}
	b := &bench{script: "cc--cc--", verdicts: []assay.Verdict{assay.NotTested, assay.Fail}, seatings: []*contact.Seating{empty}}
	rows, shown := played(t, b, nil)
	assert.Equal(t, []string{"1 7400 fail"}, rows)
	assert.Contains(t, shown, "not recorded: there is no chip")

	touching := &contact.Seating{Found: "pins 1 and 2 touch each other", Pins: []int{1, 2}}
	b = &bench{script: "cc--", verdicts: []assay.Verdict{assay.NotTested}, seatings: []*contact.Seating{touching}}
	rows, _ = played(t, b, nil)
	assert.Equal(t, []string{"1 7400 not tested"}, rows, "what is wrong with the chip itself is recorded")
}

// A cable that comes off stops nothing: the run goes on when the adapter is back.
func TestAdapterLost(t *testing.T) {
	b := &bench{script: "cc--xcc--"}
	tries := 0
	rows, shown := played(t, b, func(r *Run) {
		r.Reconnect = func(context.Context) (Bench, error) {
			if tries++; tries < 3 {
				return nil, errGone
			}
			return b, nil
		}
	})
	assert.Equal(t, []string{"1 7400 pass", "2 7400 pass"}, rows)
	assert.Contains(t, shown, "the adapter does not answer: check its cable. All records are safe")
	assert.Contains(t, shown, "the adapter is back")
	assert.Equal(t, 3, tries)
}

// A full is a Keeper whose disk is full.
type full struct{}

func (full) Append(context.Context, record.Record) (record.Record, error) {
	return record.Record{}, errors.New("no space left on device")
}

// A verdict is never shown as one that was written when it was not.
func TestDiskFull(t *testing.T) {
	var out bytes.Buffer
	b := &bench{script: "cc--cc--"}
	r := Run{Drawer: "D3", Typed: "7400", Find: library.Open, Bench: b, Hand: b, Records: full{}, Screen: &Screen{W: &out}}
	_, err := r.Do(t.Context())
	assert.ErrorContains(t, err, "no space left")
	assert.NotContains(t, out.String(), "PASS")
	assert.NotContains(t, out.String(), "record 1")
	assert.Contains(t, out.String(), "NOT RECORDED: test the chip in the socket again")
}

func TestKeptDate(t *testing.T) {
	rows, _ := played(t, &bench{script: "cc--<date 8011>cc--cc--<date ->cc--"}, func(r *Run) { r.DateCode, r.KeepDate = "7938", true })
	assert.Equal(t, []string{"1 7400 pass 7938", "2 7400 pass 8011", "3 7400 pass 8011", "4 7400 pass"}, rows)
}

// What must not be powered, and what only its contents can judge, is refused at once.
func TestRefused(t *testing.T) {
	for _, typed := range []string{"2708", "74188"} {
		r := Run{Typed: typed, Find: library.Open, Screen: &Screen{W: io.Discard}}
		_, err := r.Do(t.Context())
		assert.Error(t, err, typed)
	}
}

func TestPartOfTheDrawer(t *testing.T) {
	b := &bench{script: "cc--", verdicts: []assay.Verdict{assay.Fail}}
	rows, shown := played(t, b, func(r *Run) { r.Typed = "4011B"; r.Screen.(*Screen).Bell = true })
	assert.Equal(t, []string{"1 4011B fail"}, rows)
	assert.Equal(t, 3, strings.Count(shown, "\a"), "three bells for a fail")
}

// The letters are distinguished from two metres by their strokes: each word of a verdict is
// seven lines that fit the terminal, and no control character without colour.
func TestLargeLetters(t *testing.T) {
	want := map[assay.Verdict]string{assay.Pass: "  ########", assay.Fail: "  ##########", assay.NotTested: "  ##      ##"}
	for v, first := range want {
		for _, columns := range []int{80, 76, 47} {
			shown := large(v, false, false, columns)
			words := strings.Split(strings.TrimSuffix(shown, "\n"), "\n\n")
			require.Len(t, words, len(strings.Fields(v.Heading(false))), "every word of it")
			for _, w := range words {
				require.Len(t, strings.Split(strings.TrimSuffix(w, "\n"), "\n"), 7)
			}
			for _, line := range strings.Split(shown, "\n") {
				assert.LessOrEqual(t, len(line), columns)
				assert.NotContains(t, line, "\x1b")
			}
			if columns == 80 {
				assert.True(t, strings.HasPrefix(shown, first), shown)
			}
			coloured := large(v, false, true, columns)
			assert.Contains(t, coloured, "\x1b[")
			ground := regexp.MustCompile("\x1b\\[[0-9;]*m").ReplaceAllString(coloured, "")
			for _, line := range strings.Split(ground, "\n") {
				assert.LessOrEqual(t, len(line), columns)
			}
		}
	}
	assert.Empty(t, large(assay.NotTested, false, false, 46), "no room for TESTED")
	whole := large(assay.Pass, false, false, 80)
	inPart := large(assay.Pass, true, false, 80)
	require.True(t, strings.HasPrefix(large(assay.PassBut, false, false, 80), whole+"\n"), "PASS, and BUT below")
	require.NotEqual(t, inPart, large(assay.PassBut, false, false, 80))
	require.NotEqual(t, whole, inPart)
	require.True(t, strings.HasPrefix(inPart, whole+"\n"), "PASS, and PART below")
	require.Equal(t, large(assay.Fail, false, false, 80), large(assay.Fail, true, false, 80), "only a pass is in part")
}

// A terminal has 80 columns, and the person sees that the chip is being tested.
func TestATerminalsLines(t *testing.T) {
	var out bytes.Buffer
	_, plain := played(t, &bench{script: "cc--", troubles: []assay.Trouble{assay.ShortedPins}}, nil)
	assert.NotContains(t, plain, "testing")
	_, shown := played(t, &bench{script: "ccx--", troubles: []assay.Trouble{assay.ShortedPins}}, func(r *Run) {
		r.Screen.(*Screen).Large = true
		b := r.Bench
		r.Reconnect = func(context.Context) (Bench, error) { return b, nil }
	})
	assert.Equal(t, 1, strings.Count(shown, "testing: leave the chip alone\n"))
	assert.Contains(t, strings.Join(strings.Fields(shown), " "), "All records are safe, and the run continues when it is back")
	for line := range strings.Lines(shown) {
		assert.LessOrEqual(t, len(line), 81, line)
	}
	(&Screen{W: &out, Large: true}).Verdict(report.Document{Verdict: assay.NotTested, Reason: strings.Repeat("pin 1 makes no contact, ", 8) + "end"}, "record 1")
	assert.Contains(t, out.String(), "end\n")
	for line := range strings.Lines(out.String()) {
		assert.LessOrEqual(t, len(line), 81, line)
	}
}
