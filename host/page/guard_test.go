package page

import (
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// listensAt is where the guards of these tests listen.
func listensAt(address string) net.Addr {
	return net.TCPAddrFromAddrPort(netip.MustParseAddrPort(address))
}

// behindGuard is a handler that counts who reached it.
func behindGuard() (http.Handler, *int) {
	reached := new(int)
	return http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { *reached++; io.WriteString(w, "the bench") }), reached
}

// askGuard sends a request; each header is "Name: value".
func askGuard(g *Guard, method, target, body string, headers ...string) *http.Response {
	r := httptest.NewRequest(method, target, strings.NewReader(body))
	r.Host = "127.0.0.1:8123"
	if body != "" {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for _, h := range headers {
		name, value, _ := strings.Cut(h, ": ")
		if name == "Host" {
			r.Host = value
			continue
		}
		r.Header.Add(name, value)
	}
	w := httptest.NewRecorder()
	g.ServeHTTP(w, r)
	return w.Result()
}

func guardText(t *testing.T, r *http.Response) string {
	t.Helper()
	text, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	return string(text)
}

// cookieOf is the header of the one cookie that an answer sets.
func cookieOf(t *testing.T, r *http.Response) string {
	t.Helper()
	require.Len(t, r.Cookies(), 1)
	return "Cookie: " + r.Cookies()[0].Name + "=" + r.Cookies()[0].Value
}

// openedGuard is a guard of this computer, and the cookie that its token gave.
func openedGuard(t *testing.T) (*Guard, *int, string) {
	t.Helper()
	next, reached := behindGuard()
	g := NewGuard(listensAt("127.0.0.1:8123"), next)
	_, query, _ := strings.Cut(g.Address("127.0.0.1:8123"), "?")
	return g, reached, cookieOf(t, askGuard(g, "GET", "/?"+query, ""))
}

// Without token or cookie every address answers 403, whatever is asked for.
func TestStrangers(t *testing.T) {
	g, reached, cookie := openedGuard(t)
	name, _, _ := strings.Cut(strings.TrimPrefix(cookie, "Cookie: "), "=")
	for _, target := range []string{"/", "/adapter", "/live?view=bench&viewer=a", "/static/page.js", "/static/report.css", "/reading?part=7400", "/nothing", "/enter", "/?token=", "/?token=AAAAAAAAAAAAAAAAAAAAAAAAAA"} {
		for _, cookie := range []string{"", name + "=", name + "=AAAAAAAAAAAAAAAAAAAAAAAAAA", "bench=1"} {
			r := askGuard(g, "GET", target, "", "Cookie: "+cookie)
			assert.Equal(t, http.StatusForbidden, r.StatusCode, target)
			assert.Empty(t, r.Cookies(), target)
		}
	}
	for _, target := range []string{"/do/stop", "/do/off", "/enter"} {
		assert.Equal(t, http.StatusForbidden, askGuard(g, "POST", target, "password=x").StatusCode, target)
	}
	assert.Zero(t, *reached)
}

// The first address gives the cookie and leads to where it goes without the token, which
// then is in no address (OWASP Session Management Cheat Sheet, from memory: no session in a
// URL; HttpOnly, SameSite=Strict, a secret of 64 bits at least).
func TestToken(t *testing.T) {
	next, reached := behindGuard()
	g := NewGuard(listensAt("127.0.0.1:8123"), next)
	address, err := url.Parse(g.Address("127.0.0.1:8123"))
	require.NoError(t, err)
	token := address.Query().Get("token")
	assert.GreaterOrEqual(t, len(token), 26) // base32 of 128 bits

	r := askGuard(g, "GET", "/adapter?token="+token, "")
	require.Equal(t, http.StatusSeeOther, r.StatusCode)
	assert.Equal(t, "/adapter", r.Header.Get("Location"))
	c := r.Cookies()[0]
	assert.True(t, c.HttpOnly)
	assert.Equal(t, http.SameSiteStrictMode, c.SameSite)
	assert.Equal(t, "/", c.Path)
	assert.Empty(t, c.Domain) // of this host alone
	assert.NotEqual(t, token, c.Value)
	assert.GreaterOrEqual(t, len(c.Value), 26)
	assert.Zero(t, *reached)

	assert.Equal(t, http.StatusOK, askGuard(g, "GET", "/adapter", "", cookieOf(t, r)).StatusCode)
	assert.Equal(t, 1, *reached)
	assert.Equal(t, http.StatusForbidden, askGuard(g, "POST", "/do/off?token="+token, "").StatusCode)
	assert.NotEqual(t, token, NewGuard(listensAt("127.0.0.1:8123"), next).token)
}

// A name that another site has pointed at this computer is not an address of the bench
// (DNS rebinding), even where the browser has a cookie for it.
func TestHost(t *testing.T) {
	g, reached, cookie := openedGuard(t)
	for _, host := range []string{"attacker.example:8123", "127.0.0.1", "127.0.0.1:80", "127.0.0.1:81230", "127.0.0.1.attacker.example:8123", "localhost.attacker.example:8123",
		"192.168.1.20:8123", "0.0.0.0:8123", "[::]:8123", "localhost", "", "127.0.0.1:8123:8123"} {
		assert.Equal(t, http.StatusForbidden, askGuard(g, "GET", "/", "", cookie, "Host: "+host).StatusCode, host)
		assert.Equal(t, http.StatusForbidden, askGuard(g, "GET", "/?token="+g.token, "", "Host: "+host).StatusCode, host)
	}
	assert.Zero(t, *reached)
	for _, host := range []string{"127.0.0.1:8123", "localhost:8123", "LocalHost:8123", "[::1]:8123"} {
		assert.Equal(t, http.StatusOK, askGuard(g, "GET", "/", "", cookie, "Host: "+host).StatusCode, host)
	}
}

// A request that changes something and comes from another site does nothing, whatever
// cookie it has: Origin is of WHATWG Fetch, 3.2, Sec-Fetch-Site of W3C Fetch Metadata (OWASP
// Cross-Site Request Forgery Prevention Cheat Sheet; all from memory). What a browser does
// not send cannot be judged: a program on this computer has no cookie.
func TestCrossSite(t *testing.T) {
	g, reached, cookie := openedGuard(t)
	for _, c := range []struct {
		headers []string
		want    int
	}{
		{[]string{"Sec-Fetch-Site: same-origin", "Origin: http://127.0.0.1:8123"}, http.StatusOK},
		{[]string{"Origin: http://127.0.0.1:8123"}, http.StatusOK}, // on a network: no metadata without TLS
		{nil, http.StatusOK},
		{[]string{"Sec-Fetch-Site: cross-site", "Origin: https://attacker.example"}, http.StatusForbidden},
		{[]string{"Sec-Fetch-Site: same-site", "Origin: http://127.0.0.1:9000"}, http.StatusForbidden},
		{[]string{"Sec-Fetch-Site: cross-site"}, http.StatusForbidden},
		{[]string{"Origin: https://attacker.example"}, http.StatusForbidden},
		{[]string{"Origin: http://127.0.0.1:9000"}, http.StatusForbidden}, // another server of this computer
		{[]string{"Origin: null"}, http.StatusForbidden},                  // a sandboxed frame, a file
	} {
		*reached = 0
		for _, method := range []string{"POST", "PUT", "DELETE"} {
			r := askGuard(g, method, "/do/off", "", append(c.headers, cookie)...)
			assert.Equal(t, c.want, r.StatusCode, "%s %v", method, c.headers)
		}
		assert.Equal(t, c.want == http.StatusOK, *reached > 0, c.headers)
	}
}

// Every answer, to whomever, says that no script or style but the server's own is run, that
// nobody frames the page, and that nothing is kept or sniffed (W3C CSP 3; OWASP HTTP Headers
// and Clickjacking Defense Cheat Sheets, from memory).
func TestHeaders(t *testing.T) {
	g, _, cookie := openedGuard(t)
	network, _ := signedIn(t)
	for _, r := range []*http.Response{
		askGuard(g, "GET", "/", "", cookie), askGuard(g, "GET", "/", ""), askGuard(g, "GET", "/?token="+g.token, ""), askGuard(g, "GET", "/", "", "Host: attacker.example"),
		askGuard(g, "POST", "/do/off", "", cookie, "Origin: null"), askGuard(network, "GET", "/", "", "Accept: text/html"), askGuard(network, "GET", "/", ""),
	} {
		csp := r.Header.Get("Content-Security-Policy")
		for _, want := range []string{"default-src 'none'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'"} {
			assert.Contains(t, csp, want)
		}
		assert.NotContains(t, csp, "unsafe")
		assert.NotContains(t, csp, "*")
		assert.Equal(t, "nosniff", r.Header.Get("X-Content-Type-Options"))
		assert.Equal(t, "same-origin", r.Header.Get("Referrer-Policy"))
		assert.Equal(t, "no-store", r.Header.Get("Cache-Control"))
		assert.Equal(t, "same-origin", r.Header.Get("Cross-Origin-Opener-Policy"))
		assert.Equal(t, "same-origin", r.Header.Get("Cross-Origin-Resource-Policy"))
		assert.Empty(t, r.Header.Get("Access-Control-Allow-Origin"))
	}
}

const rightPassword = "seven drawers"

// signedIn is a guard of a network that pauses for no time, and the pauses that it made.
func signedIn(t *testing.T) (*Guard, *[]time.Duration) {
	t.Helper()
	next, _ := behindGuard()
	g := NewSignIn(listensAt("127.0.0.1:8123"), func(p string) bool { return p == rightPassword }, next)
	pauses := new([]time.Duration)
	g.entrance.pause = func(d time.Duration) { *pauses = append(*pauses, d) }
	return g, pauses
}

func tryPassword(g *Guard, password string, headers ...string) *http.Response {
	return askGuard(g, "POST", "/enter", url.Values{"password": {password}}.Encode(), headers...)
}

// On a network every address answers 403 with the form, which needs no script, and whose
// style the policy allows by its digest (W3C CSP 3, 2.3.1). A script gets a line.
func TestSignInForm(t *testing.T) {
	g, _ := signedIn(t)
	for _, target := range []string{"/", "/enter", "/adapter", "/static/page.css", "/nothing", "/?token=", "/?token=" + g.token} {
		r := askGuard(g, "GET", target, "", "Accept: text/html,application/xhtml+xml")
		text := guardText(t, r)
		assert.Equal(t, http.StatusForbidden, r.StatusCode, target)
		assert.Contains(t, text, `<form method="post" action="/enter">`, target)
		assert.NotContains(t, text, "<script", target)
		_, rest, _ := strings.Cut(text, "<style>")
		style, _, _ := strings.Cut(rest, "</style>")
		sum := sha256.Sum256([]byte(style))
		assert.Contains(t, r.Header.Get("Content-Security-Policy"), "style-src 'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'")
	}
	r := askGuard(g, "POST", "/do/off", "", "Accept: */*")
	assert.Equal(t, http.StatusForbidden, r.StatusCode)
	assert.Equal(t, "sign in again: reload this page\n", guardText(t, r))
}

// Who knows the password is let in, with a secret of their own.
func TestSignIn(t *testing.T) {
	g, pauses := signedIn(t)
	first, second := tryPassword(g, rightPassword), tryPassword(g, rightPassword)
	for _, r := range []*http.Response{first, second} {
		require.Equal(t, http.StatusSeeOther, r.StatusCode)
		assert.Equal(t, "/", r.Header.Get("Location"))
		c := r.Cookies()[0]
		assert.True(t, c.HttpOnly)
		assert.Equal(t, http.SameSiteStrictMode, c.SameSite)
		assert.Equal(t, http.StatusOK, askGuard(g, "GET", "/", "", cookieOf(t, r)).StatusCode)
	}
	assert.NotEqual(t, cookieOf(t, first), cookieOf(t, second))
	assert.Empty(t, *pauses)

	other, _ := signedIn(t) // the program was started again, as after another password
	assert.Equal(t, http.StatusForbidden, askGuard(other, "GET", "/", "", cookieOf(t, first)).StatusCode)
	computer, _, cookie := openedGuard(t)
	assert.Equal(t, http.StatusForbidden, askGuard(computer, "GET", "/", "", cookieOf(t, first)).StatusCode)
	assert.Equal(t, http.StatusForbidden, askGuard(g, "GET", "/", "", cookie).StatusCode)
}

// A wrong password is said to be wrong, after a second in which no other is tried (OWASP
// Authentication Cheat Sheet, from memory: slow down guessing).
func TestWrongPassword(t *testing.T) {
	g, pauses := signedIn(t)
	for i, wrong := range []string{"", "seven drawer", rightPassword + " ", "Seven drawers"} {
		r := tryPassword(g, wrong)
		assert.Equal(t, http.StatusForbidden, r.StatusCode)
		assert.Empty(t, r.Cookies())
		assert.Contains(t, guardText(t, r), "That is not the password.")
		require.Len(t, *pauses, i+1)
		assert.Equal(t, time.Second, (*pauses)[i])
	}
	for _, r := range []*http.Response{
		askGuard(g, "GET", "/enter?password="+url.QueryEscape(rightPassword), ""),
		askGuard(g, "POST", "/enter?password="+url.QueryEscape(rightPassword), "x=1"), // not in an address, which is kept in histories
		askGuard(g, "POST", "/", url.Values{"password": {rightPassword}}.Encode()),
		tryPassword(g, rightPassword, "Origin: https://attacker.example"),
		tryPassword(g, rightPassword, "Sec-Fetch-Site: cross-site"),
		tryPassword(g, rightPassword, "Host: attacker.example:8123"),
		tryPassword(g, strings.Repeat("x", 9000)+rightPassword),
	} {
		assert.Equal(t, http.StatusForbidden, r.StatusCode)
		assert.Empty(t, r.Cookies())
	}
	assert.Len(t, *pauses, 5, "more than the one with another field was tried")
}

// One password is tried at a time, by all; who comes when many wait is told so.
func TestOneTryAtATime(t *testing.T) {
	next, _ := behindGuard()
	tried := 0 // not guarded: the race detector would see two at a time
	g := NewSignIn(listensAt("127.0.0.1:8123"), func(p string) bool { tried++; return p == rightPassword }, next)
	pausing, goOn := make(chan bool), make(chan bool)
	g.entrance.pause = func(time.Duration) { pausing <- true; <-goOn }
	answers := make(chan *http.Response)
	go func() { answers <- tryPassword(g, "wrong") }()
	<-pausing
	for range mostWaiting - 1 {
		go func() { answers <- tryPassword(g, rightPassword) }()
	}
	for len(g.entrance.queue) < mostWaiting {
		runtime.Gosched()
	}
	assert.Equal(t, 1, tried, "a password was tried in the pause after a wrong one")
	assert.Contains(t, guardText(t, tryPassword(g, rightPassword)), "Too many tries at once")
	assert.Equal(t, 1, tried)
	goOn <- true
	statuses := map[int]int{}
	for range mostWaiting {
		statuses[(<-answers).StatusCode]++
	}
	assert.Equal(t, map[int]int{http.StatusForbidden: 1, http.StatusSeeOther: mostWaiting - 1}, statuses)
	assert.Equal(t, mostWaiting, tried)
}

// The oldest of many sessions is forgotten, the others are not.
func TestManySessions(t *testing.T) {
	g, _ := signedIn(t)
	var cookies []string
	for range mostSessions + 1 {
		cookies = append(cookies, cookieOf(t, tryPassword(g, rightPassword)))
	}
	for i, c := range cookies {
		want := http.StatusOK
		if i == 0 {
			want = http.StatusForbidden
		}
		assert.Equal(t, want, askGuard(g, "GET", "/", "", c).StatusCode, i)
	}
}

// A bench that listens at all addresses is asked for by each of the computer's, as its
// interfaces have them, and by no other; one that listens at one, by that.
func TestNetworkHosts(t *testing.T) {
	interfaces, err := net.Interfaces()
	require.NoError(t, err)
	var own []string
	for _, i := range interfaces {
		addresses, err := i.Addrs()
		require.NoError(t, err)
		for _, a := range addresses {
			own = append(own, net.JoinHostPort(a.(*net.IPNet).IP.String(), "8123"))
		}
	}
	require.NotEmpty(t, own)
	next, _ := behindGuard()
	all := func(string) bool { return true }
	for _, listens := range []string{"0.0.0.0:8123", "[::]:8123"} {
		g := NewSignIn(listensAt(listens), all, next)
		for _, host := range append(own, "localhost:8123") {
			assert.Equal(t, http.StatusSeeOther, tryPassword(g, "", "Host: "+host).StatusCode, host)
		}
		for _, host := range []string{"192.0.2.1:8123", "0.0.0.0:8123", "[::]:8123", "workshop.example:8123"} { // RFC 5737: nobody's
			assert.Equal(t, http.StatusForbidden, tryPassword(g, "", "Host: "+host).StatusCode, host)
		}
	}
	g := NewSignIn(listensAt("192.0.2.20:8123"), all, next)
	for host, want := range map[string]int{"192.0.2.20:8123": http.StatusSeeOther, "localhost:8123": http.StatusSeeOther, "127.0.0.1:8123": http.StatusForbidden, "192.0.2.21:8123": http.StatusForbidden} {
		assert.Equal(t, want, tryPassword(g, "", "Host: "+host).StatusCode, host)
	}
	assert.Equal(t, "[192.0.2.20]", fmt.Sprint(Reached(listensAt("192.0.2.20:8123"))))
}
