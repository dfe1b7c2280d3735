package web

import (
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
)

// FuzzRequests sends whatever comes to the pages of a job. None may fail on the
// server's side, answer without its policy, or give a page with something active in it;
// and what is not a form of the review may not change the record.
func FuzzRequests(f *testing.F) {
	c, job, _ := office(f)
	id := strings.TrimPrefix(job, "/job/")
	for _, path := range pagesOf("/job/ID") {
		f.Add(path, "", false)
	}
	f.Add("/job/ID/edit", "board=2&way=1&test=Zs&position=0&replaces=9&value=0.46&reason=x&by=AB", true)
	f.Add("/job/ID/settle", "board=2&way=1&test=Zs&replaces=-1&reason=x&by=AB&back=queue&kind=fail&n=3", true)
	f.Add("/job/ID/withdraw", "board=1e9&way=\x00&test=&replaces=9223372036854775808", true)
	f.Add("/job/ID/sign", "name=A&by=A&agree=yes&sum=zz", true)
	f.Add("/job/ID/session?only=doubt&page=-9223372036854775808&at=99999999999999999999", "", false)
	f.Add("/job/ID/sound/9223372036854775807", "", false)
	f.Add("/job/ID/way/99/00", "", false)
	f.Add("//x/..%2f%00?;;=%zz", "%zz;&&=", true)
	f.Fuzz(func(t *testing.T, path, form string, post bool) {
		c := &client{t: t, server: c.server, host: c.host, cookie: c.cookie}
		path = strings.ReplaceAll(path, "ID", id)
		u, err := url.ParseRequestURI(path)
		if err != nil || u.Host != "" || !strings.HasPrefix(path, "/") {
			return
		}
		if strings.HasSuffix(u.Path, "/events") && strings.HasPrefix(u.Path, "/live/") {
			return // a stream, which does not end
		}
		method := http.MethodGet
		if post {
			method = http.MethodPost
		}
		r := &http.Request{Method: method, URL: u, Host: testHost, RequestURI: path, Header: http.Header{}, Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1,
			Body: http.NoBody}
		if post {
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			r.Header.Set("Sec-Fetch-Site", "same-origin")
			r.Body = io.NopCloser(strings.NewReader(form))
		}
		r.AddCookie(c.cookie)
		before := events(c, job)
		a := httptest.NewRecorder()
		c.server.ServeHTTP(a, r.WithContext(t.Context()))
		if a.Code >= 500 {
			t.Errorf("%s %q gave %d: %.300s", method, path, a.Code, text(a.Body.String()))
		}
		if a.Header().Get("Content-Security-Policy") == "" {
			t.Errorf("%s %q has no policy", method, path)
		}
		if strings.HasPrefix(a.Header().Get("Content-Type"), "text/html") {
			for _, what := range active(a.Body.String()) {
				t.Errorf("%s %q gave a page with %.200s", method, path, what)
			}
		}
		if after := events(c, job); after != before && (!post || a.Code != http.StatusSeeOther) {
			t.Errorf("%s %q gave %d and %d new events", method, path, a.Code, after-before)
		}
	})
}
