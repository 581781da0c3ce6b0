package bench

import (
	"context"
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/assay/thresholds"
	"chipassay/host/virtual"
	"chipassay/vectors/part"
)

// clipping is a bench at which the thresholds of pin 1 are measured, with a person who clips.
func clipping(t *testing.T) (*Bench, *cable) {
	b, c := byHand(t, 0)
	b.means.Capacitor = func(c Capacitor, _ part.Type, _ *virtual.Socket, person Helper) (func(*assay.Plan), error) {
		if c.Marked != "1u" {
			return nil, errors.New("no such capacitor")
		}
		request := &thresholds.Request{Farads: 1e-6, Only: part.Pins(0).With(1, true), Clip: func(ctx context.Context, pin int) error {
			if pin == 0 {
				return nil
			}
			return person(ctx, "clip it on", []string{"discharge it"})
		}}
		return func(p *assay.Plan) { p.Thresholds = request }, nil
	}
	return b, c
}

// asked waits until the person is asked, when the supply is off.
func asked(t *testing.T, b *Bench, c *cable) {
	t.Helper()
	s := until(t, b, "asked", func(s State) bool { return s.Drawer.Asking != nil })
	assert.Equal(t, Asking{"clip it on", []string{"discharge it"}}, *s.Drawer.Asking)
	assert.True(t, s.Drawer.Standing.Testing)
	assert.False(t, c.live(), "the supply is off while a person clips")
}

// In the middle of a test a person is asked to clip a capacitor on; Enter says that it is done,
// and then the thresholds are measured: those of a 7414 are 1.5 to 2.0 V and 0.6 to 1.1 V (data
// book). Stop ends the wait too, and nothing is recorded.
func TestThresholdsInARun(t *testing.T) {
	b, c := clipping(t)
	require.NoError(t, b.Run(Order{Drawer: "D3", Part: "7414", Capacitor: Capacitor{Marked: " 1u "}}))
	until(t, b, "ready", waits)
	c.seat(t, "7414")
	asked(t, b, c)
	c.Lock()
	c.socket.Clip(virtual.Capacitor{Farads: 1e-6, P: adapter.PositionOf(1, 14)})
	c.Unlock()
	require.NoError(t, b.Start())
	s := until(t, b, "tested", func(s State) bool { return s.Drawer.Verdicts == 1 && waits(s) })
	assert.Nil(t, s.Drawer.Asking)
	assert.Contains(t, s.Message.Text, "take the capacitor off")
	require.NotEmpty(t, s.Drawer.Standing.Sheet.Thresholds)
	c.Lock()
	c.socket.Unclip()
	c.Unlock()
	require.NoError(t, b.Tell("retest"))
	asked(t, b, c)
	b.Stop()
	s = until(t, b, "stopped", waits)
	assert.Nil(t, s.Drawer.Asking)
	assert.False(t, c.live())
	assert.Nil(t, s.Drawer.Standing.Sheet)
	assert.Len(t, verdicts(t, b), 1)
	require.NoError(t, b.Start())
	until(t, b, "Enter is the run's again", func(s State) bool { return s.Message.Text != "" })
}

func TestCapacitorsThatAreRefused(t *testing.T) {
	b, _ := clipping(t)
	for _, o := range []Order{
		{Part: "7414", Capacitor: Capacitor{Marked: "2u"}}, {Part: "7414", Capacitor: Capacitor{Resistor: "10k"}}, {Part: "2114", Capacitor: Capacitor{Marked: "1u"}},
	} {
		o.Drawer = "D3"
		assert.ErrorIs(t, b.Run(o), ErrRefused, "%+v", o)
		s, _ := b.State()
		assert.Equal(t, Idle, s.Work)
	}
}
