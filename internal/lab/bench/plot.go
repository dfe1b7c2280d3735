package bench

import (
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strings"
)

// A picture is an SVG of fixed size in our own colours, which change with the
// reader's light or dark setting.
type picture struct {
	w, h int
	body strings.Builder
}

const pictureStyle = `
  text { font: 13px sans-serif; fill: #22303c }
  .title { font-size: 15px; font-weight: bold }
  .small { font-size: 11px; fill: #56646f }
  .page { fill: #fbfaf7 }
  .axis { stroke: #8b959c; fill: none }
  .grid { stroke: #e1e0da; fill: none }
  .s0 { stroke: #0b6e69; fill: none; stroke-width: 2.5 } .d0 { fill: #0b6e69 }
  .s1 { stroke: #b8621b; fill: none; stroke-width: 2.5; stroke-dasharray: 7 4 } .d1 { fill: #b8621b }
  .s2 { stroke: #a3214f; fill: none; stroke-width: 2.5 } .d2 { fill: #a3214f }
  .even { stroke: #8b959c; fill: none; stroke-dasharray: 3 4 }
  @media (prefers-color-scheme: dark) {
    text { fill: #e4e2dc } .small { fill: #a3abb0 } .page { fill: #171c20 }
    .axis { stroke: #77828a } .grid { stroke: #2b3339 } .even { stroke: #77828a }
    .s0 { stroke: #4fc4bb } .d0 { fill: #4fc4bb } .s1 { stroke: #eba35e } .d1 { fill: #eba35e }
    .s2 { stroke: #f0709c } .d2 { fill: #f0709c }
  }
`

func (p *picture) put(format string, args ...any) { fmt.Fprintf(&p.body, format+"\n", args...) }

func (p *picture) text(x, y float64, class, anchor, s string) {
	var escaped strings.Builder
	xml.EscapeText(&escaped, []byte(s)) // a strings.Builder never fails
	p.put(`<text x="%.1f" y="%.1f" class="%s" text-anchor="%s">%s</text>`, x, y, class, anchor, &escaped)
}

func (p *picture) line(class string, x1, y1, x2, y2 float64) {
	p.put(`<path class="%s" d="M%.1f %.1fL%.1f %.1f"/>`, class, x1, y1, x2, y2)
}

func (p *picture) dot(class string, x, y, r float64) {
	p.put(`<circle class="%s" cx="%.1f" cy="%.1f" r="%.1f"/>`, class, x, y, r)
}

func (p *picture) writeTo(w io.Writer, title string) error {
	var escaped strings.Builder
	xml.EscapeText(&escaped, []byte(title))
	_, err := fmt.Fprintf(w, `<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" viewBox="0 0 %d %d" role="img">
<title>%s</title>
<style>%s</style>
<rect class="page" width="%d" height="%d" rx="6"/>
%s</svg>
`, p.w, p.h, p.w, p.h, &escaped, pictureStyle, p.w, p.h, &p.body)
	return err
}

// AtNoise is what was measured at one level of noise.
type AtNoise struct {
	Label   string // clean, 20 dB, ...
	Figures Count  // readings and values
	All     Count
}

// PlotNoise draws how hearing gives way to noise: above, the readings and values
// that were right, and right without a question; below, on a scale of its own,
// what was wrong among the sure, with its upper 95 % bound.
func PlotNoise(w io.Writer, title string, points []AtNoise) error {
	p := &picture{w: 640, h: 440}
	const left, right, top, middle, base, foot = 64.0, 616.0, 84.0, 260.0, 300.0, 386.0
	p.text(24, 28, "title", "start", title)
	p.dot("d0", 28, 44, 4)
	p.text(38, 48, "small", "start", "right")
	p.dot("d1", 92, 44, 4)
	p.text(102, 48, "small", "start", "right without a question")
	p.dot("d2", 254, 44, 4)
	p.text(264, 48, "small", "start", "wrong among the sure, with its upper 95 % bound")

	least, most := 1.0, 0.0
	for _, q := range points {
		least = min(least, q.Figures.RightShare, q.Figures.RightSureShare)
		if q.All.Sure > 0 {
			most = max(most, q.All.WrongSureMost)
		}
	}
	floor := math.Floor(min(least, 0.95)*10-0.01) / 10 // a round tenth below everything
	floor = max(floor, 0)
	ceiling := niceAbove(max(most, 0.001))
	up := func(share float64) float64 { return middle - (share-floor)/(1-floor)*(middle-top) }
	down := func(share float64) float64 { return foot - share/ceiling*(foot-base) }
	for i := range 5 {
		share := floor + (1-floor)*float64(i)/4
		p.line("grid", left, up(share), right, up(share))
		p.text(left-8, up(share)+4, "small", "end", short(share))
	}
	for i := range 3 {
		share := ceiling * float64(i) / 2
		p.line("grid", left, down(share), right, down(share))
		p.text(left-8, down(share)+4, "small", "end", short(share))
	}
	p.line("axis", left, middle, right, middle)
	p.line("axis", left, foot, right, foot)
	across := func(i int) float64 { return left + (float64(i)+0.5)*(right-left)/float64(max(1, len(points))) }
	draw := func(class string, y func(AtNoise) float64) {
		path := ""
		for i, q := range points {
			path += fmt.Sprintf("%c%.1f %.1f", "ML"[min(i, 1)], across(i), y(q))
		}
		if path != "" {
			p.put(`<path class="s%s" d="%s"/>`, class, path)
		}
		for i, q := range points {
			p.dot("d"+class, across(i), y(q), 4)
		}
	}
	draw("1", func(q AtNoise) float64 { return up(q.Figures.RightSureShare) })
	draw("0", func(q AtNoise) float64 { return up(q.Figures.RightShare) })
	for i, q := range points {
		x := across(i)
		p.text(x+9, up(q.Figures.RightShare)-7, "small", "start", short(q.Figures.RightShare))
		if q.All.Sure > 0 {
			p.line("s2", x, down(q.All.WrongSureShare), x, down(q.All.WrongSureMost))
			p.line("s2", x-5, down(q.All.WrongSureMost), x+5, down(q.All.WrongSureMost))
			p.dot("d2", x, down(q.All.WrongSureShare), 4)
			p.text(x+9, down(q.All.WrongSureShare)-5, "small", "start", fmt.Sprintf("%d of %d", q.All.WrongSure, q.All.Sure))
		}
		p.text(x, foot+18, "", "middle", q.Label)
	}
	p.text((left+right)/2, foot+38, "small", "middle", "how far the speech lies above the noise; above: readings and values, below: all phrases")
	return p.writeTo(w, title)
}

