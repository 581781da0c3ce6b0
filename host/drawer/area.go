package drawer

import (
	"fmt"

	"chipassay/host/console"
)

// An area is the last lines of a terminal, which stay while the lines above scroll. It
// is made by the control sequences of ECMA-48 and DECSTBM, which keeps the scrolling to
// the lines above; from memory. What the operator types is echoed there, as ever.
type area struct {
	columns, rows int // of the terminal when it was drawn; 0 where nothing is
	lines         [areaLines]string
}

const (
	areaLines = 2
	leastRows = 10 // of a terminal that has room for an area
)

// draw draws the area where something of it changed, the terminal's size too, and
// reports whether there is one.
func (s *Screen) draw(lines ...string) bool {
	if !s.Large || s.Size == nil {
		return false
	}
	columns, rows := s.Size()
	if rows < leastRows || columns < leastRows {
		s.Close()
		return false
	}
	now := area{columns, rows, [areaLines]string(lines)}
	if now == s.area {
		return true
	}
	if now.columns != s.area.columns || now.rows != s.area.rows {
		s.frame(rows)
	}
	s.area = now
	out := "\x1b7"
	for i, line := range now.lines {
		out += fmt.Sprintf("\x1b[%d;1H\x1b[K%s", rows-areaLines+1+i, inverse(console.Clip(line, columns-1), i == 0))
	}
	fmt.Fprint(s.W, out+"\x1b8")
	return true
}

// frame keeps the scrolling above the area. What is below the cursor is wiped: after a
// change of size an old area may stand there. Two lines are made free, in which the
// cursor may have been.
func (s *Screen) frame(rows int) {
	fmt.Fprintf(s.W, "\x1b7\x1b[r\x1b8\x1b[J\x1bD\x1bD\x1b[%dA\x1b7\x1b[1;%dr\x1b8", areaLines, rows-areaLines)
}

// Close gives the terminal back as it was.
func (s *Screen) Close() {
	if s.area == (area{}) {
		return
	}
	s.area = area{}
	fmt.Fprint(s.W, "\x1b7\x1b[r\x1b8\x1b[J")
}

// inverse marks the line that separates the area from what is above.
func inverse(line string, marked bool) string {
	if !marked {
		return line
	}
	return "\x1b[7m" + line + "\x1b[0m"
}
