// This file has what kind of work a job is made for, and what of it a job says: which
// ways an addition touches, and what was agreed for a periodic inspection.

package board

import (
	"cmp"
	"fmt"
	"slices"

	"waycall/internal/printable"
	"waycall/internal/waymark"
)

// Work is what a job is made for. The strings are stored, so they never change.
type Work string

// The kinds of work.
const (
	NewWork            Work = "new"        // a new installation, or new circuits
	Addition           Work = "addition"   // new circuits, or more of some, in an installation that was there
	Alteration         Work = "alteration" // a change of circuits that were there; in jobs of before Addition, either
	PeriodicInspection Work = "periodic"   // the inspection of an installation that was there
)

// Words is the kind of work as it is printed; nothing where it was not said.
func (w Work) Words() string {
	return map[Work]string{
		NewWork: "New work", Addition: "Addition to an installation", Alteration: "Alteration of an installation", PeriodicInspection: "Periodic inspection and testing",
	}[w]
}

// Terms are the kind of work of a job and what was agreed for it, each with its name, in
// print; none where the kind was not said.
func (j Job) Terms() (all [][2]string) {
	if j.Work == "" {
		return nil
	}
	all = append(all, [2]string{"Work", j.Work.Words()})
	if j.Work != PeriodicInspection {
		return all
	}
	var p Periodic
	if j.Periodic != nil {
		p = *j.Periodic
	}
	for _, t := range p.texts() {
		all = append(all, [2]string{t.name, cmp.Or(t.text, "not stated")})
	}
	return all
}

// Touch is what an addition or alteration does to a way.
type Touch string

// What is done to a way. One of which nothing is said is left as it was.
const (
	Fresh   Touch = "new"
	Altered Touch = "altered"
)

// Extent is how far something is tested in a periodic inspection.
type Extent string

// The extents.
const (
	DeadAndLive Extent = "dead and live"
	LiveOnly    Extent = "live" // no dead test was agreed
	NotTested   Extent = "no"   // it is not in the sample
)

// Periodic is what was agreed with whoever orders a periodic inspection, before it
// begins (BS 7671 regulations 651.2 and 653.2, from memory). Texts are one line each;
// "" is one that was not stated, which shows as such.
type Periodic struct {
	Extent      string `yaml:"extent" json:"extent,omitempty"`           // what of the installation is inspected and tested
	Sampling    string `yaml:"sampling" json:"sampling,omitempty"`       // how the ways and points that are tested were chosen
	Limitations string `yaml:"limitations" json:"limitations,omitempty"` // what is left out, and why
	AgreedWith  string `yaml:"agreed_with" json:"agreed_with,omitempty"` // who agreed to the limitations
	DeadTests   Agreed `yaml:"dead_tests" json:"dead_tests,omitempty"`   // whether they are made of ways that say nothing of their own; "" for all
	StaysOn     bool   `yaml:"stays_on" json:"stays_on,omitempty"`       // the installation stays on as long as it can, so live tests come first
}

// agreedText is a text of a periodic inspection: its key in a board file, and its name.
type agreedText struct{ key, name, text string }

// texts are the texts of what was agreed, in the order in which they are printed.
func (p Periodic) texts() []agreedText {
	return []agreedText{
		{"extent", "Extent", p.Extent},
		{"sampling", "Sampling", p.Sampling},
		{"limitations", "Limitations", p.Limitations},
		{"agreed_with", "Agreed with", p.AgreedWith},
	}
}

// Agreed says of what something was agreed.
type Agreed string

// What was agreed.
const (
	AllWays Agreed = "all"
	NoWays  Agreed = "none"
)

// Changes reports whether a job is an addition or alteration that says which ways it
// touches. One that names none asks for all of them.
func (j Job) Changes() bool {
	return (j.Work == Addition || j.Work == Alteration) && slices.ContainsFunc(j.Boards, func(b Board) bool {
		return slices.ContainsFunc(b.Ways, func(w Way) bool { return w.Work != "" })
	})
}

// DeadAgreed reports whether dead tests of a way are asked for in the job, as far as a
// periodic inspection goes: in other work always.
func (j Job) DeadAgreed(w *Way) bool {
	switch {
	case j.Periodic == nil && w.Tested == "":
		return true
	case w.Tested != "":
		return w.Tested == DeadAndLive
	}
	return j.Periodic.DeadTests != NoWays
}

// LiveFirst reports whether the job is a periodic inspection of an installation that
// stays on.
func (j Job) LiveFirst() bool { return j.Periodic != nil && j.Periodic.StaysOn }

// work checks the kind of work and what depends on it.
func (d *decoder) work(job *Job) {
	if job.Work != "" && !oneOf(job.Work, NewWork, Addition, Alteration, PeriodicInspection) {
		d.bad("work", fmt.Sprintf("work is %q", printable.Cut(string(job.Work), 40)), "write new, addition, alteration or periodic, or leave it out")
		return
	}
	limited := d.ofWays(job)
	p := job.Periodic
	if p == nil {
		return
	}
	if job.Work != PeriodicInspection {
		d.bad("periodic", "periodic is given, but the work is no periodic inspection", "write work: periodic, or remove it")
	}
	for _, f := range p.texts() {
		if f.text != "" {
			d.line("periodic."+f.key, f.text, 200)
		}
	}
	if p.DeadTests != "" && !oneOf(p.DeadTests, AllWays, NoWays) {
		d.bad("periodic.dead_tests", fmt.Sprintf("dead_tests is %q", printable.Cut(string(p.DeadTests), 40)), "write all or none; a way may say otherwise with tested")
	}
	if p.AgreedWith == "" && (limited || p.Limitations != "" || p.DeadTests == NoWays) {
		d.bad("periodic", "tests or ways are left out, and nobody is named who agreed", "add agreed_with: who ordered the inspection, or who speaks for him")
	}
}

// ofWays checks what the ways say of the kind of work, and reports whether any is left
// out of a periodic inspection in whole or in part.
func (d *decoder) ofWays(job *Job) (limited bool) {
	for i := range job.Boards {
		for k := range job.Boards[i].Ways {
			w, path := &job.Boards[i].Ways[k], fmt.Sprintf("%s.ways[%d]", d.boardPath(i), k)
			switch {
			case w.Work == "":
			case !oneOf(w.Work, Fresh, Altered):
				d.bad(path+".work", fmt.Sprintf("work is %q", printable.Cut(string(w.Work), 40)), "write new or altered, or leave it out for a way that is left as it was")
			case job.Work != Addition && job.Work != Alteration:
				d.bad(path+".work", fmt.Sprintf("way %s says what is done to it, but the work is no addition or alteration", waymark.Print(w.Number)), "write work: addition for the job, or remove it")
			}
			switch {
			case w.Tested == "":
			case !oneOf(w.Tested, DeadAndLive, LiveOnly, NotTested):
				d.bad(path+".tested", fmt.Sprintf("tested is %q", printable.Cut(string(w.Tested), 40)), "write dead and live, live or no, or leave it out")
			case job.Periodic == nil:
				d.bad(path+".tested", fmt.Sprintf("way %s says how far it is tested, but nothing of a periodic inspection is given", waymark.Print(w.Number)), "write work: periodic and periodic with what was agreed, or remove it")
			}
			limited = limited || w.Tested == LiveOnly || w.Tested == NotTested
		}
	}
	return limited
}
