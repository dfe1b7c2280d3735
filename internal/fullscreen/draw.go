package fullscreen

import (
	"fmt"
	"strings"
	"time"

	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/show"

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
	if len(f.Options) > 0 {
		c.options(f, s, y, c.h-3-s.said)
		c.said(f, c.h-2-s.said, c.h-2)
		c.meter(f, c.h-2)
		c.left(f, c.h-1)
		return
	}
	c.due(f, s, y)
	y += glyphRows*s.wy + s.gap
	switch {
	case len(f.Tally) > 0:
		c.tally(f.Tally, y)
	case f.Last != nil && !f.Last.Waits:
		c.stored(f.Last, s, y)
	default:
		c.last(f.Last, s, y)
	}
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
	parts := []part{{label, plain, 1}, {f.Feeds, strong, max(1, min(2, spare/2))}, {f.Due, strong, max(1, min(3, spare/2))}, {f.With, plain, 2}, {f.say(), plain, 3}}
	end := y + rows
	for i, p := range parts {
		if i == 2 && space < 2 && f.say() != "" {
			space = 0 // the room is for what may be said
		}
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

// options draws what there is to choose from on the whole of the screen: a question
// stands alone until it is answered.
func (c *canvas) options(f facts, s size, y, end int) {
	all := f.Options
	c.rule(y, strings.TrimSpace("WHICH WAS IT?  "+f.say()))
	y += 2
	each := max(2, (end-y)/max(1, len(all)))
	for i, o := range all {
		if y >= end {
			return
		}
		n := fmt.Sprint(i + 1)
		rows := min(each-1, glyphRows*s.wy)
		scale := max(1, rows/glyphRows)
		if rows < glyphRows || units(n) == 0 {
			c.put(2, y, c.w-4, strong, short(clean(fmt.Sprintf("option %s: %s, %s", n, show.AtPlace(o.Place), o.Text)), max(0, c.w-4)))
			y += each
			continue
		}
		c.big(2, y, strong, n, s.wx, scale, false)
		x := 2 + 4*s.wx + 2
		room := c.w - x - 2
		c.put(x, y, room, plain, short(clean("option "+n+", "+show.AtPlace(o.Place)), max(0, room)))
		figure, unit, _ := strings.Cut(o.Text, " ")
		if sx := fit(figure, s.wx, room-width(unit)-2); sx > 0 && !strings.Contains(unit, " ") && rows > glyphRows {
			tall := max(1, (rows-1)/glyphRows)
			c.big(x, y+1, strong, figure, sx, tall, false)
			c.put(x+units(figure)*sx+1, y+glyphRows*tall, width(unit), strong, clean(unit))
		} else {
			for j, line := range wrap(clean(o.Text), room, rows-1) {
				c.put(x, y+1+j, room, strong, line)
			}
		}
		y += each
	}
}

// tally draws what the job comes to, each count on a line of its own.
func (c *canvas) tally(all []show.Count, y int) {
	c.rule(y, "WHAT STANDS ON THE SCHEDULE")
	for i, n := range all {
		word, shape, st := "LEFT OUT", "–", plain
		if v, ok := verdicts[n.Result]; ok {
			word, shape, st = v.word, v.shape, v.st
		}
		c.put(2, y+1+i, c.w-4, st, fmt.Sprintf("%4d  %s %s", n.N, shape, word))
	}
}

// stored draws a reading that is stored, dim, because it is not of the way that is due:
// the way whose it is stands before it, as large as its verdict.
func (c *canvas) stored(l *show.Last, s size, y int) {
	v, ok := verdicts[l.Result]
	if !ok {
		v = verdicts[check.CannotSay]
	}
	title := "STORED: "
	if l.Gone != "" {
		title = l.Gone + ": "
	}
	c.rule(y, short(clean(title+l.Where), max(0, c.w-8)))
	sx := max(1, s.rx-1)
	gap, unit := 4*sx, clean(l.Unit)
	line := strings.TrimSpace(show.AtPlace(l.Place) + "   " + l.Figure + " " + l.Unit + "   " + v.word)
	used := (units(l.Place)+units(l.Figure)+units(v.large))*sx + 2*gap + width(unit) + 2
	if units(l.Place) == 0 || units(l.Figure) == 0 || used > c.w-4 {
		c.put(2, y+1+glyphRows*s.ry/2, c.w-4, faint, short(clean(line), max(0, c.w-4)))
	} else {
		c.big(2, y+1, faint, l.Place, sx, s.ry, false)
		x := 2 + units(l.Place)*sx + gap
		c.big(x, y+1, faint, l.Figure, sx, s.ry, false)
		x += units(l.Figure)*sx + 1
		c.put(x, y+glyphRows*s.ry, width(unit), faint, unit)
		if l.Gone != "TAKEN OFF" { // of which nothing counts
			c.big(c.w-2-units(v.large)*sx, y+1, faint, v.large, sx, s.ry, false)
		}
	}
	head := v.shape + " " + v.word
	if l.Gone != "" {
		head = strings.ToLower(l.Gone) + ", was " + v.word
	}
	c.put(1, y+1+glyphRows*s.ry, c.w-2, v.st, short(clean(head), max(0, c.w-2)))
	text := l.Because
	if l.Others != "" {
		text = l.Others + ". " + text
	}
	if x := 3 + width(clean(head)); x < c.w-2 {
		c.put(x, y+1+glyphRows*s.ry, c.w-2-x, plain, short(clean(text), max(0, c.w-2-x)))
	}
}

// last draws the reading that waits with its verdict.
func (c *canvas) last(l *show.Last, s size, y int) {
	if l == nil {
		c.rule(y, "NO READING YET")
		return
	}
	title := "NOT STORED YET: " + l.Where
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
	done := fmt.Sprintf("%d of %d tests", f.Recorded, f.All)
	if f.LeftOut > 0 {
		done += fmt.Sprintf(", %d left out", f.LeftOut)
	}
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
	text := english.Count(f.Tests, "test")
	if f.Steps > 0 {
		text += ", " + english.Count(f.Steps, "step")
	}
	if f.Waiting > 0 {
		text += fmt.Sprintf(", %d waiting", f.Waiting)
	}
	if f.Estimated && f.Tests+f.Steps > 0 {
		text += ", " + about(f.Estimate)
	}
	return text
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
		if l.Waits {
			all = append(all, line{"confirm? " + l.Figure + " " + l.Unit, strong}, line{v.shape + " " + v.word, v.st})
		} else {
			head := "stored"
			if l.Gone != "" {
				head = strings.ToLower(l.Gone)
			}
			all = append(all, line{head + ", " + show.AtPlace(l.Place) + ": " + l.Figure + " " + l.Unit + " " + v.shape + " " + v.word, faint})
		}
	}
	for _, n := range f.Tally {
		word := "left out"
		if v, ok := verdicts[n.Result]; ok {
			word = v.word
		}
		all = append(all, line{fmt.Sprintf("%d %s", n.N, word), strong})
	}
	if len(f.Options) > 0 {
		all = []line{{"which was it?", plain}}
		for i, o := range f.Options {
			all = append(all, line{fmt.Sprintf("option %d: %s, %s", i+1, show.AtPlace(o.Place), o.Text), strong})
		}
	}
	all = append(all, line{count(f) + " left", plain}, line{f.Feeds, plain}, line{f.With, plain}, line{f.say(), plain}, line{f.said, plain}, line{f.heard, plain})
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
