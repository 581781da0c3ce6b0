package page

import (
	"crypto/rand"
	"crypto/subtle"
	"net"
	"net/http"
	"net/netip"
	"strings"
)

// A Guard lets in who has been given its cookie: for the token of the first address on
// this computer (NewGuard), or for the password on a network (NewSignIn). It stands before
// a Handler.
//
// It keeps out other sites that the same browser has open, and names that another site has
// pointed at this computer: the Host must be an address of this server, and a request that
// changes something must come from one of its own pages (net/http's CrossOriginProtection;
// the cookie is SameSite=Strict besides).
type Guard struct {
	token    string  // empty: none lets in
	entrance *signIn // nil: no password lets in
	sessions sessions
	cookie   string          // its name; of the port, for several benches may be open
	hosts    map[string]bool // with the port
	cross    *http.CrossOriginProtection
	next     http.Handler
}

// NewGuard stands before a handler that listens at an address of this computer alone.
func NewGuard(listens net.Addr, next http.Handler) *Guard {
	g := newGuard(listens, next, netip.MustParseAddr("127.0.0.1"), netip.IPv6Loopback())
	g.token = rand.Text()
	return g
}

// newGuard is a guard that lets nobody in yet. Its handler may be asked for by the address
// at which it listens, by others, and as localhost.
func newGuard(listens net.Addr, next http.Handler, others ...netip.Addr) *Guard {
	at := netip.MustParseAddrPort(listens.String())
	_, port, _ := net.SplitHostPort(listens.String())
	g := &Guard{cookie: "bench-" + port, hosts: map[string]bool{}, cross: http.NewCrossOriginProtection(), next: next}
	g.hosts[net.JoinHostPort("localhost", port)] = true
	for _, a := range append(others, at.Addr()) {
		if !a.IsUnspecified() {
			g.hosts[net.JoinHostPort(a.WithZone("").String(), port)] = true
		}
	}
	return g
}

// Address is the first address that a person opens.
func (g *Guard) Address(host string) string { return "http://" + host + "/?token=" + g.token }

// policy is the Content-Security-Policy (W3C, CSP Level 3) of the pages: scripts and styles
// only from the server's own files.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; media-src blob:; " +
	"connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

func (g *Guard) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "same-origin") // "no-referrer" would make the Origin of a form null
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
	switch {
	case !g.hosts[strings.ToLower(r.Host)]:
		http.Error(w, "not an address of this bench", http.StatusForbidden)
	case g.cross.Check(r) != nil:
		http.Error(w, "this was asked for by another site", http.StatusForbidden)
	case g.token != "" && r.Method == http.MethodGet && same(r.URL.Query().Get("token"), g.token):
		g.letIn(w)
		http.Redirect(w, r, r.URL.Path, http.StatusSeeOther)
	case g.entrance != nil && r.Method == http.MethodPost && r.URL.Path == "/enter":
		g.enter(w, r)
	case g.known(r):
		g.next.ServeHTTP(w, r)
	case g.entrance != nil:
		g.entrance.turnAway(w, r)
	default:
		http.Error(w, "open the address that chipassay bench printed", http.StatusForbidden)
	}
}

// letIn gives a browser the cookie of a session of its own.
func (g *Guard) letIn(w http.ResponseWriter) {
	http.SetCookie(w, &http.Cookie{Name: g.cookie, Value: g.sessions.begin(), Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
}

// known reports whether a request has the cookie of a session.
func (g *Guard) known(r *http.Request) bool {
	c, err := r.Cookie(g.cookie)
	return err == nil && g.sessions.has(c.Value)
}

// same compares secrets.
func same(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }
