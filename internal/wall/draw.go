package wall

import (
	"fmt"
	"strings"
	"time"

	"waycall/internal/check"
	"waycall/internal/glance"

	"github.com/charmbracelet/x/ansi"
)

// size is a layout, for screens that are at least w by h. A dot of the way's
// figures has wx by wy cells, one of the reading's rx by ry.
type size struct {
	w, h           int
	wx, wy, rx, ry int
	said           int // rows for what was said
	gap            int // empty rows between the parts, and a line above what was said
}

// sizes, the largest first. A screen that is smaller than all of them gets lines
// of text.
var sizes = []size{
	{w: 160, h: 54, wx: 8, wy: 4, rx: 4, ry: 2, said: 4, gap: 2},
	{w: 100, h: 38, wx: 6, wy: 3, rx: 3, ry: 2, said: 3, gap: 1},
	{w: 72, h: 24, wx: 4, wy: 2, rx: 2, ry: 1, said: 2},
	{w: 44, h: 18, wx: 2, wy: 1, rx: 1, ry: 1, said: 2},
}

// draw returns the whole screen of w columns and h rows: at most h lines, none
// wider than w. It depends on nothing else.
func draw(f facts, p palette, w, h int) string {
	if w <= 0 || h <= 0 {
		return ""
	}
	c := newCanvas(w, h)
	c.header(f)
	for _, s := range sizes {
		if w >= s.w && h >= s.h {
			c.parts(f, s)
			return c.render(p)
		}
	}
	c.lines(f)
	return c.render(p)
}

// verdicts are the results in a word, a short word to draw large, and a shape.
var verdicts = map[check.Result]struct {
	word, large, shape string
	st                 style
}{
	check.Pass:        {"PASS", "PASS", "✓", good},
	check.Investigate: {"INVESTIGATE", "LOOK", "!", doubt},
	check.Fail:        {"FAIL", "FAIL", "✗", bad},
	check.CannotSay:   {"CANNOT SAY", "?", "?", doubt},
}

// header says in the first row whose turn it is. While it listens the row is
// reversed from edge to edge, so that it is seen from afar.
func (c *canvas) header(f facts) {
	var text string
	st := bar
	switch f.turn {
	case listening:
		text = "● LISTENING"
	case speaking:
		st, text = strong, "◆◆◆ SPEAKING"
	case paused:
		st, text = strong, "‖ PAUSED: say carry on"
	case finished:
		st, text = strong, "■ FINISHED"
	default:
		st, text = strong, "… STARTING"
	}
	if st == bar {
		c.fill(0, st)
	}
	c.put(1, 0, c.w-2, st, text)
	right := clean(f.Job)
	if len(f.Boards) > 1 {
		right = fmt.Sprintf("board %d of %d: %s   %s", place(f), len(f.Boards), short(clean(f.Name), c.w/4), right)
	}
	if f.stage != "" {
		right = clean(f.stage)
	}
	if room := c.w - ansi.StringWidth(text) - 5; room >= 8 {
		right = short(right, room)
		c.put(c.w-1-width(right), 0, room, st, right)
	}
}

// place is which of the boards is in hand, from 1.
func place(f facts) int {
	for i, b := range f.Boards {
		if b.Number == f.Board {
			return i + 1
		}
	}
	return 0
}

// width counts cells as put fills them.
func width(s string) int {
	n := 0
	for _, r := range s {
		n += ansi.StringWidth(string(r))
	}
	return n
}

// parts draws everything: the way and what is due, the last reading, what was
// said, the level and what is left.
func (c *canvas) parts(f facts, s size) {
	y := 2 // apart from the header, which may be reversed
	c.due(f, s, y)
	y += glyphRows*s.wy + s.gap
	c.last(f.Last, s, y)
	y += 2 + glyphRows*s.ry + s.gap
	bottom := c.h - 2 - s.gap
	if boards := c.boards(f); len(f.Boards) > 1 && bottom-y > s.said+2 {
		bottom -= 1
		c.put(1, bottom, c.w-2, plain, boards)
		bottom -= s.gap
	}
	if s.gap > 0 {
		c.rule(y, "")
		y++
	}
	c.said(f, y, bottom)
	c.meter(f, c.h-2)
	c.left(f, c.h-1)
}

