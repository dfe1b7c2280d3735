// This file has a draft as its form shows it, and what the buttons of the form do.

package setup

import (
	"cmp"
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"waycall/internal/board"
	"waycall/internal/english"
)

// FieldView is a field as it is shown.
type FieldView struct {
	Field
	Path, Value, Error string
}

// Known reports whether what stands in a field that is chosen is among its choices.
func (f FieldView) Known() bool {
	for _, c := range f.Choices {
		if c[0] == f.Value {
			return true
		}
	}
	return f.Value == ""
}

// WayForm is a way as it is shown.
type WayForm struct {
	Path, Called, Error string
	Board, Way          int
	Fields, More        []FieldView
}

// BoardForm is a board as it is shown.
type BoardForm struct {
	Path, Name, Error string
	Board             int
	Fields, More      []FieldView
	Ways              []WayForm
}

// Form is a draft as it is shown.
type Form struct {
	Job, JobMore []FieldView
	Boards       []BoardForm
	Whole        string // what is wrong with no field of the form
	Status       string // how far it is, in a sentence
	From         string // that of the draft
	All          bool   // what is only missing is told, too
	Open, Kept   []string
}

// Judgement is what package board makes of a draft.
type Judgement struct {
	Job    board.Job         // where it is sound
	At     map[string]string // what is wrong, by the place where it is told, see Place
	Status string            // how far it is, in a sentence
	faults int
}

// Sound reports whether a job can be set up of it.
func (f Judgement) Sound() bool { return f.faults == 0 }

// Judged has package board judge a draft. What is only not written yet is told with all,
// and counted without.
func (d Draft) Judged(all bool) Judgement {
	job, problems := d.Check()
	f := Judgement{Job: job, At: map[string]string{}, faults: len(problems)}
	wrong, missing := 0, 0
	for _, p := range problems {
		place := Place(p.Path)
		text, isField := d.At(place)
		if isField && text == "" {
			if missing++; !all {
				continue
			}
		} else {
			wrong++
		}
		if f.At[place] == "" {
			f.At[place] = Said(p)
		}
	}
	switch {
	case wrong > 0 && missing > 0:
		f.Status = fmt.Sprintf("%s to put right, %s still needed.", english.Count(wrong, "thing"), english.Count(missing, "more field"))
	case wrong > 0:
		f.Status = english.Count(wrong, "thing") + " to put right."
	case missing > 0:
		f.Status = english.Count(missing, "field") + " still needed; the rest is sound."
	default:
		f.Status = "Nothing is missing. The job can be set up."
	}
	return f
}

func (f Judgement) fields(d Draft, in string, fields []Field) []FieldView {
	var all []FieldView
	for _, one := range fields {
		v := FieldView{Field: one, Path: one.Name}
		if in != "" {
			v.Path = in + "." + one.Name
		}
		v.Value, _ = d.At(v.Path)
		v.Error = f.At[v.Path]
		all = append(all, v)
	}
	return all
}

// Form returns the draft as it is shown; all as Judged takes it.
func (d Draft) Form(all bool) Form {
	f := d.Judged(all)
	p := Form{Status: f.Status, Whole: f.At[""], From: d.From, All: all, Open: d.Open(), Kept: d.Kept()}
	p.Job, p.JobMore = f.fields(d, "", JobFields), f.fields(d, "", JobMore)
	for b, one := range d.Boards {
		path := BoardPath(b)
		v := BoardForm{Path: path, Board: b, Name: fmt.Sprintf("Board %d", b+1), Error: f.At[path], Fields: f.fields(d, path, BoardFields), More: f.fields(d, path, BoardMore)}
		for w, way := range one.Ways {
			path := WayPath(b, w)
			v.Ways = append(v.Ways, WayForm{Path: path, Called: "Way " + cmp.Or(way["way"], "without a number"), Error: f.At[path], Board: b, Way: w,
				Fields: f.fields(d, path, WayFields), More: f.fields(d, path, WayMore)})
		}
		p.Boards = append(p.Boards, v)
	}
	return p
}

// Asked reads what a button is for, and of which board and way, from 0: "copy 0 3".
func Asked(do string) (what string, at [2]int) {
	parts := strings.Fields(do)
	if len(parts) == 0 {
		return "", at
	}
	for i, p := range parts[1:min(len(parts), 3)] {
		n, err := strconv.Atoi(p)
		if err != nil {
			return "", at
		}
		at[i] = n
	}
	return parts[0], at
}

// Do does to a draft what a button asks, and returns what it did, in sentences, and the
// anchor of where that is. form is for a group: its name and what is ticked.
func (d *Draft) Do(what string, at [2]int, form url.Values) (said []string, where string) {
	b, w := at[0], at[1]
	told := ""
	switch what {
	case "add":
		told = d.AddWay(b)
		if b >= 0 && b < len(d.Boards) {
			w = len(d.Boards[b].Ways) - 1
		}
	case "copy":
		told = d.Copy(b, w)
		w++
	case "up":
		told = d.Move(b, w, -1)
		w = max(0, w-1)
	case "down":
		told = d.Move(b, w, 1)
		w++
	case "remove":
		told = d.Remove(b, w)
		w = max(0, w-1)
	case "board":
		told = d.AddBoard()
		return []string{told}, "#" + BoardPath(len(d.Boards)-1)
	case "unboard":
		told, w = d.RemoveBoard(b), 0
	case "group":
		var ways []int
		for _, text := range form[BoardPath(b)+".pick"] {
			if n, err := strconv.Atoi(text); err == nil {
				ways = append(ways, n)
			}
		}
		in := func(name string) string { return strings.TrimSpace(form.Get(BoardPath(b) + ".group." + name)) }
		told = d.Group(b, ways, in("name"), in("rated"), in("type"), in("bar"))
	}
	if told == "" {
		return nil, ""
	}
	return []string{told}, "#" + WayPath(b, w)
}
