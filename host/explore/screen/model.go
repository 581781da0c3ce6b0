// Package screen shows a session of host/explore in a terminal, by the bubbletea model of
// a message, an update and a view: the chip with its pins, a lamp at each output, the
// function table with its ticks. It fits 80 columns by 24 lines, and never relies on
// colour alone.
package screen

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"chipassay/host/explore"
)

// How often the chip is looked at, without which the adapter switches off, and how
// long each row of a walk is shown.
const (
	pace    = 500 * time.Millisecond
	rowPace = 350 * time.Millisecond
)

// A Model is the screen of one session. Its updates work the adapter themselves, one after
// the other: a look takes some 20 ms.
type Model struct {
	ctx     context.Context
	session *explore.Session
	clock   func() time.Time
	colour  bool

	width, height int
	cursor        int // pin
	typed         string
	typing        bool
	message       string
	tables        bool // show the function table instead of the chip
	walk          []row
	last          row // that was walked to
	left          time.Duration
	err           error
}

type row struct{ table, row int }

// The timer messages.
type (
	lookMsg struct{}
	rowMsg  struct{}
)

// New is the screen of a powered session. Clock is the time of day.
func New(ctx context.Context, s *explore.Session, clock func() time.Time, colour bool) *Model {
	m := &Model{ctx: ctx, session: s, clock: clock, colour: colour, width: 80, height: 24, left: explore.Patience, last: row{-1, -1}}
	m.next(1)
	s.Touch(clock())
	return m
}

// Err is what ended the program, if anything went wrong.
func (m *Model) Err() error { return m.err }

// Init starts the clock.
func (m *Model) Init() tea.Cmd { return after(pace, lookMsg{}) }

func after(d time.Duration, msg tea.Msg) tea.Cmd {
	return tea.Tick(d, func(time.Time) tea.Msg { return msg })
}

// Update acts on a key, a click or the time.
func (m *Model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.width, m.height = msg.Width, msg.Height
	case tea.KeyPressMsg:
		return m, m.key(msg)
	case tea.MouseClickMsg:
		if msg.Button == tea.MouseLeft {
			m.session.Touch(m.clock())
			m.click(msg.X, msg.Y)
		}
	case lookMsg:
		return m, m.look()
	case rowMsg:
		return m, m.walkOn()
	}
	return m, m.ended()
}

// View shows the screen.
func (m *Model) View() tea.View {
	v := tea.NewView(m.Draw())
	v.AltScreen, v.MouseMode = true, tea.MouseModeCellMotion
	return v
}

// ended quits after an error.
func (m *Model) ended() tea.Cmd {
	if m.err != nil {
		return tea.Quit
	}
	return nil
}

// look looks at the chip again, or switches it off.
func (m *Model) look() tea.Cmd {
	if !m.session.On() {
		return after(pace, lookMsg{})
	}
	left, err := m.session.Watch(m.ctx, m.clock())
	if m.left = left; err == nil && left > 0 {
		_, err = m.session.Refresh(m.ctx)
	}
	if left <= 0 {
		m.walk = nil
	}
	if m.fails(err) {
		return tea.Quit
	}
	return after(pace, lookMsg{})
}

// fails keeps a step's error: a refusal is shown, any other ends the program.
func (m *Model) fails(err error) bool {
	switch {
	case err == nil:
		return false
	case errors.Is(err, explore.ErrRefused):
		m.message = err.Error()
		return false
	}
	m.err = err
	return true
}

// key acts on a key.
func (m *Model) key(k tea.KeyPressMsg) tea.Cmd {
	m.session.Touch(m.clock())
	m.left = explore.Patience
	if k.String() == "ctrl+c" {
		return tea.Quit
	}
	if m.typing {
		m.edit(k)
		return m.started()
	}
	m.message = ""
	if begins(k.Text) {
		m.typing, m.typed = true, strings.TrimPrefix(k.Text, ":")
		return nil
	}
	switch k.String() {
	case "q":
		return tea.Quit
	case "p":
		m.power()
	case "t":
		m.tables = !m.tables
	case "r":
		return m.rows()
	case "up", "down", "left", "right", "tab", "shift+tab":
		m.move(k.String())
	case "enter":
		m.did(func() error { _, err := m.session.Toggle(m.ctx, m.cursor); return err })
	case "h":
		m.set(explore.High)
	case "l":
		m.set(explore.Low)
	case "o":
		m.set(explore.Open)
	case "space":
		m.pulse()
	default:
		m.message = "no such key: the last line lists them"
	}
	return m.ended()
}

// begins reports whether a key begins a typed step: a colon, or the first character of a pin's name.
func begins(text string) bool {
	if len(text) != 1 {
		return false
	}
	b := text[0]
	return b == ':' || b == '/' || b >= '0' && b <= '9' || b >= 'A' && b <= 'Z'
}

