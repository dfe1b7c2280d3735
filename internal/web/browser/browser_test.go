// Package browser tries the pages of waycall review in Debian's chromium: with a real
// server, real records, real sound, and for the live view a real session beside it.
//
// Every tab fails its test when the console has an error or the page breaks its own
// Content-Security-Policy. The tests need chromium and axe-core, which scripts/setup
// --tests installs; WAYCALL_NO_BROWSER=1 leaves them out.
package browser

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	cdplog "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/cdproto/security"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"waycall/internal/web"
	"waycall/internal/web/door"
	"waycall/internal/web/jobcache"
)

// chrome is the one browser of all tests.
var chrome context.Context

// scratch is a folder that goes with the tests.
var scratch string

const without = "WAYCALL_NO_BROWSER"

func TestMain(m *testing.M) {
	if os.Getenv(without) != "" {
		fmt.Printf("the tests in a browser are left out, as %s is set\n", without)
		os.Exit(0)
	}
	os.Exit(run(m))
}

func run(m *testing.M) int {
	path, err := exec.LookPath("chromium")
	if err != nil {
		fmt.Fprintf(os.Stderr, "the pages cannot be tried in a browser: %v; run scripts/setup --tests, which installs chromium, or set %s=1 to leave these tests out\n", err, without)
		return 1
	}
	home, err := os.MkdirTemp("", "waycall-browser-")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer os.RemoveAll(home)
	scratch = home
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.UserDataDir(home),
		chromedp.DisableGPU, chromedp.Flag("mute-audio", true), chromedp.Flag("lang", "en-GB"),
		chromedp.Flag("autoplay-policy", "no-user-gesture-required"), // for what stands in for a microphone
	)
	if os.Geteuid() == 0 { // its sandbox is not for root
		options = append(options, chromedp.NoSandbox)
	}
	all, end := chromedp.NewExecAllocator(context.Background(), options...)
	defer end()
	var stop context.CancelFunc
	chrome, stop = chromedp.NewContext(all)
	defer stop()
	if err := chromedp.Do(chrome); err != nil {
		fmt.Fprintf(os.Stderr, "chromium could not be started: %v; try it by hand: chromium --headless=new --no-sandbox --dump-dom about:blank\n", err)
		return 1
	}
	return m.Run()
}

// tab is one tab of the browser, with cookies of its own.
type tab struct {
	t    *testing.T
	ctx  context.Context
	mu   sync.Mutex
	bad  []string // what the console said
	fine []string // what it may say in this test
}

// patience is how long anything may take in a browser on a busy machine. Nothing is
// measured by it.
const patience = 3 * time.Minute

// newTab opens a tab of width x height.
func newTab(t *testing.T, width, height int64) *tab {
	t.Helper()
	b := &tab{t: t}
	ctx, stop := chromedp.NewContext(chrome, chromedp.WithNewBrowserContext(), chromedp.WithListener(b.note))
	t.Cleanup(stop)
	b.ctx = ctx
	// The first use of a tab binds its life to the context, which has no time-out.
	if err := chromedp.Do(ctx); err != nil {
		t.Fatal(err)
	}
	b.size(width, height)
	t.Cleanup(func() {
		b.mu.Lock()
		defer b.mu.Unlock()
		for _, text := range b.bad {
			t.Errorf("the console says: %s", text)
		}
	})
	return b
}

