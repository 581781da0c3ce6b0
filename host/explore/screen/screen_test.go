package screen_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"

	"chipassay/host/adapter"
	"chipassay/host/explore"
	"chipassay/host/explore/screen"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
)

// A person at a screen.
type person struct {
	*screen.Model
	t       *testing.T
	session *explore.Session
	socket  *virtual.Socket
	now     time.Time
	cancel  func()
}

// sits puts a chip into a virtual adapter and a person before its screen.
func sits(t *testing.T, typed string, colour bool, defects ...string) *person {
	t.Helper()
	typ, err := library.Open(typed)
	if err != nil {
		t.Fatal(err)
	}
	var broken []virtual.Defect
	for _, text := range defects {
		d, err := virtual.ParseDefect(text)
		if err != nil {
			t.Fatal(err)
		}
		broken = append(broken, d)
	}
	chip, err := virtual.NewChip(typ, broken...)
	if err != nil {
		t.Fatal(err)
	}
	p := &person{t: t, socket: virtual.NewSocket(chip, 1), now: time.Date(1981, 3, 2, 10, 0, 0, 0, time.UTC)}
	conn, err := virtual.Open(t.Context(), p.socket)
	if err != nil {
		t.Fatal(err)
	}
	a, err := adapter.Open(t.Context(), link.New(conn, 0))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.Close() })
	seat, err := a.SeatOf(typ.Variant)
	if err != nil {
		t.Fatal(err)
	}
	if p.session, err = explore.New(seat, typ); err != nil {
		t.Fatal(err)
	}
	if _, err := p.session.PowerOn(t.Context()); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	p.cancel = cancel
	p.Model = screen.New(ctx, p.session, func() time.Time { return p.now }, colour)
	return p
}

var special = map[string]tea.Key{
	"enter": {Code: tea.KeyEnter}, "tab": {Code: tea.KeyTab}, "shift+tab": {Code: tea.KeyTab, Mod: tea.ModShift}, "space": {Code: tea.KeySpace, Text: " "},
	"up": {Code: tea.KeyUp}, "down": {Code: tea.KeyDown}, "left": {Code: tea.KeyLeft}, "right": {Code: tea.KeyRight},
	"esc": {Code: tea.KeyEscape}, "backspace": {Code: tea.KeyBackspace}, "ctrl+c": {Code: 'c', Mod: tea.ModCtrl},
}

// press presses keys, and gives the command of the last.
func (p *person) press(keys ...string) (cmd tea.Cmd) {
	for _, key := range keys {
		k, ok := special[key]
		if !ok {
			k = tea.Key{Code: []rune(strings.ToLower(key))[0], Text: key}
		}
		_, cmd = p.Update(tea.KeyPressMsg(k))
	}
	return cmd
}

// types types a text, a key for each letter.
func (p *person) types(text string) tea.Cmd {
	for _, r := range text {
		if r == ' ' {
			p.press("space")
		} else {
			p.press(string(r))
		}
	}
	return p.press("enter")
}

// quits tells whether a command ends the program.
func quits(cmd tea.Cmd) bool {
	if cmd == nil {
		return false
	}
	_, ok := cmd().(tea.QuitMsg)
	return ok
}

// line is the line of the screen that holds some words.
func (p *person) line(words string) string {
	p.t.Helper()
	for _, line := range strings.Split(p.Draw(), "\n") {
		if strings.Contains(line, words) {
			return line
		}
	}
	p.t.Errorf("no line has %q:\n%s", words, p.Draw())
	return ""
}

func (p *person) shows(all ...string) {
	p.t.Helper()
	for _, words := range all {
		p.line(words)
	}
}

