package soak

import "fmt"

// Bar is what was to be reached, what was, and whether that is enough.
type Bar struct {
	What string `json:"what"`
	Want string `json:"want"`
	Got  string `json:"got"`
	Met  bool   `json:"met"`
}

const (
	warm      = 30   // minutes after which memory may grow no more than
	mostGrows = 0.05 // of what it was then
	mostSlow  = 0.10 // how much slower the end may be than the beginning
)

// bars holds a result against what was to be reached. Memory is compared by means of
// ten minutes, as what is collected comes and goes; latency between the first and the
// last quarter, as a phrase in twenty of an hour is too few.
func bars(r Result, p Plan) []Bar {
	a := r.Audit
	list := []Bar{
		{"length", fmt.Sprintf("%.1f h and %d phrases", p.Hours, p.Phrases), fmt.Sprintf("%.2f h and %d phrases", r.Hours, r.Counts.Phrases), r.Hours >= p.Hours && r.Counts.Phrases >= p.Phrases},
		{"readings lost", "0", fmt.Sprintf("%d of %d", a.Lost, a.Confirmed), a.Lost == 0},
		{"readings stored wrongly", "0", fmt.Sprintf("%d of %d", a.Wrong, a.Confirmed), a.Wrong == 0},
		{"sound of each reading is what was said", "all", fmt.Sprintf("%d of %d", a.Sounds, a.Confirmed), a.BadSounds == 0 && a.Sounds == a.Confirmed},
		{"integrity check, chain of the log, sums of the sounds", "whole", map[bool]string{true: "whole", false: "damaged"}[a.Integrity], a.Integrity},
	}
	if n := len(r.Minutes); n >= warm+30 {
		rss := func(from, to int) (mean float64) {
			for _, m := range r.Minutes[from:to] {
				mean += m.RSS / float64(to-from)
			}
			return mean
		}
		then, end := rss(warm, warm+10), rss(n-10, n)
		list = append(list, Bar{"memory after half an hour and at the end", "less than 5 % more", fmt.Sprintf("%.0f and %.0f MiB, %+.1f %%", then, end, 100*(end/then-1)), end < then*(1+mostGrows)})
	}
	quarter := r.Hours * 60 / 4
	slow := func(what string, all []Took, of func(Took) float64, holds bool) {
		var first, last []Took
		for _, t := range all {
			switch {
			case t.At < quarter:
				first = append(first, t)
			case t.At > 3*quarter:
				last = append(last, t)
			}
		}
		if len(first) < 200 || len(last) < 200 {
			return
		}
		then, end := quantile(first, 0.95, of), quantile(last, 0.95, of)
		b := Bar{what, "at most 10 % more", fmt.Sprintf("%.1f and %.1f, %+.0f %%", then, end, 100*(end/then-1)), end <= then*(1+mostSlow)}
		if !holds {
			b.Want, b.Met = "told only: other programs share the machine", true
		}
		list = append(list, b)
	}
	slow("hearing, p95 in the first and in the last quarter, ms of the processor", r.Hearing, func(t Took) float64 { return t.CPU }, true)
	slow("the same, as multiples of a fixed piece of work that is done after each phrase", r.Hearing, relative, true)
	slow("the same, ms on the clock", r.Hearing, func(t Took) float64 { return t.Wall }, false)
	slow("storing, p95 in the first and in the last quarter, ms of the processor", r.Storing, func(t Took) float64 { return t.CPU }, true)
	slow("the same, ms on the clock", r.Storing, func(t Took) float64 { return t.Wall }, false)
	return list
}

// relative is how long hearing took, set against the machine at that time.
func relative(t Took) float64 {
	if t.Fixed <= 0 {
		return 0
	}
	return t.CPU / t.Fixed
}

// Met reports whether every bar was met.
func (r Result) Met() bool {
	for _, b := range r.Bars {
		if !b.Met {
			return false
		}
	}
	return true
}