// due draws the way, and beside it what it feeds and the test.
func (c *canvas) due(f facts, s size, y int) {
	rows, wide := glyphRows*s.wy, 7*s.wx
	if sx := fit(f.Place, s.wx, wide); sx > 0 {
		c.big(2, y, strong, f.Place, sx, s.wy, false)
	} else {
		c.put(2, y+rows/2, wide, strong, clean(f.Place))
	}
	x := 2 + wide + 3
	room := c.w - x - 1
	type part struct {
		text string
		st   style
		rows int
	}
	label := f.Label
	if f.Label == "WAY" {
		label = "WAY " + f.Place
	}
	if len(f.Boards) > 1 {
		label = fmt.Sprintf("BOARD %d   %s", f.Board, label)
	}
	space := max(0, (rows-6)/4) // between the texts
	spare := rows - 3
	parts := []part{{label, plain, 1}, {f.Feeds, strong, max(1, min(2, spare/2))}, {f.Due, strong, max(1, min(3, spare/2))}, {f.With, plain, 2}}
	end := y + rows
	for _, p := range parts {
		lines := wrap(clean(p.text), room, min(p.rows, end-y))
		for _, line := range lines {
			c.put(x, y, room, p.st, line)
			y++
		}
		if len(lines) > 0 {
			y += min(space, 2)
		}
	}
}

// rule draws a line across the screen with a title in it.
func (c *canvas) rule(y int, title string) {
	c.put(0, y, c.w, plain, strings.Repeat("─", c.w))
	if title != "" {
		c.put(2, y, c.w-4, strong, " "+short(clean(title), max(0, c.w-6))+" ")
	}
}

// last draws the last reading with its verdict.
func (c *canvas) last(l *glance.Last, s size, y int) {
	if l == nil {
		c.rule(y, "NO READING YET")
		return
	}
	title := "STORED: " + l.Where
	if l.Waits {
		title = "NOT STORED YET: " + l.Where
	}
	v, ok := verdicts[l.Result]
	if !ok {
		v = verdicts[check.CannotSay]
	}
	y++
	rows := glyphRows * s.ry
	// The verdict stands on the right, a failure as a filled panel.
	vx := fit(v.large, s.rx, c.w/2)
	at := c.w - 2 - units(v.large)*vx
	out := v.st == bad
	c.rule(y-1, short(clean(title), max(0, at-5)))
	if out {
		at -= vx
		for _, row := range []int{y - 1, y + rows} {
			c.put(at-vx, row, c.w, v.st, strings.Repeat("█", (units(v.large)+2)*vx))
		}
		c.big(at-vx, y, v.st, v.large, vx, s.ry, true)
	} else {
		c.big(at, y, v.st, v.large, vx, s.ry, false)
	}
	room := at - vx - 4 - width(l.Unit)
	if sx := fit(l.Figure, s.rx, room); sx > 0 {
		c.big(2, y, strong, l.Figure, sx, s.ry, false)
		c.put(3+units(l.Figure)*sx, y+rows-1, 4, strong, clean(l.Unit))
	} else {
		c.put(2, y+rows/2, room, strong, short(clean(l.Figure+" "+l.Unit), max(0, room)))
	}
	head, end := fmt.Sprintf("%-9s", v.shape+" "+v.word+"  "), c.w-2
	if out {
		end = at - vx - 1
	}
	c.put(1, y+rows, end-1, v.st, head)
	text := l.Because
	if l.Others != "" {
		text = l.Others + ". " + text
	}
	if x := 1 + width(head); x < end {
		c.put(x, y+rows, end-x, plain, short(clean(text), end-x))
	}
}

// said draws what passed between the two, in the rows from y to before end.
func (c *canvas) said(f facts, y, end int) {
	rows := end - y
	if f.heard != "" && rows > 1 {
		c.put(1, y, 8, plain, "you")
		c.put(10, y, c.w-11, strong, short(clean(f.heard), max(0, c.w-11)))
		y, rows = y+1, rows-1
	}
	for i, line := range wrap(clean(f.said), c.w-11, rows) {
		if i == 0 {
			c.put(1, y, 8, plain, "waycall")
		}
		c.put(10, y, c.w-11, plain, line)
		y++
	}
}

// boards lists the boards of the job with what is left on each.
func (c *canvas) boards(f facts) string {
	var all []string
	for _, b := range f.Boards {
		mark := " "
		if b.Number == f.Board {
			mark = "▶"
		}
		all = append(all, fmt.Sprintf("%s%d %s: %d left", mark, b.Number, short(clean(b.Name), 24), b.Left))
	}
	return short(strings.Join(all, "   "), c.w-2)
}

