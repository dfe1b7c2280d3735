package web

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"waycall/internal/english"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/review"
	"waycall/internal/words"
)

// queuePage shows one thing that needs a person, and which others there are.
type queuePage struct {
	ID           string
	Kinds        []kindCount
	Kind         string // the kind that is worked through; "" for all
	Place, Of    int    // from 1
	Item         *itemView
	Dangers      []noteView // observations of danger: nothing here settles them, they are to be seen
	Prev, Next   string     // queries of the neighbours; "" where there is none
	Running      bool
	Open         int
	All          []itemLink // of this page of the list
	ListFrom     int
	More, Before string
}

type kindCount struct {
	Kind, Words string
	Class       string
	Count       int
}

type itemLink struct {
	Href, Words, Class string
	Here               bool
}

// itemView is an item as it is shown.
type itemView struct {
	review.Item
	Words   string // what the kind means
	Class   string
	Where   string
	Feeds   string
	Kinds   []mark
	View    *readingView // the reading that stands
	Given   string       // what waits to be confirmed
	Phrases []phraseView
	First   []string // the figures that were given first
	Today   string   // the verdict of today, where it is worse
	WayHref string
	Form    changeForm
	Finish  bool // the session is to be ended
}

type phraseView struct {
	At     string
	Text   string
	Agreed bool
	Heard  []witness
	Alike  string // who heard just that
	Others []string
	Play   play
}

// words says what a kind of the queue means, in a few words.
func kindWords(k review.Kind) (words, class string) {
	switch k {
	case review.Failed:
		return "Fails", "fail"
	case review.Disputed:
		return "Disputed", "doubt"
	case review.Implausible:
		return "Implausible", "look"
	case review.Investigate:
		return "Investigate", "look"
	case review.CannotSay:
		return "Cannot say", "doubt"
	case review.Unconfirmed:
		return "Not confirmed", "doubt"
	case review.Corrected:
		return "Corrected", "old"
	case review.Missing:
		return "Missing", "due"
	case review.LeftOut:
		return "Left out", "out"
	case review.Unfinished:
		return "Session not ended", "due"
	}
	return english.Capital(string(k)), "none"
}

// kinds are those that are in the queue, in its order, which is that of severity, and
// how often each is.
func (s *seen) kinds() (all []kindCount) {
	for _, it := range s.Queue() {
		if n := len(all); n > 0 && all[n-1].Kind == string(it.Kind) {
			all[n-1].Count++
			continue
		}
		words, class := kindWords(it.Kind)
		all = append(all, kindCount{string(it.Kind), words, class, 1})
	}
	return all
}

// perList is how many items the list beside the one in hand has.
const perList = 30

// queue is the page of what needs a person.
func (s *server) queue(w http.ResponseWriter, r *http.Request, snap *seen) {
	q := r.URL.Query()
	all := snap.Queue()
	p := queuePage{ID: snap.ID, Kind: q.Get("kind"), Open: len(all), Running: snap.Running(), Dangers: snap.dangers()}
	p.Kinds = snap.kinds()
	var chosen []review.Item
	if !slices.ContainsFunc(p.Kinds, func(k kindCount) bool { return k.Kind == p.Kind }) {
		p.Kind, chosen = "", all
	} else {
		for _, it := range all {
			if string(it.Kind) == p.Kind {
				chosen = append(chosen, it)
			}
		}
	}
	if p.Of = len(chosen); p.Of > 0 {
		n, _ := strconv.Atoi(q.Get("n"))
		p.Place = min(max(n, 1), p.Of)
		if p.Place > 1 {
			p.Prev = p.query(p.Place - 1)
		}
		if p.Place < p.Of {
			p.Next = p.query(p.Place + 1)
		}
		item := snap.item(chosen[p.Place-1])
		item.Form.By = s.door.Initials(r)
		item.Form.Kind, item.Form.N = p.Kind, p.Place
		heard := make([]int64, len(item.Heard))
		for i, h := range item.Heard {
			heard[i] = h.ID
		}
		waves, err := s.waves.Of(r.Context(), s.Jobs, snap.Snapshot, heard)
		if err != nil {
			s.jobFailed(w, r, err)
			return
		}
		for i := range item.Phrases {
			item.Phrases[i].Play.draw(waves[i])
		}
		p.Item = &item
		p.ListFrom = (p.Place - 1) / perList * perList
		for i := p.ListFrom; i < min(p.ListFrom+perList, p.Of); i++ {
			it := chosen[i]
			words, class := kindWords(it.Kind)
			link := itemLink{Href: p.query(i + 1), Words: words, Class: class, Here: i+1 == p.Place}
			if it.Kind != review.Unfinished {
				link.Words = snap.where(it.Slot) + ": " + words
			}
			p.All = append(p.All, link)
		}
		if p.ListFrom > 0 {
			p.Before = p.query(p.ListFrom)
		}
		if p.ListFrom+perList < p.Of {
			p.More = p.query(p.ListFrom + perList + 1)
		}
	}
	s.render(w, r, http.StatusOK, "queue", page{Title: snap.State.Job.Reference + ": to look at", Job: s.head(snap), Tab: "queue", Wide: true, Told: snap.toldIn(r), Body: p})
}

