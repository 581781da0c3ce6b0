package drawer

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
)

// A display is a terminal as ECMA-48 has it, as far as a Screen uses it: index, cursor
// up, cursor position, erase in line and page; with the save and restore of the cursor
// and the scrolling region (DECSC, DECRC, DECSTBM) of the usual terminals, whose region
// sends the cursor home. From memory.
type display struct {
	lines                 [][]rune
	row, column           int
	top, bottom           int // of the region, both in it
	savedRow, savedColumn int
	columns               int
	t                     *testing.T
}

func newDisplay(t *testing.T, columns, rows int) *display {
	d := &display{lines: make([][]rune, rows), columns: columns, bottom: rows - 1, t: t}
	return d
}

func (d *display) Write(p []byte) (int, error) {
	text := string(p)
	for text != "" {
		if rest, ok := strings.CutPrefix(text, "\x1b["); ok {
			i := strings.IndexFunc(rest, func(r rune) bool { return r >= '@' })
			d.control(rest[:i], rest[i])
			text = rest[i+1:]
			continue
		}
		r := []rune(text)[0]
		text = text[len(string(r)):]
		switch {
		case r == '\x1b':
			d.escape(text[0])
			text = text[1:]
		case r == '\n':
			d.column = 0
			d.index()
		case r != '\a':
			require.Less(d.t, d.column, d.columns, "a line over the terminal's edge: %s", string(d.lines[d.row]))
			for len(d.lines[d.row]) <= d.column {
				d.lines[d.row] = append(d.lines[d.row], ' ')
			}
			d.lines[d.row][d.column] = r
			d.column++
		}
	}
	return len(p), nil
}

func (d *display) escape(c byte) {
	switch c {
	case '7':
		d.savedRow, d.savedColumn = d.row, d.column
	case '8':
		d.row, d.column = d.savedRow, d.savedColumn
	case 'D':
		d.index()
	default:
		d.t.Fatalf("escape %q", c)
	}
}

func (d *display) index() {
	if d.row != d.bottom {
		d.row = min(d.row+1, len(d.lines)-1)
		return
	}
	copy(d.lines[d.top:d.bottom], d.lines[d.top+1:d.bottom+1])
	d.lines[d.bottom] = nil
}

func (d *display) control(arguments string, c byte) {
	var n []int
	for _, a := range strings.Split(arguments, ";") {
		number, _ := strconv.Atoi(a) // empty is 0
		n = append(n, number)
	}
	switch c {
	case 'm':
	case 'A':
		d.row = max(d.row-n[0], d.top)
	case 'H':
		d.row, d.column = n[0]-1, n[1]-1
	case 'K':
		d.lines[d.row] = d.lines[d.row][:min(d.column, len(d.lines[d.row]))]
	case 'J':
		d.lines[d.row] = d.lines[d.row][:min(d.column, len(d.lines[d.row]))]
		clear(d.lines[d.row+1:])
	case 'r':
		d.top, d.bottom = 0, len(d.lines)-1
		if arguments != "" {
			d.top, d.bottom = n[0]-1, n[1]-1
		}
		d.row, d.column = 0, 0
	default:
		d.t.Fatalf("control %q %c", arguments, c)
	}
}

// resize makes it as many rows high as asked: lines come and go at its end while that is
// free, then at its top.
func (d *display) resize(columns, rows int) {
	if columns == d.columns && rows == len(d.lines) {
		return
	}
	for len(d.lines) < rows {
		d.lines = append(d.lines, nil)
	}
	for len(d.lines) > rows && d.row < len(d.lines)-1 {
		d.lines = d.lines[:len(d.lines)-1]
	}
	for len(d.lines) > rows {
		d.lines, d.row = d.lines[1:], d.row-1
	}
	d.columns, d.top, d.bottom = columns, 0, rows-1
}

func (d *display) text(row int) string { return strings.TrimRight(string(d.lines[row]), " ") }

// The tally and what is waited for are in the last two lines whatever is printed above and
// however the terminal's size changes; then the terminal is as it was, and the lines are gone.
func TestTheLastLinesStay(t *testing.T) {
	d := newDisplay(t, 80, 24)
	var sizes []string
	b := &bench{verdicts: []assay.Verdict{assay.Pass, assay.NotTested, assay.Fail, assay.Pass}}
	b.script = strings.Repeat("cc<note x>--", 8) + "cc<pause><help><go>--"
	played(t, b, func(r *Run) {
		r.Screen = &Screen{W: d, Large: true, Size: func() (int, int) { return d.columns, len(d.lines) }}
		r.Hand = handed(func() (string, bool, error) {
			rows := len(d.lines)
			if len(b.tests) > 0 {
				tally, isCut := strings.CutSuffix(d.text(rows-2), "…")
				require.True(t, strings.HasPrefix("D3  "+r.summary().Tray.Summary(), tally), tally)
				require.Equal(t, d.columns == 34, isCut, "that of two or more chips is 41 columns wide")
			}
			require.NotEmpty(t, d.text(rows-1))
			require.Less(t, d.row, rows-areaLines, "the cursor is above")
			require.Zero(t, d.column)
			for row := range rows - areaLines {
				require.NotContains(t, d.text(row), "D3  ", "nothing of it is left above")
			}
			switch len(b.tests) { // it takes effect in the next turn
			case 2:
				d.resize(80, 12)
			case 4:
				d.resize(34, 30)
			case 6:
				d.resize(100, 20)
			}
			r.show(Standing{})
			sizes = append(sizes, fmt.Sprint(len(d.lines)))
			return b.Next()
		})
	})
	require.Contains(t, strings.Join(sizes, " "), "30")
	require.Equal(t, len(d.lines)-1, d.bottom, "it scrolls whole again")
	var all []string
	for row := range d.lines {
		all = append(all, d.text(row))
	}
	require.Contains(t, strings.Join(all, "\n"), "9 chips: 7 pass, 1 fail, 1 not tested")
	require.NotContains(t, strings.Join(all, "\n"), "ready: seat")
}

type handed func() (string, bool, error)

func (h handed) Next() (string, bool, error) { return h() }

// Where there is no room, or no terminal, what is waited for is printed in lines.
func TestNoRoomForLastLines(t *testing.T) {
	for _, size := range []func() (int, int){nil, func() (int, int) { return 0, 0 }, func() (int, int) { return 80, leastRows - 1 }} {
		var out bytes.Buffer
		played(t, &bench{script: "cc--"}, func(r *Run) { r.Screen = &Screen{W: &out, Large: true, Size: size} })
		require.Contains(t, out.String(), "testing: leave the chip alone\n")
		require.Contains(t, out.String(), "ready: seat chip 2, 7400\n")
		require.NotContains(t, out.String(), "\x1b")
	}
}
