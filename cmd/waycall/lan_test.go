package main

import (
	"bytes"
	"crypto/sha256"
	"crypto/tls"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"waycall/internal/web/door"
)

// output is what a program has printed so far.
type output struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (o *output) Write(b []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.Write(b)
}

func (o *output) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.String()
}

// wait returns the first group of the n-th match of a pattern, once it is there.
func (o *output) wait(t *testing.T, pattern string, n int) string {
	t.Helper()
	re := regexp.MustCompile(pattern)
	for begun := time.Now(); ; time.Sleep(5 * time.Millisecond) {
		text := o.String()
		if all := re.FindAllStringSubmatch(text, -1); len(all) >= n {
			return all[n-1][len(all[n-1])-1]
		}
		if time.Since(begun) > time.Minute {
			t.Fatalf("it never printed %s; it printed:\n%s", pattern, text)
		}
	}
}

// The whole of waycall review --lan, from the other side of the network: the
// certificate is the one whose fingerprint was printed, nobody gets in without the
// code, and with it once.
func TestReviewOnLAN(t *testing.T) {
	if _, err := door.Addresses(); err != nil {
		t.Skipf("this machine is in no local network: %v", err)
	}
	waycall, err := exec.LookPath("waycall")
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "data")
	cmd := exec.Command(waycall, "review", "--lan", "--data", dir)
	var out output
	cmd.Stdout, cmd.Stderr = &out, &out
	terminal, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer cmd.Process.Kill()
	on := out.wait(t, `\n  (https://[0-9.:\[\]a-f]+)/pair\n`, 1)
	print := out.wait(t, `\n  ([0-9A-F:]{95})\n`, 1)
	code := out.wait(t, `Code to type there: ([A-Z2-9]{4}-[A-Z2-9]{4}) `, 1)
	at, err := url.Parse(on)
	if err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(filepath.Join(dir, "review-tls.pem")); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the certificate's file: %v", err)
	}

	device := func() *http.Client {
		jar, err := cookiejar.New(nil)
		if err != nil {
			t.Fatal(err)
		}
		return &http.Client{Jar: jar, Timeout: time.Minute, Transport: &http.Transport{TLSClientConfig: &tls.Config{
			InsecureSkipVerify: true, // the fingerprint is what counts
			VerifyConnection: func(c tls.ConnectionState) error {
				sum := sha256.Sum256(c.PeerCertificates[0].Raw)
				if got := strings.ToUpper(strings.ReplaceAll(fmt.Sprintf("% x", sum), " ", ":")); got != print {
					return fmt.Errorf("the fingerprint is %s", got)
				}
				return c.PeerCertificates[0].VerifyHostname(at.Hostname())
			},
		}}}
	}
	get := func(c *http.Client, path string) (int, string) {
		t.Helper()
		resp, err := c.Get(on + path)
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		b, err := io.ReadAll(resp.Body)
		if err != nil {
			t.Fatal(err)
		}
		return resp.StatusCode, resp.Request.URL.Path + " " + string(b)
	}
	pair := func(c *http.Client, code string) int {
		t.Helper()
		for {
			resp, err := c.PostForm(on+"/pair", url.Values{"code": {code}})
			if err != nil {
				t.Fatal(err)
			}
			resp.Body.Close()
			if resp.StatusCode != http.StatusTooManyRequests {
				return resp.StatusCode
			}
			time.Sleep(200 * time.Millisecond)
		}
	}
	tablet, stranger := device(), device()
	if status, page := get(tablet, "/"); status != http.StatusOK || !strings.HasPrefix(page, "/pair ") {
		t.Errorf("before pairing: %d %.200s", status, page)
	}
	if status := pair(tablet, "AAAA-AAAA"); status != http.StatusForbidden {
		t.Errorf("with a wrong code: %d", status)
	}
	if status := pair(tablet, code); status != http.StatusOK {
		t.Errorf("with the code: %d", status)
	}
	out.wait(t, "(A device was paired)", 1)
	if status, page := get(tablet, "/"); status != http.StatusOK || strings.HasPrefix(page, "/pair ") {
		t.Errorf("after pairing: %d %.200s", status, page)
	}
	if status := pair(stranger, code); status != http.StatusForbidden {
		t.Errorf("with the code again: %d", status)
	}
	// The key for this machine is not in what a device is given.
	key := out.wait(t, `/enter/([0-9a-f]+)`, 1)
	if _, page := get(tablet, "/"); strings.Contains(page, key) {
		t.Error("the page has the key of this machine")
	}
	// By plain HTTP nothing is given, and by another name nothing either.
	plain := strings.Replace(on, "https://", "http://", 1)
	if resp, err := http.Get(plain); err != nil || resp.StatusCode != http.StatusBadRequest {
		t.Errorf("by plain HTTP: %v %v", resp, err)
	}
	r, err := http.NewRequest(http.MethodGet, on+"/pair", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Host = "attacker.example"
	if resp, err := tablet.Do(r); err != nil || resp.StatusCode != http.StatusMisdirectedRequest {
		t.Errorf("by another name: %v %v", resp, err)
	}
	// Enter makes a new code.
	if _, err := io.WriteString(terminal, "\n"); err != nil {
		t.Fatal(err)
	}
	fresh := out.wait(t, `Code to type there: ([A-Z2-9]{4}-[A-Z2-9]{4}) `, 2)
	if status := pair(stranger, fresh); fresh == code || status != http.StatusOK {
		t.Errorf("with the new code: %d", status)
	}
	// It ends, with live views and readers open or not.
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("its end: %v", err)
	}
	out.wait(t, "(Review ended)", 1)
	for line := range strings.Lines(out.String()) {
		if strings.Contains(line, "AAAA") || strings.Contains(line, "127.0.0.1:") && !strings.HasPrefix(line, "Review: ") {
			t.Errorf("it printed %q", line)
		}
	}
}

func TestReviewOnLANRefused(t *testing.T) {
	waycall, err := exec.LookPath("waycall")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := door.Addresses(); err != nil {
		t.Skipf("this machine is in no local network: %v", err)
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "review-tls.pem"), []byte("known to others"), 0o644); err != nil {
		t.Fatal(err)
	}
	said, err := exec.Command(waycall, "review", "--lan", "--data", dir).CombinedOutput()
	if err == nil || !strings.Contains(string(said), "others can read its key; delete the file") {
		t.Errorf("with a key that others can read: %v, %s", err, said)
	}
}
