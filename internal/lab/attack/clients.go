package attack

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"time"
)

const (
	groupClients = "clients of the review"
	serves       = "the server lives, serves others meanwhile, and gives its handles back"
)

var clientAttacks = []Attack{
	{Name: "early-leavers", Group: groupClients, Title: "300 followers of a live view that leave at once, at every point", Bar: "the server lives after more than the time for which it keeps an idle view", Long: 3, Short: 1, Trial: clients(300, leaveEarly, 36*time.Second)},
	{Name: "slow-headers", Group: groupClients, Title: "600 requests whose headers come a byte at a time", Bar: serves, Long: 1, Short: 0, Trial: clients(600, slowHeader, 0)},
	{Name: "slow-bodies", Group: groupClients, Title: "300 forms whose body never ends", Bar: serves, Long: 1, Short: 0, Trial: clients(300, slowBody, 0)},
	{Name: "connections", Group: groupClients, Title: "2,000 connections that say nothing, or open and close", Bar: serves, Long: 1, Short: 0, Trial: clients(2000, sayNothing, 0)},
	{Name: "live-views", Group: groupClients, Title: "2,000 followers of a live view who do not read", Bar: serves, Long: 1, Short: 0, Trial: clients(2000, followOnly, 0)},
	{Name: "odd-requests", Group: groupClients, Title: "requests with odd methods, hosts, paths, headers and bodies", Bar: "an answer below 500, or the connection closed", Long: 300, Short: 0, Trial: oddRequests},
}

// server is a running `waycall review`.
type server struct {
	*session
	addr, job string // host:port, and the path of a job's page
	client    *http.Client
	pid       int
}

var (
	entrance = regexp.MustCompile(`http://([^/\s]+)/enter/\S+`)
	jobLink  = regexp.MustCompile(`/job/[^"/?#]+`)
)

// review starts the review over the trial's jobs and goes in as a browser does.
func (t *Trial) review() *server {
	t.clean(cutAt)
	cmd := exec.Command(t.Binary, "review", "--addr", "127.0.0.1:0")
	cmd.Env, cmd.Dir = t.env(), t.Dir
	out, err := cmd.StdoutPipe()
	t.must(err)
	s := &session{t: t, cmd: cmd, ended: make(chan struct{}), limit: time.NewTimer(time.Hour)}
	s.errs.most = 1 << 20
	cmd.Stderr = &s.errs
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	t.must(cmd.Start())
	t.After(s.kill)
	lines := bufio.NewScanner(out)
	var way []string
	for way == nil && lines.Scan() {
		way = entrance.FindStringSubmatch(lines.Text())
	}
	go func() {
		defer close(s.ended)
		for lines.Scan() {
			continue
		}
	}()
	if way == nil {
		t.Fatalf("the review does not start: %s", s.errs.String())
	}
	jar, err := cookiejar.New(nil)
	t.must(err)
	v := &server{session: s, addr: way[1], pid: cmd.Process.Pid, client: &http.Client{Jar: jar, Timeout: patience}}
	v.get(way[0])
	page := v.get("http://" + v.addr + "/")
	if v.job = jobLink.FindString(page); v.job == "" {
		t.Fatalf("the review shows no job: %s", brief(page))
	}
	return v
}

