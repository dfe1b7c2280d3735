package browser

import (
	"fmt"
	"os"
	"reflect"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"waycall/internal/board"
	"waycall/internal/board/boardtest"
	"waycall/internal/jobs"
	"waycall/internal/web/setup"
)

// typist sets a job up as a person does, with keys and clicks alone, and counts both.
type typist struct {
	*tab
	typed, clicks int
}

// The time that a person takes, in seconds: 60 words of five letters in a minute are five
// keys in a second; a click with the pointer is reckoned as 1.5 s, which is finding it,
// pointing and pressing. Looking at the board on the wall is not in it.
const perKey, perClick = 0.2, 1.5

func (p *typist) seconds() float64 { return float64(p.typed)*perKey + float64(p.clicks)*perClick }

func (p *typist) type_(text string) {
	p.t.Helper()
	p.keys(text)
	p.typed += len([]rune(text))
}

func (p *typist) press(selector string) {
	p.t.Helper()
	p.do(chromedp.ScrollIntoView(chromedp.CSS(selector)))
	p.click(selector)
	p.clicks++
}

// go_ goes to a field: by the key Tab from the one before where that leads there, else by a
// click.
func (p *typist) go_(path string) {
	p.t.Helper()
	if eval[bool](p.tab, fmt.Sprintf(`document.activeElement.id !== %q && !!document.activeElement.form`, path)) {
		p.type_(kb.Tab)
	}
	if eval[string](p.tab, `document.activeElement.id`) != path {
		p.press(fmt.Sprintf(`[id=%q]`, path))
	}
}

// fill writes what the fields of a group are to hold, from the first to the last that is
// wanted, and passes over the others.
func (p *typist) fill(prefix string, fields []setup.Field, want map[string]string) {
	p.t.Helper()
	last := 0
	for i, f := range fields {
		if want[f.Name] != "" {
			last = i
		}
	}
	for _, f := range fields[:last+1] {
		path := prefix + f.Name
		p.go_(path)
		text := want[f.Name]
		if text == "" || eval[string](p.tab, fmt.Sprintf(`document.getElementById(%q).value`, path)) == text && !f.Tick {
			continue
		}
		switch {
		case f.Tick:
			p.type_(" ")
		default:
			p.type_(text)
		}
	}
}

// saved waits until what was written is kept and judged.
func (p *typist) saved(status string) {
	p.t.Helper()
	p.until(fmt.Sprintf(`document.querySelector("[data-status]").textContent.includes(%q)`, status))
}

// A new user sets the board of the demonstration up from an empty folder: every size,
// length, group, switch and neutral bar of its ten ways, by keys, in less than four minutes. From
// that job he sets up the next in less than half a minute.
func TestSetUpByHand(t *testing.T) {
	dir := t.TempDir()
	s := serve(t, dir)
	want := boardtest.Read(t, "terrace.yaml")
	b := newTab(t, 1440, 900)
	s.enter(b)
	p := &typist{tab: b}
	b.has("There are no jobs here yet")
	p.leave(func() { p.press(`a[href="/new"]`) })
	p.leave(func() { p.press(`button[value="blank"]`) })
	d := setup.Of(want)
	fields := d.Fields
	fields["work"] = ""
	p.fill("", setup.JobFields[:2], fields)
	p.go_("date")
	b.run(`document.activeElement.select()`) // what Tab does to a field
	p.type_(fields["date"])
	p.fill("", setup.JobFields[3:], fields)
	p.fill("boards[0].", setup.BoardFields, map[string]string{"name": d.Boards[0].Fields["name"], "earthing": "TN-C", "surge_protection": " "})
	short := map[string]string{board.MCB: "mcb", board.RCBO: "rcbo"}
	for i, w := range d.Boards[0].Ways {
		one := map[string]string{"way": w["way"]}
		for _, f := range setup.WayFields {
			if w[f.Name] != "" {
				one[f.Name] = w[f.Name]
			}
		}
		if s := short[one["device.standard"]]; s != "" {
			one["device.standard"] = s
		}
		if one["wiring"] != "" {
			one["wiring"] = one["wiring"][:2]
		}
		p.fill(setup.WayPath(0, i)+".", setup.WayFields, one)
	}
	// What is out of sight until it is asked for.
	more := func(group, path, text string) {
		t.Helper()
		p.press(fmt.Sprintf(`[id=%q] details.more > summary`, group))
		p.press(fmt.Sprintf(`[id=%q]`, path))
		p.type_(text)
	}
	p.press(`[id="boards[0].ways[1]"] details.more > summary`)
	p.press(`[id="boards[0].ways[1].two_way"]`)
	more("boards[0].ways[7]", "boards[0].ways[7].keep_500_off", d.Boards[0].Ways[7]["keep_500_off"])
	more("job", "tests", fields["tests"])
	p.saved("Nothing is missing")
	t.Logf("from nothing: %d keys and %d clicks, %.0f s", p.typed, p.clicks, p.seconds())
	if p.seconds() >= 240 {
		t.Errorf("%d keys and %d clicks take %.0f s", p.typed, p.clicks, p.seconds())
	}
	p.leave(func() { p.press(`button[value="create"]`) })
	b.has("waycall start TER-0107")
	known, err := jobs.Folder(dir).Read(t.Context(), "TER-0107")
	if err != nil {
		t.Fatal(err)
	}
	if got := known.State.Job; !reflect.DeepEqual(got, want) {
		t.Errorf("it is\n%s\nwant\n%s", setup.Of(got).YAML(), setup.Of(want).YAML())
	}
	again := &typist{tab: b}
	b.open(s.url + "/")
	again.leave(func() { again.press(`a[href="/new"]`) })
	again.leave(func() { again.press(`button[value="job"]`) })
	again.press("#reference")
	again.type_("TER-0108")
	again.saved("Nothing is missing")
	again.press("#compared")
	again.leave(func() { again.press(`button[value="create"]`) })
	b.has("waycall start TER-0108")
	t.Logf("from an earlier job: %d keys and %d clicks, %.0f s", again.typed, again.clicks, again.seconds())
	if again.seconds() >= 30 {
		t.Errorf("from an earlier job %.0f s", again.seconds())
	}
}

