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
	tables        bool          // the function table in place of the chip
	walk          *explore.Walk // nil for none
	last          explore.RowAt // that was walked to
	left          time.Duration
	err           error
}

// nowhere is no row.
var nowhere = explore.RowAt{Table: -1, Row: -1}

// The timer messages.
type (
	lookMsg struct{}
	rowMsg  struct{}
)

// New is the screen of a powered session. Clock is the time of day.
func New(ctx context.Context, s *explore.Session, clock func() time.Time, colour bool) *Model {
	m := &Model{ctx: ctx, session: s, clock: clock, colour: colour, width: 80, height: 24, left: explore.Patience, last: nowhere}
	m.next(1)
	s.Touch(clock())
	return m
}

// Err is what ended the program, if anything went wrong.
func (m *Model) Err() error { return m.err }

// Init starts the clock.
func (m *Model) Init() tea.Cmd { return after(explore.LookPace, lookMsg{}) }

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
		return after(explore.LookPace, lookMsg{})
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
	return after(explore.LookPace, lookMsg{})
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
	steps, err := m.session.Typed(text)
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
	if m.walk.Left() > 0 {
		m.walk, m.message = nil, "stopped"
		return nil
	}
	m.queue()
	return m.started()
}

// queue has a walk begin at the first row.
func (m *Model) queue() {
	walk, err := m.session.Walk()
	m.fails(err)
	m.walk, m.last = walk, nowhere
}

// started begins a walk that was just queued.
func (m *Model) started() tea.Cmd {
	if m.err == nil && m.walk.Left() > 0 && m.last == nowhere {
		m.last = explore.RowAt{}
		return after(0, rowMsg{})
	}
	return m.ended()
}

// walkOn takes the next row of a walk.
func (m *Model) walkOn() tea.Cmd {
	if m.walk.Left() == 0 {
		return nil
	}
	m.session.Touch(m.clock())
	at, err := m.walk.Next(m.ctx)
	m.last, m.message = at, m.session.Tables()[at.Table].Words(at.Row)
	if m.fails(err) {
		return tea.Quit
	}
	if m.walk.Left() == 0 {
		m.message = "all rows walked"
		return nil
	}
	return after(explore.RowPace, rowMsg{})
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