func (p queuePage) query(n int) string {
	v := url.Values{"n": {strconv.Itoa(n)}}
	if p.Kind != "" {
		v.Set("kind", p.Kind)
	}
	return "?" + v.Encode()
}

// item makes an item ready to be shown.
func (s *seen) item(it review.Item) itemView {
	v := itemView{Item: it}
	v.Words, v.Class = kindWords(it.Kind)
	for _, k := range it.Also {
		words, class := kindWords(k)
		v.Kinds = append(v.Kinds, mark{class, words})
	}
	if it.Kind == review.Unfinished {
		v.Finish, v.Where = true, "The session"
		v.Form = changeForm{Back: "queue", ID: s.ID}
		return v
	}
	v.Where, v.WayHref = s.where(record.Slot{Board: it.Slot.Board, Way: it.Slot.Way}), wayPath(s.ID, it.Slot.Board, it.Slot.Way)
	if w := s.State.Job.Way(it.Slot.Board, it.Slot.Way); w != nil {
		v.Feeds = w.Feeds
	} else if b := s.State.Job.Board(it.Slot.Board); b != nil {
		v.Feeds = b.Name
	}
	v.View = s.placeView(it.Slot)
	given := "" // what a correction begins with
	if it.Waits != nil {
		v.Given = words.Quantity(it.Waits.Quantity)
		given = strings.TrimSuffix(it.Waits.Quantity.String(), " "+string(it.Waits.Quantity.Unit))
	}
	for _, p := range it.Before {
		v.First = append(v.First, words.Quantity(p.Quantity))
	}
	if it.Now != nil {
		v.Today = it.Now.Reason
	}
	for _, h := range it.Heard {
		one := phraseView{At: h.At.Local().Format("15:04:05"), Text: h.Text, Agreed: h.Agreed, Others: h.Others,
			Play: play{Source: soundPath(s.ID, h.ID), Label: "Phrase at " + h.At.Local().Format("15:04:05"), Session: sessionPath(s.ID, h.ID)}}
		one.Heard, one.Alike = witnesses(h.Phrase)
		v.Phrases = append(v.Phrases, one)
	}
	v.Form = s.form(it.Slot)
	v.Form.Replaces, v.Form.Back, v.Form.Value = it.Of(), "queue", given
	return v
}

// placeView is what stands at a place of the schedule now; what is missing there has
// no figure.
func (s *seen) placeView(slot record.Slot) *readingView {
	p := s.wayOf(slot.Board, slot.Way)
	for _, all := range [][]readingView{p.Readings, p.Others} {
		for _, v := range all {
			if v.Slot == slot {
				v.CanEdit, v.Play, v.Open = false, nil, nil
				return &v
			}
		}
	}
	v := s.reading(slot, report.Cell{Test: slot.Test, Position: slot.Position, Status: report.ToDo}, nil, nil)
	v.CanEdit = false
	return &v
}
