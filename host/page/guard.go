package page

import (
	"crypto/rand"
	"crypto/subtle"
	"net"
	"net/http"
	"net/netip"
	"strings"
)

// A Guard lets in who has the token of the first address, and from then on the cookie
// that was given for it. It stands before a Handler.
//
// It keeps out other sites that the same browser has open, and names that another site has
// pointed at this computer: the Host must be an address of this server, and a request that
// changes something must come from one of its own pages (net/http's CrossOriginProtection;
// the cookie is SameSite=Strict besides).
type Guard struct {
	token, session string
	cookie         string // its name; of the port, for several benches may be open
	hosts          map[string]bool
	next           http.Handler
}

// NewGuard stands before a handler that listens at an address.
func NewGuard(listens net.Addr, next http.Handler) *Guard {
	at := netip.MustParseAddrPort(listens.String())
	_, port, _ := net.SplitHostPort(listens.String())
	g := &Guard{token: rand.Text(), session: rand.Text(), cookie: "bench-" + port, hosts: map[string]bool{}, next: http.NewCrossOriginProtection().Handler(next)}
	for _, name := range []string{at.Addr().String(), "localhost", "127.0.0.1", "::1"} {
		g.hosts[net.JoinHostPort(name, port)] = true
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
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
	switch {
	case !g.hosts[strings.ToLower(r.Host)]:
		http.Error(w, "not an address of this bench", http.StatusForbidden)
	case r.Method == http.MethodGet && same(r.URL.Query().Get("token"), g.token):
		http.SetCookie(w, &http.Cookie{Name: g.cookie, Value: g.session, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
		http.Redirect(w, r, r.URL.Path, http.StatusSeeOther)
	case !g.known(r):
		http.Error(w, "open the address that chipassay bench printed", http.StatusForbidden)
	default:
		g.next.ServeHTTP(w, r)
	}
}

// known reports whether a request has the cookie.
func (g *Guard) known(r *http.Request) bool {
	c, err := r.Cookie(g.cookie)
	return err == nil && same(c.Value, g.session)
}

// same compares secrets.
func same(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }
