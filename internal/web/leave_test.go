package web

import (
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"waycall/internal/web/jobcache"
)

// Clients at once leave the whole server at each point of an answer, over TCP, on every
// page and sound, let in by the door and not: it goes on to serve. In the long form they are
// three hundred each.
func TestClientsLeave(t *testing.T) {
	many := 40
	if os.Getenv("WAYCALL_TEST_LONG") != "" {
		many = 300
	}
	web := httptest.NewUnstartedServer(nil)
	host := web.Listener.Addr().String()
	c, job, dir := office(t, func(o *Options) {
		o.Hosts, o.Linger = append(o.Hosts, host), time.Millisecond
	})
	web.Config.Handler = c.server
	web.Start()
	t.Cleanup(func() {
		web.CloseClientConnections()
		web.Close()
	})
	// A job that cannot be read is left by the server itself.
	if err := os.WriteFile(filepath.Join(dir, "DAMAGED.waycall"), []byte("this is no record"), 0o600); err != nil {
		t.Fatal(err)
	}
	live := "/live/" + strings.TrimPrefix(job, "/job/")
	paths := append(pagesOf(job), live+"/events", live+"/events?after=3", "/live/none/events", "/live/"+jobcache.IDOf("DAMAGED"), job+"/sound/3", job+"/sound/none",
		assetOf(t, c), "/enter/none", job+"/schedule.csv", job+"/schedule.pdf", "stranger")
	for _, path := range paths {
		request := fmt.Sprintf("GET %s HTTP/1.1\r\nHost: %s\r\nCookie: %s=%s\r\n\r\n", path, host, c.cookie.Name, c.cookie.Value)
		if path == "stranger" {
			request = fmt.Sprintf("GET %s HTTP/1.1\r\nHost: %s\r\n\r\n", job, host)
		}
		clients := many
		if strings.HasSuffix(path, ".pdf") { // each is laid out anew
			clients = many / 10
		}
		var gone sync.WaitGroup
		for n := range clients {
			gone.Go(func() {
				conn, err := net.Dial("tcp", host)
				if err != nil {
					t.Error(err)
					return
				}
				defer conn.Close()
				if n%2 == 0 {
					_ = conn.(*net.TCPConn).SetLinger(0) // with a reset
				}
				switch n % 5 {
				case 0: // before it asks
				case 1:
					_, err = io.WriteString(conn, request[:len(request)/2])
				case 2:
					_, err = io.WriteString(conn, request)
				default: // in the headers, in what follows
					if _, err = io.WriteString(conn, request); err == nil {
						_, err = io.ReadFull(conn, make([]byte, 1+n%150))
					}
				}
				if err != nil {
					t.Errorf("%s: %v", path, err)
				}
			})
		}
		gone.Wait()
	}
	for _, path := range pagesOf(job) {
		r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, web.URL+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		r.AddCookie(c.cookie)
		a, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		if a.Body.Close(); a.StatusCode != http.StatusOK {
			t.Errorf("after it, %s gave %d", path, a.StatusCode)
		}
	}
}

// assetOf is the path of a file that the pages take in.
func assetOf(t *testing.T, c *client) string {
	t.Helper()
	m := regexp.MustCompile(`/assets/[^"]+`).FindString(c.get("/"))
	if m == "" {
		t.Fatal("the pages take in no file")
	}
	return m
}