// What is written is judged while it is written, at its field and in the words of the board
// file, and is kept without a button; another page that wrote since is told.
func TestSetUpAsTyped(t *testing.T) {
	dir := t.TempDir()
	s := serve(t, dir)
	b := newTab(t, 820, 1180)
	s.enter(b)
	b.open(s.url + "/new")
	b.follow(`button[value="usual"]`)
	rating := `[id="boards[0].ways[0].device.rating"]`
	b.run(`document.querySelector('` + rating + `').select()`)
	b.keys("31")
	b.until(`document.querySelector("[data-wrong='boards[0].ways[0].device.rating']").textContent === "No device to BS EN 60898 has a rating of 31 A; read it off the device again."`)
	if !eval[bool](b, `document.querySelector('`+rating+`').getAttribute("aria-invalid") === "true"`) {
		t.Error("the field is not marked")
	}
	b.until(`document.querySelector("[data-status]").textContent.includes("1 thing to put right")`)
	here := eval[string](b, "location.href")
	b.open(here)
	if got := eval[string](b, `document.querySelector('`+rating+`').value`); got != "31" {
		t.Errorf("what was written was not kept: %q", got)
	}
	b.follow(`button[value="undo"]`)
	if got := eval[string](b, `document.querySelector('`+rating+`').value`); got == "31" {
		t.Error("it was not taken back")
	}
	b.run(`fetch(location.pathname, {method: "POST", body: new URLSearchParams({version: document.querySelector("[name=version]").value, page: "another", do: "add 0"})})`)
	b.write(`#address`, "mine")
	b.until(`document.querySelector("[data-status]").textContent.includes("changed on another page")`)
	b.may("409") // the answer that says so
	b.follow(`button[value="save"]`)
	b.has("This was changed on another page")
	if got := eval[string](b, `document.querySelector("#address").value`); got != "mine" {
		t.Errorf("what was written is lost: %q", got)
	}
	b.follow(`button[value="save"]`)
	if got := eval[string](b, `document.querySelector("#address").value`); got != "mine" {
		t.Errorf("after saving it is %q", got)
	}
	// Without the server, what is written stays and that is said.
	b.may("404")
	b.run(`document.querySelector("[data-editor]").action = "/new/0000000000000000"`)
	b.write(`#address`, " still")
	b.until(`document.querySelector("[data-status]").textContent.includes("Not kept")`)
	if got := eval[string](b, `document.querySelector("#address").value`); !strings.Contains(got, "mine") {
		t.Errorf("what was written is lost: %q", got)
	}
}

// The pages of setting up at each width and in both schemes.
func TestSetUpPages(t *testing.T) {
	dir := finished(t)
	s := serve(t, dir)
	b := newTab(t, 1440, 900)
	s.enter(b)
	look(b, s.url+"/new")
	b.open(s.url + "/new")
	b.follow(`button[value="usual"]`)
	here := eval[string](b, "location.href")
	look(b, here)
	look(b, s.url+"/")
	look(b, s.url+"/?find=no+such+job")
	for _, scheme := range []string{"light", "dark"} { // with everything open
		for _, width := range []int64{360, 820, 1440} {
			b.open(here)
			b.size(width, 1000)
			b.scheme(scheme)
			b.run(`document.querySelectorAll("details").forEach(d => { d.open = true; })`)
			b.until(fmt.Sprintf(`innerWidth === %d`, width))
			if eval[bool](b, `document.documentElement.scrollWidth > document.documentElement.clientWidth`) {
				t.Errorf("at %d px it scrolls sideways", width)
			}
			for _, fault := range b.shutsOut() {
				t.Errorf("in %s at %d px: %s", scheme, width, fault)
			}
		}
	}
	if dir := os.Getenv("WAYCALL_WRITE_PICTURES"); dir != "" {
		for name, at := range map[string]string{"begin": s.url + "/new", "editor": here, "home": s.url + "/"} {
			b.open(at)
			for _, width := range []int64{1440, 360} {
				b.size(width, 1000)
				if err := os.WriteFile(fmt.Sprintf("%s/%s-%d.png", dir, name, width), b.picture(), 0o600); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
}
