package screen

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"chipassay/host/console"
	"chipassay/host/explore"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// The layout: the title, the column headings, the top of the package, then a line for each
// pair of pins.
const (
	firstPin = 3  // line of pins 1 and n
	side     = 34 // columns of one side's pin
	body     = 12 // columns of the package with its pin numbers
	foot     = 2  // lines of message and keys
	mostNote = 3  // lines of notes where there is little room
)

// keys are what the keys do.
const keys = "arrows tab  enter toggle  h l o set  space clock  r rows  t table  : type  p  q"

// Draw draws the screen as lines of text.
func (m *Model) Draw() string {
	var lines []string
	lines = append(lines, m.title())
	if m.tables {
		lines = append(lines, m.tableOf(m.height-foot-1)...)
	} else {
		lines = append(lines, m.chip()...)
		lines = append(lines, m.legend())
		notes := m.notes()
		room := m.height - foot - len(lines)
		most := max(mostNote, room-m.tableHeight()-1)
		if len(notes) > most {
			notes = append(notes[:most-1:most-1], " … and more: --steps prints all")
		}
		lines = append(lines, notes...)
		if room = m.height - foot - len(lines); room >= 4 {
			lines = append(lines, "")
			lines = append(lines, m.tableOf(room-1)...)
		}
	}
	for len(lines) < m.height-foot {
		lines = append(lines, "")
	}
	lines = append(lines[:max(0, m.height-foot)], m.line(), keys)
	for i := range lines {
		lines[i] = clip(lines[i], m.width)
	}
	return strings.Join(lines, "\n")
}

// legend explains the lamps, with the resistors for the part's outputs.
func (m *Model) legend() string {
	var ohms []string
	for _, p := range m.session.State().Pins {
		if p.Lamp != nil {
			if text := fmt.Sprintf("%.0f", p.Lamp.Ohms); !slices.Contains(ohms, text) {
				ohms = append(ohms, text)
			}
		}
	}
	if ohms == nil {
		return ""
	}
	return fmt.Sprintf("lamps: an LED from +5 V through %s Ω to each output, with its mA; it glows on L", strings.Join(ohms, " or "))
}

// title names the part in the socket, with its supply voltage and current.
func (m *Model) title() string {
	name := m.session.Type.String()
	s := m.session.State()
	supply := "SUPPLY OFF"
	if m.session.On() {
		supply = "supply on"
		if !math.IsNaN(s.SupplyVolts) {
			supply += fmt.Sprintf("  %.2f V", s.SupplyVolts)
		}
		if s.CurrentMA >= 0 {
			supply += fmt.Sprintf("  %.1f mA", s.CurrentMA)
		}
	}
	room := max(0, m.width-len([]rune(supply))-2)
	return fmt.Sprintf("%-*s  %s", room, clip(name, room), supply)
}

// full is the width at which nothing is cut off.
const full = 80

// line is the line being typed, or a message.
func (m *Model) line() string {
	switch {
	case m.typing:
		return ": " + m.typed + "_"
	case !m.session.On() && m.message == "":
		return "Supply off: the chip may be taken out. p tests contact and switches it on."
	case m.session.On() && m.left <= explore.Notice:
		return fmt.Sprintf("The supply goes off in %.0f s: any key keeps it on.", math.Ceil(m.left.Seconds()))
	case m.message == "" && m.width < full:
		return fmt.Sprintf("%d columns hide the right side: make it %d.", m.width, full)
	}
	return m.message
}

// chip draws the package with its pins.
func (m *Model) chip() []string {
	v := m.session.Type.Variant
	n := len(v.Pins)
	head := strings.Repeat(" ", body)
	lines := []string{
		m.head(false) + head + m.head(true),
		strings.Repeat(" ", side+3) + "┌─╰╯─┐",
	}
	for left := 1; left <= n/2; left++ {
		right := n + 1 - left
		lines = append(lines, fmt.Sprintf("%s %2d┤    ├%-2d %s", m.pin(left, false), left, right, m.pin(right, true)))
	}
	return append(lines, strings.Repeat(" ", side+3)+"└────┘")
}

// head is the heads of one side's columns.
func (m *Model) head(right bool) string {
	return columns(right, "sheet", "V", "seen", "drive", "pin")
}

// columns sets a pin's fields, its name beside the package.
func columns(right bool, sheet, volt, seen, drive, name string) string {
	if right {
		return pad(name, 7) + " " + pad(drive, 7) + " " + pad(seen, 7) + " " + lead(volt, 4) + " " + pad(sheet, 5)
	}
	return pad(sheet, 5) + " " + lead(volt, 4) + " " + pad(seen, 7) + " " + pad(drive, 7) + " " + lead(name, 7)
}