// niceAbove returns the least of 1, 2 and 5 times a power of ten that is not
// below x.
func niceAbove(x float64) float64 {
	unit := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{1, 2, 5} {
		if m*unit >= x {
			return m * unit
		}
	}
	return 10 * unit
}

// short writes a share in as few digits as tell it apart.
func short(share float64) string {
	return strings.TrimSuffix(fmt.Sprintf("%.4g", math.Round(1e4*share)/100), ".0") + " %"
}

// PlotReliability draws the confidence claimed against what was right. The scale
// widens towards certainty: each step halves or so the chance of being wrong. Bars
// are 95 % bounds on either side; a bar that misses the diagonal is a claim that
// does not hold.
func PlotReliability(w io.Writer, title string, table []Bin) error {
	p := &picture{w: 520, h: 520}
	const left, right, top, foot = 72.0, 484.0, 60.0, 452.0
	p.text(24, 28, "title", "start", title)
	ticks := []float64{0, 0.5, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 0.999}
	const surest = 0.9995
	at := func(share float64) float64 { // 0 to 1 along an axis
		return math.Log(1-min(max(share, 0), surest)) / math.Log(1-surest)
	}
	x := func(share float64) float64 { return left + at(share)*(right-left) }
	y := func(share float64) float64 { return foot - at(share)*(foot-top) }
	for _, t := range ticks {
		p.line("grid", x(t), top, x(t), foot)
		p.line("grid", left, y(t), right, y(t))
		p.text(left-8, y(t)+4, "small", "end", short(t))
		p.text(x(t), foot+16, "small", "middle", strings.TrimSuffix(short(t), " %"))
	}
	p.line("axis", left, foot, right, foot)
	p.line("axis", left, top, left, foot)
	p.line("even", left, foot, right, top)
	for _, b := range table {
		share := float64(b.Right) / float64(b.Answers)
		cx := x(b.Claimed)
		p.line("s0", cx, y(AtLeast(b.Right, b.Answers)), cx, y(AtMost(b.Right, b.Answers)))
		p.dot("d0", cx, y(share), 5)
		p.text(cx-8, y(share)-8, "small", "end", fmt.Sprint(b.Answers))
	}
	p.text((left+right)/2, foot+40, "", "middle", "confidence claimed, %")
	p.put(`<text class="" text-anchor="middle" transform="translate(20 %.0f) rotate(-90)">right</text>`, (top+foot)/2)
	p.text(right, foot+58, "small", "end", "number of answers beside each point; above the line is better than claimed")
	return p.writeTo(w, title)
}

// Series is one line of PlotSeries: Y over X, in order.
type Series struct {
	Name string
	X, Y []float64
}

// PlotSeries draws up to three lines over one axis, from zero up.
func PlotSeries(w io.Writer, title, across, unit string, list []Series) error {
	p := &picture{w: 640, h: 300}
	const left, right, top, foot = 64.0, 616.0, 64.0, 244.0
	p.text(24, 28, "title", "start", title)
	endX, most := 0.0, 0.0
	for _, s := range list {
		for i := range s.X {
			endX, most = max(endX, s.X[i]), max(most, s.Y[i])
		}
	}
	endX, ceiling := max(endX, 1e-9), niceAbove(max(most, 1e-9))
	x := func(v float64) float64 { return left + v/endX*(right-left) }
	y := func(v float64) float64 { return foot - v/ceiling*(foot-top) }
	for i := range 5 {
		v := ceiling * float64(i) / 4
		p.line("grid", left, y(v), right, y(v))
		p.text(left-8, y(v)+4, "small", "end", fmt.Sprintf("%.3g", v))
	}
	step := niceAbove(endX / 8)
	for v := 0.0; v <= endX*1.0001; v += step {
		p.text(x(v), foot+16, "small", "middle", fmt.Sprintf("%.3g", v))
	}
	p.text(left-8, top-12, "small", "end", unit)
	p.line("axis", left, foot, right, foot)
	at := left
	for n, s := range list {
		class := fmt.Sprint(n % 3)
		path := ""
		for i := range s.X {
			path += fmt.Sprintf("%c%.1f %.1f", "ML"[min(i, 1)], x(s.X[i]), y(s.Y[i]))
		}
		if path != "" {
			p.put(`<path class="s%s" d="%s"/>`, class, path)
		}
		p.dot("d"+class, at+4, 46, 4)
		p.text(at+14, 50, "small", "start", s.Name)
		at += 40 + 7*float64(len(s.Name))
	}
	p.text((left+right)/2, foot+38, "small", "middle", across)
	return p.writeTo(w, title)
}