func TestKeysSetTheInputs(t *testing.T) {
	p := sits(t, "7400", false)
	p.shows("[1A]", "supply on  4.93 V")
	p.press("h", "tab", "h")
	p.shows("L     0.06 L       ●●● 9.0      1Y  3┤")
	p.press("o")
	p.shows("1.56 between open→H     [1B]  2┤", "1B: open, floats to 1.6 V and acts as H")
	p.press("enter") // L follows open
	if p.session.Drive(2) != explore.Low {
		t.Errorf("1B is %v", p.session.Drive(2))
	}
	p.press("down", "l")
	p.shows("1Y is an output: outputs are never driven", "[1Y]")
	p.press("right")
	p.shows("┤    ├12 [4A]")
	p.press("down")
	p.shows("├11 [4Y]")
	p.press("left", "up", "shift+tab", "shift+tab", "shift+tab")
	p.shows("├13 [4B]") // over pins 2 and 1 and the supply to 13
	p.press("x")
	p.shows("no such key")
}

// 7 rows of pins begin at the fourth line; the right half of the screen is the right side.
func TestAClickToggles(t *testing.T) {
	p := sits(t, "7400", false)
	click := func(x, y int) {
		p.Update(tea.MouseClickMsg{X: x, Y: y, Button: tea.MouseLeft})
	}
	click(30, 3)
	click(50, 4)
	if p.session.Drive(1) != explore.High || p.session.Drive(13) != explore.High || p.session.Drive(2) != explore.Low {
		t.Errorf("pins 1, 2 and 13 are %v %v %v", p.session.Drive(1), p.session.Drive(2), p.session.Drive(13))
	}
	before := p.Draw()
	click(30, 2)
	click(30, 10)
	if p.Draw() != before {
		t.Errorf("a click beside the pins does something:\n%s", p.Draw())
	}
	p.Update(tea.MouseReleaseMsg{X: 30, Y: 3, Button: tea.MouseLeft})
	p.Update(tea.MouseClickMsg{X: 30, Y: 3, Button: tea.MouseRight})
	if p.session.Drive(1) != explore.High {
		t.Error("another button, or releasing one, toggles")
	}
}

func TestTypedSteps(t *testing.T) {
	p := sits(t, "7474", false)
	p.types(":/1CLR=L; /1CLR=H; 1D=H")
	p.shows("L     0.06 L       ●●● 9.0      1Q  5┤")
	p.press("space")
	p.shows("clocked 1CLK", "H     4.04 H       ○○○ 0.0      1Q  5┤")
	p.types("1D") // the name alone toggles: open follows H
	if p.session.Drive(2) != explore.Open {
		t.Errorf("1D is %v", p.session.Drive(2))
	}
	p.press("1", "X")
	p.shows(": 1X_")
	p.press("backspace", "D", "=", "L", "enter")
	if p.session.Drive(2) != explore.Low {
		t.Errorf("1D is %v", p.session.Drive(2))
	}
	p.types("9Z=H")
	p.shows(`a 7474 has no input "9Z"`)
	p.press(":", "q", "esc", "h")
	p.shows("[1D]")
	if p.session.Drive(2) != explore.High {
		t.Errorf("after an escape h sets nothing: %v", p.session.Drive(2))
	}
	p = sits(t, "7400", false)
	p.press("space")
	p.shows("a 7400 has no clock")
}

// rows walks all rows, a message each, and stops on a second press.
func TestRowsAreWalked(t *testing.T) {
	p := sits(t, "7400", false)
	p.shows("1 of 3 rows")
	cmd := p.press("r")
	steps := 0
	for ; cmd != nil && steps < 50; steps++ {
		_, cmd = p.Update(cmd())
		if steps == 1 {
			p.shows("row 2 1A=H 1B=L", ">[x]  H   L   |  H")
		}
	}
	if steps != 12 { // 3 rows of 4 gates
		t.Errorf("%d rows were walked", steps)
	}
	p.shows("all rows walked", "function table of gate 1: 3 of 3 rows as the data sheet has them")
	p.press("r", "r")
	p.shows("stopped")
	p.press("t")
	p.shows("3 of 3 rows")
	if strings.Contains(p.Draw(), "1Y  3┤") {
		t.Error("the chip is still drawn")
	}
}