// get is a page as a browser has it; what went wrong otherwise, beginning with "!".
func (v *server) get(url string) string {
	resp, err := v.client.Get(url)
	if err != nil {
		return "!" + err.Error()
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusOK {
		return fmt.Sprintf("!%s %v", resp.Status, err)
	}
	return string(b)
}

// cookie is the header that a browser which went in sends.
func (v *server) cookie() string {
	req, err := http.NewRequest(http.MethodGet, "http://"+v.addr+"/", nil)
	v.t.must(err)
	var all []string
	for _, c := range v.client.Jar.Cookies(req.URL) {
		all = append(all, c.Name+"="+c.Value)
	}
	return strings.Join(all, "; ")
}

func (v *server) handles() int {
	all, err := os.ReadDir(fmt.Sprintf("/proc/%d/fd", v.pid))
	if err != nil {
		return -1
	}
	return len(all)
}

// hostileClient is one client: it connects, does what it does until over is closed, and
// leaves.
type hostileClient func(t *Trial, v *server, n int, over <-chan struct{})

// clients lets so many clients come at once. While they are there others must be served,
// and the time afterwards the server must live and give its handles back.
func clients(many int, one hostileClient, after time.Duration) func(context.Context, *Trial) {
	return func(ctx context.Context, t *Trial) {
		v := t.review()
		pages := []string{"http://" + v.addr + "/", "http://" + v.addr + v.job, "http://" + v.addr + v.job + "/queue"}
		for _, p := range pages {
			if got := v.get(p); got[0] == '!' {
				t.Fatalf("%s: %s", p, got)
			}
		}
		idle := v.handles()
		over := make(chan struct{})
		var all sync.WaitGroup
		for n := range many {
			all.Go(func() { one(t, v, n, over) })
		}
		slowest := time.Duration(0)
		for i := range 20 {
			at := time.Now()
			if got := v.get(pages[i%len(pages)]); got[0] == '!' {
				t.Failf("others are not served meanwhile: %s", got)
				break
			}
			slowest = max(slowest, time.Since(at))
			time.Sleep(50 * time.Millisecond)
		}
		t.saws("clients", many)
		t.Logf("others served in %v at most, with %d handles", slowest, v.handles())
		close(over)
		all.Wait()
		for at := time.Now(); time.Since(at) < after && v.alive(); time.Sleep(200 * time.Millisecond) {
			if ctx.Err() != nil {
				return
			}
		}
		if !v.alive() {
			t.Fatalf("the server has ended: %s", tail(v.errs.String()))
		}
		if got := v.get(pages[1]); got[0] == '!' {
			t.Failf("afterwards: %s: %s", got, tail(v.errs.String()))
		}
		v.client.CloseIdleConnections()
		// Idle connections of the review itself end after two minutes.
		now := v.handles()
		for at := time.Now(); now > idle+10 && time.Since(at) < 3*time.Minute && ctx.Err() == nil; time.Sleep(200 * time.Millisecond) {
			now = v.handles()
		}
		if now > idle+10 {
			t.Failf("%d handles before, and %d long after", idle, now)
		}
		v.signal(syscall.SIGTERM)
		select {
		case <-v.ended:
			t.Saw("server lived")
		case <-time.After(patience):
			t.Failf("the server does not end")
		}
	}
}

func tail(s string) string {
	if len(s) > 600 {
		s = s[:600] + "..."
	}
	return s
}

// dial connects and sends a first part; nil where the server takes no more.
func dial(v *server, first string) net.Conn {
	c, err := net.DialTimeout("tcp", v.addr, patience)
	if err != nil {
		return nil
	}
	_ = c.SetDeadline(time.Now().Add(patience))
	if _, err := io.WriteString(c, first); err != nil {
		c.Close()
		return nil
	}
	return c
}

func (v *server) request(method, path, more string) string {
	return fmt.Sprintf("%s %s HTTP/1.1\r\nHost: %s\r\nCookie: %s\r\n%s", method, path, v.addr, v.cookie(), more)
}

func (v *server) live() string { return strings.Replace(v.job, "/job/", "/live/", 1) + "/events" }

// leaveEarly follows a live view and leaves: before the request is sent whole, at once
// after it, after the first bytes, or a little later.
func leaveEarly(_ *Trial, v *server, n int, _ <-chan struct{}) {
	whole := v.request("GET", v.live(), "Accept: text/event-stream\r\n\r\n")
	if n%8 == 7 {
		whole = whole[:len(whole)/2]
	}
	c := dial(v, whole)
	if c == nil {
		return
	}
	switch n % 4 {
	case 1:
		time.Sleep(time.Duration(n%40) * time.Millisecond)
	case 2:
		_, _ = c.Read(make([]byte, 1))
	}
	if tcp, ok := c.(*net.TCPConn); ok && n%3 == 0 {
		_ = tcp.SetLinger(0) // as a program that is killed
	}
	c.Close()
}

func slowHeader(_ *Trial, v *server, n int, over <-chan struct{}) {
	c := dial(v, "GET / HTTP/1.1\r\nHost: "+v.addr+"\r\nX: ")
	for c != nil {
		select {
		case <-over:
			c.Close()
			return
		case <-time.After(time.Second):
		}
		if _, err := io.WriteString(c, "x"); err != nil {
			c.Close()
			return
		}
	}
}

func slowBody(_ *Trial, v *server, n int, over <-chan struct{}) {
	c := dial(v, v.request("POST", v.job+"/settle", "Origin: http://"+v.addr+"\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 500000\r\n\r\na="))
	if c == nil {
		return
	}
	<-over
	c.Close()
}

func sayNothing(_ *Trial, v *server, n int, over <-chan struct{}) {
	c := dial(v, "")
	if c == nil {
		return
	}
	if n%2 == 0 {
		<-over
	}
	c.Close()
}

func followOnly(_ *Trial, v *server, n int, over <-chan struct{}) {
	c := dial(v, v.request("GET", v.live(), "Accept: text/event-stream\r\n\r\n"))
	if c == nil {
		return
	}
	<-over
	c.Close()
}

// oddRequests sends one odd request.
func oddRequests(ctx context.Context, t *Trial) {
	v := t.sharedReview()
	pick := func(s ...string) string { return s[t.Rand.IntN(len(s))] }
	path := pick("/", v.job, v.job+"/way/1/1", v.job+"/sound/2", v.job+"/schedule.pdf", v.job+"/edit", v.live(), "/assets/x/app.js", "/../../etc/passwd", v.job+"/..%2f..%2fx",
		"/job/%00", "/job/"+strings.Repeat("a", 9000), "/live/x/events", "/enter/x", "/pair", "*", "//", v.job+"/way/-1/99999999999999999999", v.job+"/sound/-2")
	more := pick("", "Range: bytes=0-\r\n", "Range: bytes=-1,-2,0-99999999999\r\n", "Origin: http://example.com\r\n", "Host: example.com\r\n", "Content-Length: -1\r\n", "Content-Length: 99999999999999\r\n",
		"Transfer-Encoding: chunked\r\n", "Expect: 100-continue\r\n", "Accept-Encoding: "+strings.Repeat("x,", 3000)+"\r\n", "Last-Event-ID: -9\r\n", "Last-Event-ID: 99999999999999999999\r\n", "If-Range: x\r\nRange: bytes=1-\r\n",
		"Content-Type: multipart/form-data\r\nContent-Length: 10\r\n", "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 20\r\n")
	body := pick("", "a=%zz&b", strings.Repeat("a=b&", 5), "zzzz\r\n", string(junk(t.Rand, 64)))
	c := dial(v, v.request(pick("GET", "POST", "HEAD", "PUT", "DELETE", "OPTIONS", "TRACE", "CONNECT", "X\x01", "get"), path, more+"\r\n"+body))
	if c == nil {
		t.Failf("the server takes no connection")
		return
	}
	defer c.Close()
	if tcp, ok := c.(*net.TCPConn); ok {
		_ = tcp.CloseWrite()
	}
	_ = c.SetReadDeadline(time.Now().Add(20 * time.Second))
	status, err := bufio.NewReader(c).ReadString('\n')
	var code int
	_, _ = fmt.Sscanf(status, "HTTP/1.1 %d", &code)
	switch {
	case !v.alive():
		t.Failf("%s %s: the server has ended: %s", path, more, tail(v.errs.String()))
	case code >= 500 && code != http.StatusNotImplemented && code != http.StatusHTTPVersionNotSupported:
		t.Failf("%s %s: %s", path, more, status)
	case code == 0 && err != nil:
		t.Saw("closed")
	default:
		t.Saw(fmt.Sprint(code))
	}
}

// sharedReview is a server for many trials.
func (t *Trial) sharedReview() *server {
	t.bases.mu.Lock()
	have := t.bases.review
	t.bases.mu.Unlock()
	if have != nil && have.alive() {
		return have
	}
	// A trial of its own, whose folder stays.
	own := &Trial{Field: t.Field, Rand: t.Rand, Number: t.Number, Dir: filepath.Join(t.work, "review"), saw: map[string]int{}}
	t.must(os.MkdirAll(own.Dir, 0o755))
	v := own.review()
	t.bases.mu.Lock()
	defer t.bases.mu.Unlock()
	if t.bases.review != nil && t.bases.review.alive() {
		v.kill()
		return t.bases.review
	}
	t.bases.review = v
	return v
}
