package page

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/bench"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// A cable is the line to an adapter with a chip in its socket, until it is pulled out.
type cable struct {
	sync.Mutex
	link.Conn
	socket *virtual.Socket
	pulled bool
}

func (c *cable) Read(p []byte) (int, error)  { return c.pass(p, c.Conn.Read) }
func (c *cable) Write(p []byte) (int, error) { return c.pass(p, c.Conn.Write) }
func (*cable) Close() error                  { return nil }

func (c *cable) pass(p []byte, by func([]byte) (int, error)) (int, error) {
	c.Lock()
	defer c.Unlock()
	if c.pulled {
		return 0, link.ErrUnplugged
	}
	return by(p)
}

// A cable that is pulled out in the middle of a test is said on the page, and that all
// records are safe; plugged in again, the run goes on.
func TestUnpluggedInTheMiddleOfATest(t *testing.T) {
	typ, err := library.Open("7400")
	require.NoError(t, err)
	chip, err := virtual.NewChip(typ)
	require.NoError(t, err)
	c := &cable{socket: virtual.NewBoard().Socket(chip, 1)}
	c.Conn, err = virtual.Open(t.Context(), c.socket)
	require.NoError(t, err)
	s := serve(t, twoChips, func(m *bench.Means) {
		m.Adapter = func(ctx context.Context) (*adapter.Adapter, error) { return adapter.Open(ctx, link.New(c, 0)) }
		m.Pace = time.Millisecond
		m.Plan = func(typ part.Type) (assay.Plan, error) {
			p, err := assay.NewPlan(typ, nil)
			p.AtLeast = time.Hour
			return p, err
		}
	})
	page := tab(t, s.address)
	until(t, page, shows("Discharge yourself"))
	do(t, page, chromedp.SetValue(`form[data-do="run"] [name="part"]`, "7400"), chromedp.Click(`form[data-do="run"] button.main`))
	until(t, page, `document.querySelector(".word")?.innerText.includes("TESTING")`)
	require.Eventually(t, func() bool { c.Lock(); defer c.Unlock(); return c.socket.Live() }, 20*time.Second, time.Millisecond)
	c.Lock()
	c.pulled = true
	c.Unlock()
	until(t, page, shows("The adapter does not answer: check its cable"))
	c.Lock()
	c.pulled = false
	c.Unlock()
	until(t, page, `!`+shows("The adapter does not answer"))
	require.Eventually(t, func() bool { c.Lock(); defer c.Unlock(); return !c.socket.Live() }, 20*time.Second, time.Millisecond)
}
