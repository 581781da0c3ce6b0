package main

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os/exec"
	"runtime"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/bench"
	"chipassay/host/identify"
	"chipassay/host/link"
	"chipassay/host/page"
	"chipassay/host/record"
	"chipassay/host/virtual"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

//go:embed bench.tray
var benchTray string

// benchFlags are the flags of the bench command.
type benchFlags struct {
	connection
	definitions *definitions
	file        recordsFile
	port        int
	noOpen      bool
	atLeast     time.Duration
	seed        uint64
	network     listening
}

func benchCommand(d *definitions) *cobra.Command {
	f := benchFlags{definitions: d}
	cmd := &cobra.Command{
		Use:   "bench",
		Short: "Open the bench page: everything at the bench in a browser",
		Long: `Open the bench page in your browser: test a drawer of chips, toggle the inputs of one,
identify a chip without a marking, find chips and their certificates again, check the
adapter. Without an adapter you practise with virtual chips.

The page is served to this computer alone, at an address that only you know. Close it
with Menu, Switch off, or Ctrl-C here: the supply goes off first.

` + listeningLong,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return f.run(cmd) },
	}
	f.file.flag(cmd)
	f.connection.flags(cmd)
	f.supplyFlag(cmd)
	atLeastFlag(cmd, &f.atLeast)
	flags := cmd.Flags()
	flags.IntVar(&f.port, "port", 0, "port on this computer (default: a free one)")
	flags.BoolVar(&f.noOpen, "no-open", false, "print the address only; do not open a browser")
	flags.Uint64Var(&f.seed, "seed", 1, "virtual adapter: random seed")
	flags.StringVar(&f.network.address, "listen", "", "also listen at ADDRESS:PORT of a network, for who knows the password")
	flags.BoolVar(&f.network.newPassword, "new-password", false, "with --listen: set another password")
	return cmd
}

func (f *benchFlags) run(cmd *cobra.Command) (err error) {
	if f.port < 0 || f.port > 65535 {
		return fmt.Errorf("--port %d: a port is 1 to 65535", f.port)
	}
	if err := f.connection.check(cmd); err != nil {
		return err
	}
	if err := notNegative(f.atLeast); err != nil {
		return err
	}
	if err := f.network.check(); err != nil {
		return err
	}
	ctx, off := context.WithCancel(cmd.Context())
	defer off()
	b := bench.New(f.means(cmd))
	defer func() { err = errors.Join(err, b.Close()) }()
	handler := page.New(b, f.definitions.open, off).Handler()
	network, err := f.network.entrance(ctx, cmd.OutOrStdout(), handler)
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", f.port))
	if err != nil {
		return fmt.Errorf("--port %d: %w: leave --port out, or name another", f.port, err)
	}
	guard := page.NewGuard(listener.Addr(), handler)
	doors := []*door{{listener, guard}}
	if err := b.Open(ctx); err != nil {
		return err
	}
	address := guard.Address(listener.Addr().String())
	fmt.Fprintf(cmd.OutOrStdout(), "The bench is at %s\n", address)
	if network != nil {
		network.opens(cmd.OutOrStdout())
		doors = append(doors, network)
	}
	fmt.Fprintln(cmd.OutOrStdout(), "Ctrl-C ends it and switches the supply off.")
	if !f.noOpen {
		openBrowser(address)
	}
	return serve(ctx, doors)
}

// A door is a listener with who stands at it.
type door struct {
	net.Listener
	handler http.Handler
}

// serve answers at all doors until the context is done, or one of them fails. Streams to
// the pages are cut then.
func serve(ctx context.Context, doors []*door) (err error) {
	ended := make(chan error, len(doors))
	var servers []*http.Server
	for _, d := range doors {
		s := &http.Server{Handler: d.handler, ReadHeaderTimeout: 10 * time.Second, MaxHeaderBytes: 64 << 10, BaseContext: func(net.Listener) context.Context { return ctx }}
		servers = append(servers, s)
		go func() { ended <- s.Serve(d) }()
	}
	select {
	case err = <-ended:
	case <-ctx.Done():
		time.Sleep(100 * time.Millisecond) // the answer to the one who switched off
	}
	for _, s := range servers {
		err = errors.Join(err, s.Close())
	}
	return err
}

// means are what the bench works with.
func (f *benchFlags) means(cmd *cobra.Command) bench.Means {
	d := f.definitions
	quiet := *d // a browser shows what is typed; nobody is asked at the terminal
	quiet.ask, quiet.say = nil, nil
	return bench.Means{
		Find: quiet.typed,
		Plan: func(t part.Type) (assay.Plan, error) {
			p, err := d.plan(t)
			p.AtLeast = f.atLeast
			return p, err
		},
		Memory: func(t part.Type) assay.MemoryPlan {
			test, _ := march.ByName(march.Default)
			return assay.MemoryPlan{Type: t, Test: test, Others: d.circuits, Memories: d.memories}
		},
		Capacitor: withCapacitor,
		Identify: func() (identify.Plan, error) {
			p, err := d.identification()
			p.AtLeast = f.atLeast
			return p, err
		},
		Adapter: func(ctx context.Context) (*adapter.Adapter, error) {
			if f.adapter == virtualAdapter {
				return nil, link.ErrNoAdapter
			}
			return f.connection.port(ctx, printing(cmd))
		},
		Board:   f.board,
		Tray:    func() ([]virtual.Place, error) { return virtual.ParseTray(strings.NewReader(benchTray), quiet.typed) },
		Seed:    f.seed,
		Records: func(ctx context.Context, virtual bool) (*record.Store, error) { return f.file.forChips(ctx, virtual) },
		Pace:    pace,
	}
}

// openBrowser opens an address in the person's browser; where that fails they have it in
// print.
func openBrowser(address string) {
	name, args := "xdg-open", []string{address}
	switch runtime.GOOS {
	case "darwin":
		name = "open"
	case "windows":
		name, args = "rundll32", []string{"url.dll,FileProtocolHandler", address}
	}
	if c := exec.Command(name, args...); c.Start() == nil {
		go c.Wait() // it is not left as a zombie
	}
}
