package browser

import (
	"context"
	"crypto/tls"
	"errors"
	"net"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"waycall/internal/record"
	"waycall/internal/web"
	"waycall/internal/web/door"
	"waycall/internal/web/jobcache"
)

// serveLAN starts a server as --lan does: by TLS, entered by pairing.
func serveLAN(t *testing.T, dir string) (url string, code *door.Code, tries *[]error) {
	t.Helper()
	cert, _, err := door.Certificate(t.TempDir(), []net.IP{net.IPv4(127, 0, 0, 1)}, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	code, tries = door.NewCode(), new([]error)
	server := httptest.NewUnstartedServer(nil)
	pages, err := web.New(web.Options{
		Jobs: jobcache.NewFolder(dir), Hosts: []string{server.Listener.Addr().String()}, Secure: true, Code: code,
		Paired: func(err error) { *tries = append(*tries, err) }, // one request at a time here
	})
	if err != nil {
		t.Fatal(err)
	}
	server.Config.Handler = pages
	server.TLS = &tls.Config{Certificates: []tls.Certificate{cert}}
	server.EnableHTTP2 = true
	server.StartTLS()
	t.Cleanup(func() {
		pages.Close()
		server.CloseClientConnections()
		server.Close()
	})
	return server.URL, code, tries
}

// give types a code and sends it, as slowly as a person does.
func (b *tab) give(code string) {
	b.t.Helper()
	time.Sleep(1100 * time.Millisecond) // guesses are looked at once a second
	b.write("#code", code)
	b.leave(func() { b.keys("\r") })
}

func TestPairing(t *testing.T) {
	dir := t.TempDir()
	log := recorded(t, dir, until(t, wayThreeDue))
	url, code, tries := serveLAN(t, dir)
	tablet := newTab(t, 820, 1180)
	// The browser knows nobody who vouches for the certificate.
	ctx, stop := context.WithTimeout(tablet.ctx, patience)
	defer stop()
	if err := chromedp.Do(ctx, chromedp.Navigate(url)); err == nil || !strings.Contains(err.Error(), "CERT") {
		t.Errorf("without a look at the certificate: %v", err)
	}
	tablet.strangers()
	tablet.may("Failed to load resource: the server responded with a status of 403")
	shown, _ := code.Make()
	for _, path := range []string{"/", "/job/0123456789abcdef", "/live/0123456789abcdef"} {
		tablet.open(url + path)
		if at := eval[string](tablet, "location.pathname"); at != "/pair" {
			t.Errorf("without pairing %s leads to %s", path, at)
		}
	}
	for _, path := range []string{"/job/0123456789abcdef/sound/3", "/live/0123456789abcdef/events"} {
		if at := eval[string](tablet, `fetch("`+path+`").then(r => r.url + " " + r.headers.get("content-type"))`); !strings.HasSuffix(at, "/pair text/html; charset=utf-8") {
			t.Errorf("without pairing %s gives %s", path, at)
		}
	}
	tablet.give("AAAA-AAAA")
	tablet.has("That is not the code")
	if err := (*tries)[0]; !errors.Is(err, door.ErrWrongCode) {
		t.Errorf("the terminal is told of %v", err)
	}
	tablet.give(strings.ToLower(strings.ReplaceAll(shown, "-", " ")))
	tablet.until("location.pathname === '/'")
	tablet.has("TER-0107")

	cookies := call(tablet, network.GetCookies, network.GetCookiesParams{}).Cookies
	if len(cookies) != 1 {
		t.Fatalf("%d cookies", len(cookies))
	}
	c := cookies[0]
	if !c.HTTPOnly || !c.Secure || c.SameSite != network.CookieSameSiteStrict || !c.Session || !strings.HasPrefix(c.Name, "__Host-") {
		t.Errorf("the cookie is %+v", c)
	}
	if in := eval[string](tablet, "document.cookie"); in != "" {
		t.Errorf("a script of the page sees the cookie: %q", in)
	}

	// The live view, by TLS and HTTP/2.
	tablet.open(url + "/live/" + jobID(tablet))
	for _, e := range entries(t)[until(t, wayThreeDue):until(t, wayThreeRead)] {
		if _, err := log.Append(t.Context(), []record.Event{e.Event}, clips(t)[e.Clip]); err != nil {
			t.Fatal(err)
		}
	}
	tablet.until(`document.querySelector(".lv-state").innerText.includes("WAITS FOR CONFIRM") && document.querySelector(".lv-figure").innerText.includes("315")`)
	if how := eval[string](tablet, "performance.getEntriesByType('navigation')[0].nextHopProtocol"); how != "h2" {
		t.Errorf("the page came by %s", how)
	}

	// The code of the one is no use to another.
	other := newTab(t, 390, 844)
	other.strangers()
	other.may("Failed to load resource: the server responded with a status of 403")
	other.open(url)
	other.give(shown)
	other.has("no code is waiting")
	fresh, _ := code.Make()
	for range 5 {
		other.give("WRNG-WRNG")
	}
	other.has("spoilt by 5 wrong guesses")
	other.give(fresh)
	other.has("spoilt by 5 wrong guesses")
	tablet.open(url)
	tablet.has("TER-0107") // who is in stays in
}