// quietest is the level at which the meter begins, dB relative to full scale.
const quietest = -60.0

// meter draws the level of the microphone. While waycall speaks nothing is taken
// from it.
func (c *canvas) meter(f facts, y int) {
	if f.sound.Gone {
		c.put(1, y, c.w-2, bad, "✗ "+short(clean(f.sound.Text), max(0, c.w-4)))
		return
	}
	if f.turn != listening && f.turn != paused {
		c.put(1, y, c.w-2, plain, "level    (not listening now)")
		return
	}
	lost := ""
	if f.sound.Lost > 0 {
		lost = fmt.Sprintf("  lost %d", f.sound.Lost)
	}
	room := max(0, c.w-21-len(lost))
	n := 0
	text := "silent"
	if f.level > quietest {
		level := min(f.level, 0)
		n = int((level-quietest)/-quietest*float64(room) + 0.5)
		text = fmt.Sprintf("%4.0f dB", level)
	}
	c.put(1, y, 8, plain, "level")
	c.put(10, y, room, strong, strings.Repeat("█", n)+strings.Repeat("·", max(0, room-n)))
	c.put(c.w-9-len(lost), y, 8, plain, text)
	c.put(c.w-1-len(lost), y, len(lost), bad, lost)
}

// left draws how much is left, and how much is done.
func (c *canvas) left(f facts, y int) {
	text := "left     " + count(f)
	c.put(1, y, c.w-2, strong, short(text, c.w-2))
	done := fmt.Sprintf("%d of %d tests", f.Done, f.All)
	if x := c.w - 1 - len(done); x > width(text)+4 {
		c.put(x, y, len(done), plain, done)
		if room := x - width(text) - 6; room >= 8 && f.All > 0 {
			room = min(room, 30)
			n := min(room, f.Done*room/f.All)
			c.put(x-room-2, y, room, plain, strings.Repeat("█", n)+strings.Repeat("·", room-n))
		}
	}
}

func count(f facts) string {
	if f.Tests+f.Steps == 0 && f.Waiting == 0 {
		return "nothing"
	}
	text := many(f.Tests, "test")
	if f.Steps > 0 {
		text += ", " + many(f.Steps, "step")
	}
	if f.Waiting > 0 {
		text += fmt.Sprintf(", %d waiting", f.Waiting)
	}
	if f.Estimated && f.Tests+f.Steps > 0 {
		text += ", " + about(f.Estimate)
	}
	return text
}

func many(n int, what string) string {
	if n != 1 {
		what += "s"
	}
	return fmt.Sprintf("%d %s", n, what)
}

// about says a time as roughly as it is known.
func about(d time.Duration) string {
	m := int(d.Round(time.Minute).Minutes())
	switch {
	case m < 1:
		return "under a minute"
	case m < 60:
		return fmt.Sprintf("about %d min", m)
	}
	return fmt.Sprintf("about %d h %02d min", m/60, m%60)
}

// lines says the same as text, the most needed first, where there is no room to
// draw.
func (c *canvas) lines(f facts) {
	type line struct {
		text string
		st   style
	}
	where := strings.TrimSpace(f.Label)
	if f.Label == "WAY" {
		where = "WAY " + f.Place
	}
	if len(f.Boards) > 1 {
		where = fmt.Sprintf("BOARD %d, %s", f.Board, where)
	}
	all := []line{{where, strong}, {f.Due, strong}}
	if f.sound.Gone || f.sound.Lost > 0 {
		all = append([]line{{f.sound.Text, bad}}, all...)
	}
	if l := f.Last; l != nil {
		v, ok := verdicts[l.Result]
		if !ok {
			v = verdicts[check.CannotSay]
		}
		head := "stored "
		if l.Waits {
			head = "confirm? "
		}
		all = append(all, line{head + l.Figure + " " + l.Unit, strong}, line{v.shape + " " + v.word, v.st})
	}
	all = append(all, line{count(f) + " left", plain}, line{f.Feeds, plain}, line{f.With, plain}, line{f.said, plain}, line{f.heard, plain})
	y := 1
	for i, l := range all {
		// Each gets a second row when the others have theirs.
		rows := 1
		if c.h-y > len(all)-i {
			rows = 2
		}
		for _, text := range wrap(clean(l.text), c.w, rows) {
			c.put(0, y, c.w, l.st, text)
			y++
		}
	}
}
