// This file draws the readings beside their limits, on a logarithmic axis.

package paper

import (
	"fmt"
	"math"
	"strconv"

	"codeberg.org/go-pdf/fpdf"

	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/report"
	"waycall/internal/waymark"
)

// perPlot is how many lines of the schedule stand side by side on a page.
const perPlot = 36

// plot is a picture with the lines of the schedule side by side, on a
// logarithmic axis.
type plot struct {
	title  string
	points [][]point // of each line
	limits [][]limitMark
	legend string
}

type point struct {
	value  float64
	bound  reading.Bound
	square bool
	result string
}

type limitMark struct {
	value float64
	solid bool
}

// plots writes the pages of plots: insulation with its limit, Zs against the
// greatest permitted, R1+R2 against what is expected.
func (p *pdf) plots() {
	var lines []report.Line
	for _, l := range p.s.Lines {
		if !l.Spare {
			lines = append(lines, l)
		}
	}
	for from := 0; from < len(lines); from += perPlot {
		part := lines[from:min(from+perPlot, len(lines))]
		p.newPage()
		title := "Plots"
		if from > 0 {
			title += " (continued)"
		}
		p.heading(title + ": below each reading its way, as board/way")
		for _, one := range []plot{p.insulation(part), loop(part), continuity(part)} {
			p.plot(one, part, 53)
		}
	}
}

func take(c report.Cell) (point, bool) {
	if c.Status != report.Recorded || c.Value == nil || c.Unit == "" || math.IsNaN(*c.Value) || math.IsInf(*c.Value, 0) {
		return point{}, false
	}
	return point{value: *c.Value, bound: reading.Bound(c.Bound), result: c.Result}, true
}

// pointsOf returns what was measured of a test on a line, if anything was.
func pointsOf(l report.Line, test reading.Test) []point {
	if c := l.Cell(test); c != nil {
		if q, ok := take(*c); ok {
			return []point{q}
		}
	}
	return nil
}

func (p *pdf) insulation(lines []report.Line) plot {
	out := plot{title: "Insulation, M" + ohmSign, legend: "circle: to earth    square: between live conductors    arrow: beyond the scale    dashed: limit    crossed: fails    ringed: to be looked into"}
	for _, l := range lines {
		var points []point
		var limits []limitMark
		for _, c := range l.Cells {
			if q, ok := take(c); ok && c.Test.Insulation() {
				switch c.Test {
				case reading.LNE, reading.LE, reading.NE, reading.L1E, reading.L2E, reading.L3E:
				default:
					q.square = true
				}
				points = append(points, q)
			}
		}
		for _, lim := range p.s.Limits {
			for _, w := range lim.Ways {
				if lim.Board == l.Board && w == l.Way {
					limits = append(limits, limitMark{lim.Least, false})
				}
			}
		}
		out.points, out.limits = append(out.points, points), append(out.limits, limits)
	}
	return out
}

func loop(lines []report.Line) plot {
	out := plot{title: "Zs, " + ohmSign, legend: "circle: measured    dashed: what it was held against, cold    line: greatest permitted, hot    crossed: fails    ringed: to be looked into"}
	for _, l := range lines {
		var limits []limitMark
		if z := l.MaxZs; z != nil {
			limits = []limitMark{{z.Measured, false}, {z.Ohm, true}}
		}
		out.points, out.limits = append(out.points, pointsOf(l, reading.Zs)), append(out.limits, limits)
	}
	return out
}

func continuity(lines []report.Line) plot {
	out := plot{title: "R1+R2, " + ohmSign, legend: "circle: measured    line: expected from length and size, where they are known    crossed: fails    ringed: to be looked into"}
	for _, l := range lines {
		var limits []limitMark
		if l.Expected > 0 {
			limits = []limitMark{{l.Expected, true}}
		}
		out.points, out.limits = append(out.points, pointsOf(l, reading.R1R2)), append(out.limits, limits)
	}
	return out
}

