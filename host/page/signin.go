package page

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"html/template"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"time"

	"chipassay/host/report"
)

// mostSessions is how many browsers may be let in at a time: the oldest is forgotten then.
const mostSessions = 64

// sessions are the secrets of the browsers that were let in, the oldest first. They are
// nowhere but in memory.
type sessions struct {
	sync.Mutex
	list []string
}

// begin gives a new secret of 128 bits or more.
func (s *sessions) begin() string {
	s.Lock()
	defer s.Unlock()
	secret := rand.Text()
	s.list = append(s.list, secret)
	s.list = s.list[max(0, len(s.list)-mostSessions):]
	return secret
}

func (s *sessions) has(secret string) (found bool) {
	s.Lock()
	defer s.Unlock()
	for _, known := range s.list {
		found = same(secret, known) || found
	}
	return found
}

// After a wrong password nothing is tried for a second, by nobody: 86,400 tries a day at
// most. So many may wait for their turn; a try costs memory.
const (
	afterWrong  = time.Second
	mostWaiting = 8
)

// A signIn is the entrance by password.
type signIn struct {
	right func(password string) bool
	turn  chan struct{} // one try at a time
	queue chan struct{}
	pause func(time.Duration)
}

// NewSignIn stands before a handler that listens at an address of a network. Right reports
// whether a password is the one that lets in. The handler may be asked for by any of the
// computer's addresses, where it listens at all of them.
func NewSignIn(listens net.Addr, right func(password string) bool, next http.Handler) *Guard {
	g := newGuard(listens, next, Reached(listens)...)
	g.entrance = &signIn{right: right, turn: make(chan struct{}, 1), queue: make(chan struct{}, mostWaiting), pause: time.Sleep}
	return g
}

// Reached are the addresses by which a listener is reached: its own or, where it listens
// at all of them, those of the computer's interfaces.
func Reached(listens net.Addr) []netip.Addr {
	at := netip.MustParseAddrPort(listens.String()).Addr()
	if !at.IsUnspecified() {
		return []netip.Addr{at}
	}
	networks, err := net.InterfaceAddrs()
	if err != nil {
		return nil // localhost is left
	}
	var list []netip.Addr
	for _, n := range networks {
		if p, err := netip.ParsePrefix(n.String()); err == nil {
			list = append(list, p.Addr().Unmap())
		}
	}
	return list
}

// enter lets in who sends the password.
func (g *Guard) enter(w http.ResponseWriter, r *http.Request) {
	e := g.entrance
	http.NewResponseController(w).SetReadDeadline(time.Now().Add(10 * time.Second)) // what cannot have one is a test's
	r.Body = http.MaxBytesReader(w, r.Body, 8<<10)
	if err := r.ParseForm(); err != nil {
		e.show(w, "That is too long.")
		return
	}
	select {
	case e.queue <- struct{}{}:
		defer func() { <-e.queue }()
	default:
		e.show(w, "Too many tries at once. Wait a minute, then try again.")
		return
	}
	select {
	case e.turn <- struct{}{}:
		defer func() { <-e.turn }()
	case <-r.Context().Done():
		return
	}
	if !e.right(r.PostForm.Get("password")) {
		e.pause(afterWrong)
		e.show(w, "That is not the password.")
		return
	}
	g.letIn(w)
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

//go:embed signin.css
var signInStyle string

// signInPolicy allows nothing but the form's own style, by its digest.
var signInPolicy = func() string {
	sum := sha256.Sum256([]byte(signInStyle))
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
}()

// turnAway answers who is not let in: a person with the form, a script with a line.
func (e *signIn) turnAway(w http.ResponseWriter, r *http.Request) {
	if strings.Contains(r.Header.Get("Accept"), "text/html") {
		e.show(w, "")
		return
	}
	http.Error(w, "sign in again: reload this page", http.StatusForbidden)
}

// show answers with the form, and with what was wrong.
func (e *signIn) show(w http.ResponseWriter, wrong string) {
	var b bytes.Buffer
	form := struct {
		Style template.CSS // the program's own
		Wrong string
	}{template.CSS(signInStyle), wrong}
	if err := report.Execute(&b, templates, "sign-in", form); err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Security-Policy", signInPolicy)
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(http.StatusForbidden)
	w.Write(b.Bytes())
}
