package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"net/netip"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/term"

	"chipassay/host/page"
	"chipassay/host/password"
)

// A listening is a bench that a network reaches too.
type listening struct {
	address     string // empty: none does
	newPassword bool
}

// listeningLong explains it.
const listeningLong = `With --listen a phone in the workshop reaches the bench, by a password that you are
asked for the first time. Whoever knows it can switch the adapter's supply and read and
write your records, and what is sent is not encrypted: use it in your own network only.`

// check refuses what cannot be an address, before anything is opened.
func (l *listening) check() error {
	if l.address == "" {
		if l.newPassword {
			return errors.New("--new-password is for a bench that listens: add --listen ADDRESS:PORT")
		}
		return nil
	}
	if _, err := netip.ParseAddrPort(l.address); err != nil {
		return fmt.Errorf("--listen takes ADDRESS:PORT, such as 192.168.1.20:8080, or 0.0.0.0:8080 for all addresses of this computer, not %q", l.address)
	}
	return nil
}

// entrance listens on the network and stands before a handler; nil for none.
func (l *listening) entrance(ctx context.Context, out io.Writer, next http.Handler) (*door, error) {
	if l.address == "" {
		return nil, nil
	}
	listener, err := net.Listen("tcp", l.address)
	if err != nil {
		return nil, fmt.Errorf("--listen %s: %w", l.address, err)
	}
	hash, err := l.password(ctx, out)
	if err != nil {
		return nil, errors.Join(err, listener.Close())
	}
	return &door{listener, page.NewSignIn(listener.Addr(), hash.Is, next)}, nil
}

// passwordPath is the file of the password's hash.
func passwordPath() (string, error) {
	config, err := os.UserConfigDir()
	if err != nil {
		return "", err
	}
	return filepath.Join(config, "chipassay", "bench-password"), nil
}

// password is that of the bench: kept, or asked for and kept.
func (l *listening) password(ctx context.Context, out io.Writer) (password.Hash, error) {
	name, err := passwordPath()
	if err != nil {
		return password.Hash{}, err
	}
	if !l.newPassword {
		hash, err := password.Read(name)
		switch {
		case errors.Is(err, password.ErrDamaged):
			return hash, fmt.Errorf("%w: set another with --new-password", err)
		case !errors.Is(err, fs.ErrNotExist):
			return hash, err
		}
	}
	hash, err := askNewPassword(ctx, out)
	if err != nil {
		return hash, err
	}
	if err := hash.Write(name); err != nil {
		return hash, fmt.Errorf("the password was not kept: %w", err)
	}
	fmt.Fprintf(out, "The password is kept, hashed, in %s\n", name)
	return hash, nil
}

// askNewPassword asks for a password at the terminal, twice, without echo.
func askNewPassword(ctx context.Context, out io.Writer) (hash password.Hash, err error) {
	stdin := int(os.Stdin.Fd())
	if !term.IsTerminal(stdin) {
		return hash, errors.New("a password is needed for --listen: run this at a terminal once, which asks for it")
	}
	before, err := term.MakeRaw(stdin) // before anything is asked: nothing that is typed may be echoed
	if err != nil {
		return hash, err
	}
	defer func() {
		if restoreErr := term.Restore(stdin, before); err != nil || restoreErr != nil {
			fmt.Fprintln(out) // the prompt's line may not have ended
			err = errors.Join(err, restoreErr)
		}
	}()
	screen := term.NewTerminal(struct {
		io.Reader
		io.Writer
	}{os.Stdin, out}, "")
	first, err := hidden(ctx, screen, fmt.Sprintf("Password for the bench on the network, at least %d characters: ", password.LeastCharacters))
	if err != nil {
		return hash, err
	}
	if hash, err = password.New(first); err != nil {
		return hash, err
	}
	second, err := hidden(ctx, screen, "Once more: ")
	if err == nil && second != first {
		err = errors.New("the two are not the same: nothing was changed, start again")
	}
	return hash, err
}

// hidden reads a line that is not shown. Ctrl-C, and the end of the context, end the
// program without a word.
func hidden(ctx context.Context, screen *term.Terminal, prompt string) (string, error) {
	type line struct {
		text string
		err  error
	}
	read := make(chan line, 1)
	go func() {
		text, err := screen.ReadPassword(prompt)
		read <- line{text, err}
	}()
	ended := &statusError{status: exitCouldNotTest}
	select {
	case l := <-read:
		if errors.Is(l.err, io.EOF) {
			return "", ended
		}
		return l.text, l.err
	case <-ctx.Done():
		return "", ended
	}
}

// opens says what a door on a network opens, and where it is.
func (d *door) opens(out io.Writer) {
	_, port, _ := net.SplitHostPort(d.Addr().String())
	var reached []string
	for _, a := range page.Reached(d.Addr()) {
		if !a.IsLinkLocalUnicast() && !(a.IsLoopback() && netip.MustParseAddrPort(d.Addr().String()).Addr().IsUnspecified()) {
			reached = append(reached, "http://"+net.JoinHostPort(a.WithZone("").String(), port)+"/")
		}
	}
	fmt.Fprintf(out, `From the network it is at %s with the password.
Anyone on this network who knows the password can switch the adapter's supply and read
and write your records; what is sent is not encrypted. Without --listen only this
computer reaches it.
`, strings.Join(reached, " and "))
}