func (b *tab) note(event any) {
	text := ""
	switch e := event.(type) {
	case *runtime.EventExceptionThrown:
		text = "exception: " + e.ExceptionDetails.Text
		if e.ExceptionDetails.Exception != nil {
			text += " " + e.ExceptionDetails.Exception.Description
		}
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError || e.Type == runtime.ConsoleAPICalledTypeWarning || e.Type == runtime.ConsoleAPICalledTypeAssert {
			for _, a := range e.Args {
				text += fmt.Sprintf("%s %s ", a.Value, a.Description)
			}
		}
	case *cdplog.EventEntryAdded:
		if e.Entry.Level == cdplog.EntryLevelError || e.Entry.Source == cdplog.EntrySourceSecurity {
			text = e.Entry.Text + " " + e.Entry.URL
		}
	}
	if text == "" {
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, may := range b.fine {
		if strings.Contains(text, may) {
			return
		}
	}
	b.bad = append(b.bad, text)
}

// may lets the console say something in this test.
func (b *tab) may(text string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.fine = append(b.fine, text)
}

// do does one thing after the other.
func (b *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	ctx, stop := context.WithTimeout(b.ctx, patience)
	defer stop()
	if err := chromedp.Do(ctx, steps...); err != nil {
		b.fatal(err)
	}
}

// fatal ends the test with what the page says.
func (b *tab) fatal(err error) {
	b.t.Helper()
	ctx, stop := context.WithTimeout(b.ctx, patience)
	defer stop()
	page, _ := chromedp.Run(ctx, chromedp.Evaluate[string]("location.href + \" \" + document.body.innerText.replace(/\\s+/g, \" \")"))
	b.t.Fatalf("%v; the page is %.700s", err, page)
}

// call gives the browser a command for this tab.
func call[P, R any](b *tab, cmd cdp.Command[P, R], params P) R {
	b.t.Helper()
	ctx, stop := context.WithTimeout(b.ctx, patience)
	defer stop()
	result, err := chromedp.Call(ctx, cmd, params)
	if err != nil {
		b.fatal(err)
	}
	return result
}

func (b *tab) size(width, height int64) {
	b.t.Helper()
	call(b, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{
		Width: width, Height: height, DeviceScaleFactor: 1, Mobile: width < 600})
}

// open goes to a page and waits until it is there.
func (b *tab) open(url string) {
	b.t.Helper()
	b.do(chromedp.Navigate(url), chromedp.WaitReady(chromedp.CSS("main")))
}

// click clicks what a person sees.
func (b *tab) click(selector string) {
	b.t.Helper()
	b.do(chromedp.Click(chromedp.CSS(selector), chromedp.NodeVisible))
}

// keys presses keys, wherever the focus is. As at a keyboard, a key that the page
// takes for itself writes nothing.
func (b *tab) keys(keys string) {
	b.t.Helper()
	for _, r := range keys {
		events := kb.Encode(r)
		for i, e := range events {
			if e.Type == input.DispatchKeyEventTypeChar {
				continue
			}
			if i+1 < len(events) && events[i+1].Type == input.DispatchKeyEventTypeChar {
				e.Type, e.Text, e.UnmodifiedText = input.DispatchKeyEventTypeKeyDown, events[i+1].Text, events[i+1].UnmodifiedText
			}
			call(b, input.DispatchKeyEvent, *e)
		}
	}
}

// write types into a field.
func (b *tab) write(selector, text string) {
	b.t.Helper()
	b.do(chromedp.SendKeys(chromedp.CSS(selector), text, chromedp.NodeVisible))
}

// eval returns what an expression is on the page; promises are waited for.
func eval[T any](b *tab, js string) T {
	b.t.Helper()
	ctx, stop := context.WithTimeout(b.ctx, patience)
	defer stop()
	value, err := chromedp.Run(ctx, chromedp.Evaluate[T](js, chromedp.EvalAwaitPromise))
	if err != nil {
		b.fatal(err)
	}
	return value
}

// run runs a script on the page for what it does.
func (b *tab) run(js string) { b.t.Helper(); eval[chromedp.Void](b, js) }

// until waits until an expression is true, on this page or on the next.
func (b *tab) until(js string) {
	b.t.Helper()
	ctx, stop := context.WithTimeout(b.ctx, patience)
	defer stop()
	var last error
	for {
		// Between two pages there is nowhere to evaluate it.
		is, err := chromedp.Run(ctx, chromedp.Evaluate[bool]("!!("+js+")"))
		if is {
			return
		}
		if err != nil && ctx.Err() == nil {
			last = err
		}
		select {
		case <-ctx.Done():
			b.fatal(fmt.Errorf("it never came to %s (%w)", js, last))
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// text is what a person reads on the page.
func (b *tab) text() string {
	b.t.Helper()
	return eval[string](b, "document.body.innerText")
}

func (b *tab) has(parts ...string) {
	b.t.Helper()
	text := b.text()
	for _, part := range parts {
		if !strings.Contains(strings.ToLower(text), strings.ToLower(part)) {
			b.t.Errorf("%s does not say %q; it says: %.700s", eval[string](b, "location.pathname"), part, text)
		}
	}
}

// leave does something that leads to another page, and waits for that.
func (b *tab) leave(do func()) {
	b.t.Helper()
	b.run("window.sameOldPage = true") // gone with the page
	do()
	b.until("!window.sameOldPage && document.readyState === 'complete' && document.querySelector('main')")
}

// follow clicks something that leads to another page.
func (b *tab) follow(selector string) {
	b.t.Helper()
	b.leave(func() { b.click(selector) })
}

// scheme sets what the person prefers, light or dark.
func (b *tab) scheme(name string) {
	b.t.Helper()
	call(b, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}, {Name: "prefers-reduced-motion", Value: "reduce"}}})
}

// picture is the page as it is seen.
func (b *tab) picture() []byte {
	b.t.Helper()
	data := call(b, page.CaptureScreenshot, page.CaptureScreenshotParams{Format: page.CaptureScreenshotFormatPng}).Data
	return data
}

// strangers lets a tab go on where a person would compare the fingerprint of a
// certificate.
func (b *tab) strangers() {
	b.t.Helper()
	call(b, security.SetIgnoreCertificateErrors, security.SetIgnoreCertificateErrorsParams{Ignore: true})
}

// axe is the text of axe-core.
var axe = sync.OnceValues(func() (string, error) {
	path, err := filepath.Abs("../../../.cache/axe-core/axe.min.js")
	if err != nil {
		return "", err
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("axe-core is not there: %w; run scripts/setup --tests", err)
	}
	return string(b), nil
})

// shutsOut returns the serious and the critical faults that axe-core finds.
func (b *tab) shutsOut() []string {
	b.t.Helper()
	source, err := axe()
	if err != nil {
		b.t.Fatal(err)
	}
	b.run(source + "; undefined")
	found := eval[string](b, `axe.run(document, {resultTypes: ["violations"]}).then(r => JSON.stringify(
		r.violations.filter(v => v.impact === "serious" || v.impact === "critical").map(v =>
			v.id + " (" + v.impact + "): " + v.help + ": " + v.nodes.slice(0, 3).map(n => n.target.join(" ") + " " + n.failureSummary).join("; "))))`)
	var faults []string
	if err := json.Unmarshal([]byte(found), &faults); err != nil {
		b.t.Fatal(err)
	}
	return faults
}

// site is a server over a folder of jobs.
type site struct {
	url, key string
	dir      string
}

// serve starts a server over dir.
func serve(t *testing.T, dir string) *site {
	t.Helper()
	s := &site{dir: dir, key: door.NewKey()}
	server := httptest.NewUnstartedServer(nil)
	pages, err := web.New(web.Options{Jobs: jobcache.NewFolder(dir), Hosts: []string{server.Listener.Addr().String()}, Key: s.key})
	if err != nil {
		t.Fatal(err)
	}
	server.Config.Handler = pages
	server.Start()
	t.Cleanup(func() {
		pages.Close()
		server.CloseClientConnections()
		server.Close()
	})
	s.url = server.URL
	return s
}

// enter opens the jobs as the person who started the server.
func (s *site) enter(b *tab) {
	b.t.Helper()
	b.do(chromedp.Navigate(s.url + "/enter/" + s.key))
	b.until("location.pathname === '/' && document.readyState === 'complete' && document.querySelector('main')")
}

// program is waycall itself, built for these tests.
var program = sync.OnceValues(func() (string, error) {
	path := filepath.Join(scratch, "waycall")
	out, err := exec.Command("go", "build", "-o", path, "waycall/cmd/waycall").CombinedOutput()
	if err != nil {
		return "", errors.Join(err, errors.New(string(out)))
	}
	return path, nil
})

func waycall(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	path, err := program()
	if err != nil {
		t.Fatal(err)
	}
	return command(t.Context(), path, args...)
}

// command runs the program at path with the model of this checkout.
func command(ctx context.Context, path string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, path, args...)
	if root, err := filepath.Abs("../../.."); err == nil {
		cmd.Env = append(os.Environ(), "WAYCALL_MODEL="+filepath.Join(root, "models", "tiny.en-waycall-q8_0.bin"))
	}
	return cmd
}