// plot draws one picture h mm high.
func (p *pdf) plot(one plot, lines []report.Line, h float64) {
	low, high := math.Inf(1), math.Inf(-1)
	see := func(x float64) {
		if x > 0 {
			low, high = min(low, x), max(high, x)
		}
	}
	for i := range lines {
		for _, q := range one.points[i] {
			see(q.value)
		}
		for _, m := range one.limits[i] {
			see(m.value)
		}
	}
	top, left, right := p.y+5, pageLeft+14, pageRight
	bottom := p.y + h - 6
	p.ink()
	p.font("B", plainSize)
	p.Text(pageLeft, p.y+3, one.title)
	titleWidth := p.GetStringWidth(one.title)
	p.font("", 6.5)
	p.Text(pageLeft+max(30, titleWidth+6), p.y+3, one.legend)
	p.y += h
	if low > high {
		p.Text(left, top+6, "nothing to show")
		return
	}
	// Whole decades, with room for the arrows.
	from, to := math.Floor(math.Log10(low)+1e-9), math.Ceil(math.Log10(high*1.15))
	if to-from > 12 { // hostile figures
		from = to - 12
	}
	to = max(to, from+1)
	at := func(x float64) float64 {
		share := (math.Log10(max(x, math.Pow(10, from))) - from) / (to - from)
		return bottom - min(1, share)*(bottom-top)
	}
	p.SetLineWidth(0.12)
	for d := from; d <= to; d++ {
		p.SetDrawColor(176, 184, 194)
		y := at(math.Pow(10, d))
		p.Line(left, y, right, y)
		p.right(left-1.5, y+0.9, strconv.FormatFloat(math.Pow(10, d), 'g', -1, 64))
		p.SetDrawColor(226, 230, 235)
		for m := 2.0; m < 10 && d < to && to-from <= 5; m++ {
			p.Line(left, at(m*math.Pow(10, d)), right, at(m*math.Pow(10, d)))
		}
	}
	step := (right - left) / float64(max(len(lines), 12))
	p.font("", 5.8)
	for i, l := range lines {
		middle := left + (float64(i)+0.5)*step
		if i > 0 && lines[i-1].Board != l.Board {
			p.SetDrawColor(120, 130, 140)
			p.Line(middle-step/2, top, middle-step/2, bottom)
		}
		label := fmt.Sprintf("%d/%s", l.Board, waymark.Print(l.Way))
		p.ink()
		p.Text(middle-p.GetStringWidth(label)/2, bottom+2.8, label)
		if l.Position > 0 {
			label = "sw " + l.Switch()
			p.Text(middle-p.GetStringWidth(label)/2, bottom+5, label)
		}
		for _, m := range one.limits[i] {
			if m.value <= 0 {
				continue
			}
			p.SetDrawColor(176, 42, 34)
			p.SetLineWidth(0.45)
			if !m.solid {
				p.SetDashPattern([]float64{1, 0.7}, 0)
			}
			p.Line(middle-step*0.42, at(m.value), middle+step*0.42, at(m.value))
			p.SetDashPattern(nil, 0)
			p.SetLineWidth(0.12)
		}
		for k, q := range one.points[i] {
			n := float64(len(one.points[i]))
			x := middle + (float64(k)-(n-1)/2)*min(3, step*0.8/n)
			p.point(q, x, at(q.value), min(0.8, step*0.4/n))
		}
	}
}

// point draws a reading; a bound is an arrow that begins at its value.
func (p *pdf) point(q point, x, y, r float64) {
	p.SetDrawColor(24, 78, 140)
	p.SetFillColor(24, 78, 140)
	p.SetLineWidth(0.25)
	if q.bound == reading.GreaterThan || q.bound == reading.LessThan {
		up := -1.0
		if q.bound == reading.LessThan {
			up = 1
		}
		p.Line(x, y, x, y+up*2.6)
		p.Polygon([]fpdf.PointType{{X: x - 0.8, Y: y + up*2.2}, {X: x + 0.8, Y: y + up*2.2}, {X: x, Y: y + up*3.6}}, "F")
	}
	if q.square {
		p.SetFillColor(255, 255, 255)
		p.Rect(x-r, y-r, 2*r, 2*r, "FD")
	} else {
		p.Circle(x, y, r, "F")
	}
	switch q.result {
	case string(check.Investigate), string(check.CannotSay):
		p.SetDrawColor(150, 96, 0)
		p.SetLineWidth(0.35)
		p.Circle(x, y, 1.7, "D")
	case string(check.Fail):
		p.SetDrawColor(176, 42, 34)
		p.SetLineWidth(0.4)
		p.Line(x-1.6, y-1.6, x+1.6, y+1.6)
		p.Line(x-1.6, y+1.6, x+1.6, y-1.6)
	}
}