// Pin 2 of a 7410 is 1B: with it open the gate is low under 1A and 1C high.
func TestDifferencesAreMarked(t *testing.T) {
	p := sits(t, "7410", false, "2 open")
	p.shows("pin 2 makes no contact")
	p.types("1A=H 1B=L 1C=H")
	p.shows("0.06 H !", "1Y: L seen, H by the data sheet", "[!]")
	if strings.Contains(p.Draw(), "\x1b") {
		t.Error("there is colour where none is wanted")
	}
	p = sits(t, "7410", true, "2 open")
	p.types("1A=H 1B=L 1C=H")
	for _, words := range []string{"\x1b[31;1m", "\x1b[7m", "0.06 H !"} {
		p.shows(words)
	}
}

// The supply goes off a minute after the last key, and that is said ten seconds before.
func TestSupplyGoesOff(t *testing.T) {
	p := sits(t, "7400", false)
	look := p.Init()()
	p.now = p.now.Add(49 * time.Second)
	p.Update(look)
	if strings.Contains(p.Draw(), "goes off") {
		t.Error("it is said too early")
	}
	p.now = p.now.Add(3 * time.Second)
	p.Update(look)
	p.shows("The supply goes off in 8 s: any key keeps it on.")
	p.press("tab")
	p.now = p.now.Add(59 * time.Second)
	if p.Update(look); !p.session.On() {
		t.Error("a key did not keep it on")
	}
	p.now = p.now.Add(2 * time.Second)
	_, cmd := p.Update(look)
	p.shows("SUPPLY OFF", "Supply off: the chip may be taken out")
	if p.socket.Live() || cmd == nil {
		t.Errorf("live %v; the clock goes on: %v", p.socket.Live(), cmd != nil)
	}
	if p.press("h"); p.session.Drive(1) == explore.High {
		t.Error("a pin of a chip without supply is driven")
	}
	p.shows("the supply is off")
	p.press("p")
	p.shows("supply on")
	p.press("p")
	p.shows("SUPPLY OFF")
}

func TestQuit(t *testing.T) {
	for _, key := range []string{"q", "ctrl+c"} {
		if p := sits(t, "7400", false); !quits(p.press(key)) || p.Err() != nil {
			t.Errorf("%s does not end it, or %v", key, p.Err())
		}
	}
	p := sits(t, "7400", false)
	p.press(":")
	if !quits(p.press("ctrl+c")) {
		t.Error("ctrl+c is typed")
	}
	p = sits(t, "7400", false)
	p.cancel() // as a signal does
	if cmd := p.press("h"); !quits(cmd) || !errors.Is(p.Err(), context.Canceled) || p.socket.Live() {
		t.Errorf("interrupted: %v, live %v", p.Err(), p.socket.Live())
	}
}

// All fits 80 columns by 24 lines, also packages of 28 pins, and the keys stay in sight.
func TestScreenFits(t *testing.T) {
	for _, typed := range []string{"7400", "7474", "74LS181", "74LS245", "4067"} {
		p := sits(t, typed, false)
		for _, size := range []tea.WindowSizeMsg{{Width: 80, Height: 24}, {Width: 132, Height: 50}, {Width: 40, Height: 10}} {
			p.Update(size)
			for _, table := range []bool{false, true} {
				lines := strings.Split(p.Draw(), "\n")
				if len(lines) != size.Height || !strings.HasPrefix(lines[len(lines)-1], "arrows tab") {
					t.Errorf("%s at %d by %d, table %v: %d lines:\n%s", typed, size.Width, size.Height, table, len(lines), p.Draw())
				}
				for _, line := range lines {
					if n := len([]rune(line)); n > size.Width {
						t.Errorf("%s: %d columns: %s", typed, n, line)
					}
				}
				p.press("t")
			}
		}
		p.Update(tea.WindowSizeMsg{Width: 60, Height: 24})
		p.shows("60 columns hide the right side: make it 80.")
		p.Update(tea.WindowSizeMsg{Width: 80, Height: 24})
		for _, pin := range p.session.Type.Variant.Pins {
			p.shows(pin.Name)
		}
	}
}
