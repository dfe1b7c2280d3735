package browser

import (
	"bufio"
	"context"
	"encoding/base64"
	"fmt"
	"io"
	"log/slog"
	"net/http/httptest"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"

	"waycall/internal/audio"
	"waycall/internal/demo"
	"waycall/internal/phone"
	"waycall/internal/record"
	"waycall/internal/store"
	"waycall/internal/web/door"
)

// microphone stands in for the microphone of a phone: what is given to speak comes out of
// it, at the pace of speech, through the page's own catching and sending.
const microphone = `
	window.mouth = new AudioContext();
	const out = mouth.createMediaStreamDestination();
	navigator.mediaDevices.getUserMedia = async () => out.stream.clone();
	window.speak = async (wav) => {
		const bytes = Uint8Array.from(atob(wav), (c) => c.charCodeAt(0));
		const node = mouth.createBufferSource();
		node.buffer = await mouth.decodeAudioData(bytes.buffer);
		node.connect(out);
		await new Promise((done) => { node.onended = done; node.start(); });
	};`

// newPhone opens a tab of the size of a small phone that has that microphone.
func newPhone(t *testing.T) *tab {
	t.Helper()
	b := newTab(t, 360, 640)
	call(b, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: microphone})
	return b
}

// speak says a clip into the phone, and waits until it is said.
func (b *tab) speak(clip audio.Clip) {
	b.t.Helper()
	b.run(fmt.Sprintf(`speak(%q)`, base64.StdEncoding.EncodeToString(audio.EncodeWAV(clip))))
}

// A session over a phone: waycall itself, its engines, and a page that hears and speaks.
// The steps are answered, shown, and in the record.
func TestPhoneSession(t *testing.T) {
	dir := t.TempDir()
	cmd := waycall(t, "start", filepath.Join("..", "..", "..", "testdata", "boards", "terrace.yaml"), "--phone", "--data", dir)
	told, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	address := ""
	lines := bufio.NewScanner(told)
	for find := regexp.MustCompile(`http://localhost:\S+`); address == "" && lines.Scan(); {
		address = find.FindString(lines.Text())
	}
	if address == "" {
		t.Fatalf("it printed no address (%v)", lines.Err())
	}
	go io.Copy(io.Discard, told)
	b := newPhone(t)
	b.open(address)
	b.until(`document.querySelector("#go")`)
	b.click("#go")
	script, err := demo.Script()
	if err != nil {
		t.Fatal(err)
	}
	said := 0
	for _, l := range script {
		if l.Text != "finish here" && (l.Text == "" || said >= 4) {
			continue
		}
		b.until(`document.querySelector("#turn").textContent === "Listening" && document.querySelector("#said").textContent !== window.before`)
		b.run(`window.before = document.querySelector("#said").textContent`)
		b.speak(l.Sound)
		b.until(fmt.Sprintf(`document.querySelector("#heard").textContent === %q`, "Heard: "+l.Text))
		said++
	}
	if err := cmd.Wait(); err != nil {
		t.Fatal(err)
	}
	var steps []string
	events, err := store.NewTail(filepath.Join(dir, terrace)).Next(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range events {
		if e.Kind == record.Prepared {
			steps = append(steps, e.Step)
		}
	}
	if got := strings.Join(steps, ", "); got != "isolated and locked off, notices up, indicator proved, tested dead" {
		t.Errorf("the record has %s", got)
	}
}

// line is a phone's line served to this browser, and the address that lets one in.
func line(t *testing.T) (l *phone.Line, s *phone.Server, address string) {
	t.Helper()
	l = phone.NewLine()
	server := httptest.NewUnstartedServer(nil)
	key := door.NewKey()
	s = phone.NewServer(l, phone.Options{Hosts: []string{server.Listener.Addr().String()}, Key: key, Log: slog.New(slog.DiscardHandler)})
	server.Config.Handler = s
	server.Start()
	t.Cleanup(func() { s.Close(); server.Close() })
	return l, s, server.URL + "/enter/" + key
}

// hears waits until so much of a tone is heard on a line.
func hears(t *testing.T, l *phone.Line, want time.Duration) {
	t.Helper()
	ctx, stop := context.WithTimeout(t.Context(), patience)
	defer stop()
	for loud := 0; loud < int(want.Seconds()*audio.Rate); {
		frame, err := l.Next(ctx)
		if ctx.Err() != nil {
			t.Fatalf("only %d samples of the tone were heard", loud)
		}
		if err == nil && frame.Level() > -30 {
			loud += len(frame)
		}
	}
}

func tone(d time.Duration) audio.Clip {
	c := make(audio.Clip, int(d.Seconds()*audio.Rate))
	for i := range c {
		c[i] = 0.3 * float32(i%32-16) / 16
	}
	return c
}

// What is said into the phone is heard once and whole, what waycall says is played to its
// end, and a page that is loaded anew or another phone goes on.
func TestPhoneLine(t *testing.T) {
	l, s, address := line(t)
	s.Show(phone.View{Turn: "listening", Place: "7", Label: "WAY", Feeds: "Ring final, sockets", Due: "Live and neutral to earth",
		Last: &phone.Last{Waits: true, Place: "7", Where: "Way 7, live and neutral to earth", Figure: ">999 MΩ", Word: "PASS", Class: "pass"}, Left: "12 tests left"})
	b := newPhone(t)
	b.may("409") // of a phone beside another
	b.open(address)
	b.until(`document.querySelector("#go")`)
	for _, scheme := range []string{"light", "dark"} {
		b.scheme(scheme)
		for _, fault := range b.shutsOut() {
			t.Errorf("before it begins, %s: %s", scheme, fault)
		}
	}
	b.click("#go")
	b.until(`!document.querySelector("#session").hidden`)
	b.until(`document.querySelector("#place").textContent === "7"`)
	b.has("Listening", "WAY", "Ring final, sockets", "read back, not stored yet", ">999 MΩ", "PASS", "12 tests left")
	for _, scheme := range []string{"light", "dark"} {
		b.scheme(scheme)
		for _, fault := range b.shutsOut() {
			t.Errorf("at work, %s: %s", scheme, fault)
		}
	}
	b.speak(tone(time.Second))
	hears(t, l, 900*time.Millisecond)
	if err := l.Play(t.Context(), tone(500*time.Millisecond)); err != nil {
		t.Fatal(err)
	}
	b.speak(tone(time.Second))
	hears(t, l, 900*time.Millisecond)

	// The page is loaded anew: it begins again, and is heard.
	b.open(strings.Split(address, "/enter/")[0] + "/")
	b.click("#go")
	b.until(`!document.querySelector("#session").hidden || !document.querySelector("#take").hidden`)
	if eval[bool](b, `!document.querySelector("#take").hidden`) {
		b.click("#take")
		b.until(`!document.querySelector("#session").hidden`)
	}
	b.speak(tone(time.Second))
	hears(t, l, 900*time.Millisecond)

	// A second phone asks before it takes over, and the first one says so.
	other := newPhone(t)
	other.may("409")
	other.open(address)
	other.until(`document.querySelector("#go")`)
	other.click("#go")
	other.until(`!document.querySelector("#take").hidden`)
	other.has("another phone is at work")
	other.click("#take")
	other.until(`!document.querySelector("#session").hidden`)
	b.until(`!document.querySelector("#take").hidden`)
	b.has("Another phone is at work")
	other.speak(tone(time.Second))
	hears(t, l, 900*time.Millisecond)
}
