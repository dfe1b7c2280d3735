package main

import (
	"crypto/sha256"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// reviewed is a `waycall review` that runs beside a script, and a browser at it.
type reviewed struct {
	cmd    *exec.Cmd
	out    output
	errs   output
	base   string // http://127.0.0.1:PORT
	key    string // the path with the key
	client *http.Client
}

// reviews are the running ones, by the folder of their script.
var reviews sync.Map

var printed = regexp.MustCompile(`Review: (http://[^/]+)(/enter/[0-9a-f]+)`)

// review is a command of the scripts: "review FLAGS..." starts waycall review and
// waits until it has printed its address.
func review(ts *testscript.TestScript, neg bool, args []string) {
	path, err := exec.LookPath("waycall")
	ts.Check(err)
	r := &reviewed{cmd: exec.Command(path, append([]string{"review"}, args...)...)}
	r.cmd.Dir, r.cmd.Stdout, r.cmd.Stderr = ts.MkAbs("."), &r.out, &r.errs
	r.cmd.Env = append(os.Environ(), "WAYCALL_DATA="+ts.Getenv("WAYCALL_DATA"))
	ts.Check(r.cmd.Start())
	ts.Defer(func() { r.cmd.Process.Kill() })
	for begun := time.Now(); r.base == ""; time.Sleep(5 * time.Millisecond) {
		if m := printed.FindStringSubmatch(r.out.String()); m != nil {
			r.base, r.key = m[1], m[2]
		} else if time.Since(begun) > time.Minute {
			ts.Fatalf("no address was printed: %s %s", &r.out, &r.errs)
		}
	}
	jar, err := cookiejar.New(nil)
	ts.Check(err)
	r.client = &http.Client{Jar: jar}
	reviews.Store(ts.MkAbs("."), r)
}

func running(ts *testscript.TestScript) *reviewed {
	r, ok := reviews.Load(ts.MkAbs("."))
	if !ok {
		ts.Fatalf("no review runs; start one with review")
	}
	return r.(*reviewed)
}

// visit is a command of the scripts: "visit PATH STATUS PATTERN" asks the review for a
// page. KEY is the printed path; JOB/... are the pages of the only job in the folder.
func visit(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("visit PATH STATUS PATTERN")
	}
	r := running(ts)
	path := args[0]
	if path == "KEY" {
		path = r.key
	}
	if rest, ok := strings.CutPrefix(path, "JOB"); ok {
		sum := sha256.Sum256([]byte("TER-0107"))
		path = fmt.Sprintf("/job/%x%s", sum[:8], rest)
	}
	a, err := r.client.Get(r.base + path)
	ts.Check(err)
	defer a.Body.Close()
	body, err := io.ReadAll(a.Body)
	ts.Check(err)
	if fmt.Sprint(a.StatusCode) != args[1] {
		ts.Fatalf("%s gave %d, not %s: %s", args[0], a.StatusCode, args[1], body)
	}
	if ok, err := regexp.Match(args[2], body); err != nil || !ok {
		ts.Fatalf("%s has no %q (%v): %s", args[0], args[2], err, body)
	}
}

// end is a command of the scripts: "end" stops the review as Ctrl-C does and leaves
// what it printed in the files OUT and LOG.
func end(ts *testscript.TestScript, neg bool, args []string) {
	r := running(ts)
	ts.Check(r.cmd.Process.Signal(os.Interrupt))
	ts.Check(r.cmd.Wait())
	ts.Check(os.WriteFile(filepath.Join(ts.MkAbs("."), "OUT"), []byte(r.out.String()), 0o600))
	ts.Check(os.WriteFile(filepath.Join(ts.MkAbs("."), "LOG"), []byte(r.errs.String()), 0o600))
}