// pad and lead set a text into so many columns.
func pad(text string, n int) string {
	text = clip(text, n)
	return text + strings.Repeat(" ", n-len([]rune(text)))
}

func lead(text string, n int) string {
	text = clip(text, n)
	return strings.Repeat(" ", n-len([]rune(text))) + text
}

// pin draws what is known of a pin.
func (m *Model) pin(number int, right bool) string {
	p := m.session.Type.Variant.Pins[number-1]
	name := p.Name
	if number == m.cursor {
		name = "[" + name + "]"
	}
	state := m.session.State()
	s := state.Pin(number)
	if s == nil || !m.session.On() {
		return m.mark(number, columns(right, "", "", "", role(p), name), false)
	}
	sheet, drive := "", s.Drive.String()
	switch {
	case s.Differs():
		sheet = explore.Letter(s.Expected) + " !"
	case s.Compared:
		sheet = explore.Letter(s.Expected)
	case !s.Input:
		sheet = "?"
	}
	if !s.Input {
		drive = lampBar(s.Lamp)
	} else if s.Takes != logic.X {
		drive += "→" + explore.Letter(s.Takes)
	}
	seen := s.Seen.String()
	if s.Seen == explore.Undefined {
		seen = "undef."
	}
	return m.mark(number, columns(right, sheet, volts(s.Volts), seen, drive, name), s.Differs())
}

// role names the role of a pin that is not measured.
func role(p part.Pin) string {
	switch p.Role {
	case part.Supply:
		return "+5 V"
	case part.Ground:
		return "0 V"
	case part.NoConnect:
		return "nc"
	}
	return ""
}

// lampBar draws an LED's brightness in three steps, with its current, mA.
func lampBar(l *explore.Lamp) string {
	if l == nil {
		return ""
	}
	on, cells := l.Step(), explore.Steps
	return strings.Repeat("●", on) + strings.Repeat("○", cells-on) + lead(fmt.Sprintf("%.1f", l.MA), 4)
}

// mark adds colour to what the words already show.
func (m *Model) mark(number int, text string, differs bool) string {
	switch {
	case !m.colour:
		return text
	case number == m.cursor:
		return "\x1b[7m" + text + "\x1b[0m"
	case differs:
		return "\x1b[31;1m" + text + "\x1b[0m"
	}
	return text
}

// notes are the remarks on the state, wrapped.
func (m *Model) notes() (lines []string) {
	if !m.session.On() {
		return nil
	}
	for _, note := range m.session.State().Notes {
		lines = append(lines, console.Fold(note, 1, m.width-2)...)
	}
	return lines
}

// table is the function table that goes with the cursor, or with the walk.
func (m *Model) table() (index int) {
	if m.walk.Left() > 0 && m.last.Table >= 0 {
		return m.last.Table
	}
	return m.session.TableOf(m.cursor)
}

// tableHeight is how many lines the whole table takes.
func (m *Model) tableHeight() int {
	if len(m.session.Tables()) == 0 {
		return 1
	}
	return 2 + len(m.session.Tables()[m.table()].Rows)
}

// tableOf draws the table in so many lines, around the row that was walked to.
func (m *Model) tableOf(room int) []string {
	tables := m.session.Tables()
	if len(tables) == 0 {
		return []string{"The function table is too large to show."}
	}
	t := tables[m.table()]
	lines := tableLines(t)
	for i := range lines {
		at := " "
		if m.last == (explore.RowAt{Table: m.table(), Row: i - 1}) {
			at = ">"
		}
		lines[i] = at + lines[i]
	}
	head, rows := append([]string{t.Heading()}, lines[0]), lines[1:]
	if most := room - len(head); len(rows) > most {
		most = max(1, most-1)
		from := 0
		if m.last.Table == m.table() {
			from = min(max(0, m.last.Row-most/2), len(rows)-most)
		}
		rows = append(rows[from:from+most:from+most], fmt.Sprintf("    rows %d to %d of %d", from+1, from+most, len(rows)))
	}
	return append(head, rows...)
}

// click toggles the pin under a click.
func (m *Model) click(x, y int) {
	n := len(m.session.Type.Variant.Pins)
	at := y - firstPin
	if m.tables || at < 0 || at >= n/2 {
		return
	}
	m.message = ""
	if m.cursor = at + 1; x >= side+body/2 {
		m.cursor = n - at
	}
	m.did(func() error { _, err := m.session.Toggle(m.ctx, m.cursor); return err })
}

// clip cuts a text to a number of columns, not counting colour escapes.
func clip(text string, width int) string {
	var b strings.Builder
	columns, escape := 0, false
	for _, r := range text {
		switch {
		case r == '\x1b':
			escape = true
		case escape:
			escape = r != 'm'
		case columns == width:
			continue
		default:
			columns++
		}
		b.WriteRune(r)
	}
	return b.String()
}
