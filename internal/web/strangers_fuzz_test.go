package web

import (
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"waycall/internal/web/door"
)

// FuzzStrangers sends whatever comes from browsers without a session, and from other
// sites: nothing of a job may come back, nothing may change, and nobody gets a session
// without the key.
func FuzzStrangers(f *testing.F) {
	code := door.NewCode() // none is made, so that no guess is right
	c, job, _ := office(f, func(o *Options) { o.Code = code })
	id := strings.TrimPrefix(job, "/job/")
	for _, path := range append(pagesOf("/job/ID"), "/pair", "/assets/", "/assets/../job/ID", "/enter/", "/enter/KEY", "//job/ID", "/live/ID/events", "/%6aob/ID") {
		f.Add("GET", path, testHost, "", "", "", "")
	}
	f.Add("POST", "/pair", testHost, "NAME=x", "same-origin", "http://"+testHost, "code=ABCD-EFGH")
	f.Add("POST", "/job/ID/sign", testHost, "NAME=x; NAME=y", "cross-site", "http://example.test", "name=A&by=A&agree=yes&sum=zz")
	f.Add("HEAD", "/job/ID", "example.test", "NAME=", "none", "null", "")
	f.Add("PUT", "/job/ID/edit", testHost, "\x00=;;", "", "", "")
	f.Fuzz(func(t *testing.T, method, path, host, cookie, site, origin, form string) {
		c := &client{t: t, server: c.server, host: c.host, cookie: c.cookie}
		path = strings.ReplaceAll(path, "ID", id)
		u, err := url.ParseRequestURI(path)
		if err != nil || u.Host != "" || !strings.HasPrefix(path, "/") {
			return
		}
		r := &http.Request{Method: method, URL: u, Host: host, RequestURI: path, Header: http.Header{}, Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1,
			RemoteAddr: "127.0.0.1:1", Body: io.NopCloser(strings.NewReader(form))}
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		for name, value := range map[string]string{"Cookie": strings.ReplaceAll(cookie, "NAME", c.cookie.Name), "Sec-Fetch-Site": site, "Origin": origin} {
			if value != "" {
				r.Header.Set(name, value)
			}
		}
		before := events(c, job)
		a := httptest.NewRecorder()
		c.server.ServeHTTP(a, r.WithContext(t.Context()))
		if a.Code >= 500 {
			t.Errorf("%s %q gave %d: %.300s", method, path, a.Code, text(a.Body.String()))
		}
		for _, secret := range []string{"WKS", "Example Yard", c.server.s.Key, c.cookie.Value} {
			if strings.Contains(a.Body.String(), secret) {
				t.Errorf("%s %q shows %q", method, path, secret)
			}
		}
		if len(a.Result().Cookies()) > 0 {
			t.Errorf("%s %q begins a session", method, path)
		}
		if a.Header().Get("Content-Security-Policy") == "" {
			t.Errorf("%s %q has no policy", method, path)
		}
		if events(c, job) != before {
			t.Errorf("%s %q changed the record", method, path)
		}
	})
}