// edit adds a key to the line being typed.
func (m *Model) edit(k tea.KeyPressMsg) {
	switch k.Code {
	case tea.KeyEscape:
		m.typing = false
	case tea.KeyEnter:
		m.typing = false
		m.run(strings.TrimSpace(m.typed))
	case tea.KeyBackspace:
		if text := []rune(m.typed); len(text) > 0 {
			m.typed = string(text[:len(text)-1])
		}
	default:
		m.typed += k.Text
	}
}

// run executes a typed step; the name of a pin alone toggles it.
func (m *Model) run(text string) {
	if text == "" {
		return
	}
	if pin := m.session.Type.Variant.Pin(strings.ToUpper(text)); pin != nil {
		m.cursor = pin.Number
		m.did(func() error { _, err := m.session.Toggle(m.ctx, pin.Number); return err })
		return
	}
	steps, err := m.session.Script(text)
	if err != nil {
		m.message = err.Error()
		return
	}
	for _, st := range steps {
		if st.Rows {
			m.queue()
			continue
		}
		if len(st.Changes) > 0 {
			m.cursor = st.Changes[0].Pin
		}
		if !m.did(func() error { return m.session.Do(m.ctx, st, func(explore.State) error { return nil }) }) {
			return
		}
	}
}

// did takes a step, and reports whether it was taken.
func (m *Model) did(step func() error) bool {
	err := step()
	m.fails(err)
	return err == nil
}

func (m *Model) set(to explore.Drive) {
	m.did(func() error {
		_, err := m.session.Set(m.ctx, explore.Change{Pin: m.cursor, To: to})
		return err
	})
}

// pulse clocks the chip.
func (m *Model) pulse() {
	clock := m.session.ClockBy(m.cursor)
	if clock == 0 {
		m.message = fmt.Sprintf("a %s has no clock; \":clock PIN\" pulses any input", m.session.Type.Name())
		return
	}
	if m.did(func() error { _, err := m.session.Pulse(m.ctx, clock); return err }) {
		m.message = "clocked " + m.session.Type.Variant.Pins[clock-1].Name
	}
}

// power switches the supply off, or tests contact and switches it on.
func (m *Model) power() {
	m.walk = nil
	if m.session.On() {
		m.fails(m.session.Close(m.ctx))
		return
	}
	_, err := m.session.PowerOn(m.ctx)
	if errors.Is(err, explore.ErrSeating) {
		m.message = err.Error()
		return
	}
	m.fails(err)
}

// rows starts a walk through the function tables, or stops one.
func (m *Model) rows() tea.Cmd {
	if len(m.walk) > 0 {
		m.walk, m.message = nil, "stopped"
		return nil
	}
	m.queue()
	return m.started()
}

// queue lists all rows of all tables for the walk.
func (m *Model) queue() {
	if len(m.session.Tables()) == 0 {
		m.message = "the function table is too large to walk"
	}
	for t, table := range m.session.Tables() {
		for r := range table.Rows {
			m.walk = append(m.walk, row{t, r})
		}
	}
	m.last = row{-1, -1}
}

// started begins a walk that was just queued.
func (m *Model) started() tea.Cmd {
	if m.err == nil && len(m.walk) > 0 && m.last.table < 0 {
		m.last = row{0, 0}
		return after(0, rowMsg{})
	}
	return m.ended()
}

// walkOn takes the next row of a walk.
func (m *Model) walkOn() tea.Cmd {
	if len(m.walk) == 0 {
		return nil
	}
	m.session.Touch(m.clock())
	next := m.walk[0]
	m.walk, m.last = m.walk[1:], next
	_, err := m.session.Apply(m.ctx, next.table, next.row)
	m.message = m.session.Tables()[next.table].Words(next.row)
	if m.fails(err) {
		return tea.Quit
	}
	if len(m.walk) == 0 {
		m.message = "all rows walked"
		return nil
	}
	return after(rowPace, rowMsg{})
}

// move moves the cursor.
func (m *Model) move(key string) {
	n := len(m.session.Type.Variant.Pins)
	switch key {
	case "tab":
		m.next(1)
	case "shift+tab":
		m.next(-1)
	case "left", "right":
		if (m.cursor > n/2) == (key == "left") {
			m.cursor = n + 1 - m.cursor
		}
	case "up", "down":
		by := 1
		if (m.cursor > n/2) == (key == "down") {
			by = -1
		}
		if to := m.cursor + by; to >= 1 && to <= n && (to > n/2) == (m.cursor > n/2) {
			m.cursor = to
		}
	}
}

// next moves the cursor to the next pin that may be set, by the numbers of the pins.
func (m *Model) next(by int) {
	n := len(m.session.Type.Variant.Pins)
	for range n {
		m.cursor = (m.cursor+by+n-1)%n + 1
		if m.session.Settable(m.cursor) {
			return
		}
	}
}
