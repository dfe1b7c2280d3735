// This file places words and paragraphs on pages, and writes what stands above and below
// each.

package paper

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"waycall/internal/report"
)

// --- pages

func (p *pdf) newPage() {
	p.AddPage()
	if p.s.Signed == nil {
		p.TransformBegin()
		p.TransformRotate(30, 148, 110)
		p.font("B", 150)
		p.SetTextColor(241, 241, 241)
		p.Text(148-p.GetStringWidth(draft)/2, 130, draft)
		p.TransformEnd()
	}

	p.ink()
	p.font("B", 12)
	p.Text(pageLeft, 14, report.Title)
	p.font("", plainSize)
	p.Text(pageLeft, 18.4, p.clipped("Job "+shown(p.s.Job.Reference)+", "+shown(p.s.Job.Address), 215))
	p.font("B", 9)
	if p.sign == "" {
		p.sign = p.clipped(signature(p.s), 170)
	}
	p.right(pageRight, 14, p.sign)
	p.SetDrawColor(30, 52, 74)
	p.SetLineWidth(0.5)
	p.Line(pageLeft, 20, pageRight, 20)
	p.y = pageTop
}

// signature is what stands above each page: that it is a draft, or who signed.
func signature(s report.Schedule) string {
	if s.Signed == nil {
		return noSignature
	}
	return "Signed off by " + shown(s.Signed.Name) + " (" + shown(s.Signed.Initials) + "), " + s.Signed.At.UTC().Format("2006-01-02 15:04 UTC")
}

// footers come last, when it is known how many pages there are.
func (p *pdf) footers() {
	all := p.PageCount()
	record := "Record: event " + strconv.FormatInt(p.s.Record.LastEvent, 10)
	if p.s.Record.Sum != "" {
		record += ", sum " + shown(p.s.Record.Sum)
	}
	for n := 1; n <= all; n++ {
		p.SetPage(n)
		p.SetDrawColor(150, 150, 150)
		p.SetLineWidth(0.2)
		p.Line(pageLeft, 200, pageRight, 200)
		p.ink()
		p.font("", 6.5)
		p.Text(pageLeft, 203.5, p.clipped(record, 240))
		p.right(pageRight, 203.5, fmt.Sprintf("Page %d of %d", n, all))
	}
}

func (p *pdf) font(style string, size float64) { p.SetFont("go", style, size) }

func (p *pdf) ink() { p.SetTextColor(25, 30, 36) }

func (p *pdf) right(x, y float64, s string) { p.Text(x-p.GetStringWidth(s), y, s) }

// room begins a page where less than h mm are left, and says whether it did.
func (p *pdf) room(h float64) bool {
	if p.y+h <= pageBottom {
		return false
	}
	p.newPage()
	return true
}

// clipped is s, cut where it is wider than w.
func (p *pdf) clipped(s string, w float64) string {
	if end, _ := p.reach(s, w); end == len(s) {
		return s
	}
	end, _ := p.reach(s, w-p.GetStringWidth("…"))
	return strings.TrimRight(s[:end], " ") + "…"
}

// wrap breaks s, which is printable, into lines of at most w mm in the font that
// is set. Beyond most lines there is one more with the rest; most 0 is no limit.
func (p *pdf) wrap(s string, w float64, most int) []string {
	if end, _ := p.reach(s, w); end == len(s) {
		return []string{s}
	}
	var lines []string
	line, used := "", 0.0
	_, space := p.reach(" ", w)
	for len(s) > 0 {
		if most > 0 && len(lines) == most {
			return append(lines, s)
		}
		word, rest, more := strings.Cut(s, " ")
		end, width := p.reach(word, w)
		switch {
		case end == len(word) && line == "":
			line, used = word, width
		case end == len(word) && used+space+width <= w:
			line, used = line+" "+word, used+space+width
		case line != "":
			lines, line = append(lines, line), ""
			continue
		default: // a word longer than a whole line
			if end == 0 {
				_, end = utf8.DecodeRuneInString(word)
			}
			lines, s = append(lines, word[:end]), s[end:]
			continue
		}
		if s = rest; !more {
			break
		}
	}
	if line != "" || len(lines) == 0 {
		lines = append(lines, line)
	}
	return lines
}

// reach returns how far s goes within w mm in the font that is set, and how wide
// that is. It measures no more than it has to of a hostile length.
func (p *pdf) reach(s string, w float64) (end int, width float64) {
	_, size := p.GetFontSize()
	for i, r := range s {
		step := float64(p.GetStringSymbolWidth(s[i:i+utf8.RuneLen(r)])) * size / 1000
		if width+step > w {
			return i, width
		}
		width += step
	}
	return len(s), width
}

func (p *pdf) heading(s string) {
	p.room(14)
	p.y += 2.5
	p.ink()
	p.font("B", 9.5)
	p.Text(pageLeft, p.y+3, p.clipped(s, pageWidth))
	p.y += 5.5
}

// item writes a paragraph after a mark, over as many pages as it needs.
func (p *pdf) item(mark, s string) {
	p.ink()
	p.font("", plainSize)
	indent := 0.0
	if mark != "" {
		indent = max(4, p.GetStringWidth(mark)+1.5)
	}
	for i, l := range p.wrap(shown(s), pageWidth-indent, 0) {
		if p.room(plainLine) {
			p.ink()
			p.font("", plainSize)
		}
		if i == 0 {
			p.Text(pageLeft, p.y+3, mark)
		}
		p.Text(pageLeft+indent, p.y+3, l)
		p.y += plainLine
	}
}

// field writes a name and what it is.
func (p *pdf) field(name, s string) {
	p.ink()
	for i, l := range p.fieldLines(s) {
		p.room(plainLine)
		p.ink()
		if i == 0 {
			p.font("B", plainSize)
			p.Text(pageLeft, p.y+3, name)
		}
		p.font("", plainSize)
		p.Text(pageLeft+34, p.y+3, l)
		p.y += plainLine
	}
}

func (p *pdf) fieldLines(s string) []string {
	p.font("", plainSize)
	return p.wrap(shown(s), pageWidth-34, 0)
}
