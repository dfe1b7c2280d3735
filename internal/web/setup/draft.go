// Package setup is a job that is being set up by hand: its description as the texts that
// stand in the fields of a form, whole or not, and what may be done to it. Package board
// judges it, and no other. It knows nothing of pages; package web shows it.
package setup

import (
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"waycall/internal/board"
	"waycall/internal/waymark"
)

// Format is the version of a Draft as it is kept in a file.
const Format = 1

// Values are what stands in the fields of one group, by their names in a board file, such
// as device.rcd.rated. A field that is not there is not known. Lists are in one text, see
// splitList.
type Values map[string]string

// Board is a board of a draft.
type Board struct {
	Fields Values   `json:"fields"`
	Ways   []Values `json:"ways"`
}

// Draft is a job that is not set up yet.
type Draft struct {
	Format int `json:"format"` // see Format
	// From is where the boards come from when they are not the user's own words, such as
	// "job TER-0107"; they are then to be compared with what is on the wall.
	From   string  `json:"from,omitempty"`
	Fields Values  `json:"job"`
	Boards []Board `json:"boards"`
}

// Clone returns a copy that shares nothing with d.
func (d Draft) Clone() Draft {
	c := Draft{Format: d.Format, From: d.From, Fields: d.Fields.clone()}
	for _, b := range d.Boards {
		one := Board{Fields: b.Fields.clone()}
		for _, w := range b.Ways {
			one.Ways = append(one.Ways, w.clone())
		}
		c.Boards = append(c.Boards, one)
	}
	return c
}

func (v Values) clone() Values {
	c := Values{}
	for k, text := range v {
		c[k] = text
	}
	return c
}

// Set puts a text into a field, without the blanks around it; "" makes it not known.
func (v Values) Set(name, text string) {
	if text = strings.TrimSpace(text); text == "" {
		delete(v, name)
	} else {
		v[name] = text
	}
}

// BoardPath is the path of board b, from 0, as package board names it in its problems.
func BoardPath(b int) string { return fmt.Sprintf("boards[%d]", b) }

// WayPath is the same of way w of it, from 0.
func WayPath(b, w int) string { return fmt.Sprintf("boards[%d].ways[%d]", b, w) }

// Of returns the draft that says what a job says, all of it.
func Of(job board.Job) Draft {
	d := Draft{Format: Format, Fields: Values{}}
	take(reflect.ValueOf(job), "", d.Fields)
	for _, b := range job.Boards {
		one := Board{Fields: Values{}}
		take(reflect.ValueOf(b), "", one.Fields)
		for _, w := range b.Ways {
			way := Values{}
			take(reflect.ValueOf(w), "", way)
			one.Ways = append(one.Ways, way)
		}
		d.Boards = append(d.Boards, one)
	}
	return d
}

// apart reports whether a field holds boards or ways, which a draft has apart.
func apart(t reflect.Type) bool {
	return t.Kind() == reflect.Slice && t.Elem().Kind() == reflect.Struct
}

// take puts each value of a struct that is not zero into to.
func take(v reflect.Value, path string, to Values) {
	for i := range v.NumField() {
		f, name := v.Field(i), joined(path, v.Type().Field(i).Tag.Get("yaml"))
		if f.Kind() == reflect.Pointer && !f.IsNil() {
			f = f.Elem()
		}
		switch {
		case f.IsZero() || apart(f.Type()):
		case f.Kind() == reflect.Struct:
			take(f, name, to)
		case f.Kind() == reflect.Slice:
			items := make([]string, f.Len())
			for k := range items {
				items[k] = textOf(name, f.Index(k))
			}
			to[name] = joinList(items)
		default:
			to[name] = textOf(name, f)
		}
	}
}

func joined(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}

func textOf(name string, v reflect.Value) string {
	switch v.Kind() {
	case reflect.Int:
		if name == "way" || strings.HasSuffix(name, "from_way") {
			return waymark.Print(int(v.Int()))
		}
		return strconv.FormatInt(v.Int(), 10)
	case reflect.Float64:
		return strconv.FormatFloat(v.Float(), 'f', -1, 64)
	case reflect.Bool:
		return strconv.FormatBool(v.Bool())
	}
	return v.String()
}

// joinList is a list in one text, as a person writes it: with commas. Where an entry would
// not come back, it is a list of JSON.
func joinList(items []string) string {
	text := strings.Join(items, ", ")
	if slices.Equal(splitList(text), items) {
		return text
	}
	b, err := json.Marshal(items)
	if err != nil {
		panic(err) // texts can always be written
	}
	return string(b)
}

// splitList returns the entries of a list in one text.
func splitList(text string) []string {
	var items []string
	if strings.HasPrefix(text, "[") && json.Unmarshal([]byte(text), &items) == nil {
		return items
	}
	items = nil
	for item := range strings.SplitSeq(text, ",") {
		if item = strings.TrimSpace(item); item != "" {
			items = append(items, item)
		}
	}
	return items
}

// YAML returns the draft as a board file, whole or not.
func (d Draft) YAML() []byte {
	var b strings.Builder
	group(&b, reflect.TypeFor[board.Job](), d.Fields, "", "")
	list(&b, "", "boards", len(d.Boards), func(b *strings.Builder, i int, indent string) {
		one := d.Boards[i]
		group(b, reflect.TypeFor[board.Board](), one.Fields, "", indent)
		list(b, indent, "ways", len(one.Ways), func(b *strings.Builder, k int, indent string) {
			group(b, reflect.TypeFor[board.Way](), one.Ways[k], "", indent)
		})
	})
	return []byte(b.String())
}

// list writes n entries, each a group.
func list(b *strings.Builder, indent, name string, n int, write func(b *strings.Builder, i int, indent string)) {
	if n == 0 {
		return
	}
	fmt.Fprintf(b, "%s%s:\n", indent, name)
	for i := range n {
		var one strings.Builder
		write(&one, i, indent+"    ")
		text := strings.TrimPrefix(one.String(), indent+"    ")
		if text == "" {
			text = "{}\n" // of which nothing is known yet
		}
		fmt.Fprintf(b, "%s  - %s", indent, text)
	}
}

// group writes the fields of a type that stand in v, below path, one a line.
func group(b *strings.Builder, t reflect.Type, v Values, path, indent string) {
	for i := range t.NumField() {
		f := t.Field(i)
		key, ft := f.Tag.Get("yaml"), f.Type
		name := joined(path, key)
		if ft.Kind() == reflect.Pointer {
			ft = ft.Elem()
		}
		switch {
		case apart(ft):
		case ft.Kind() == reflect.Struct:
			if v.has(name + ".") {
				fmt.Fprintf(b, "%s%s:\n", indent, key)
				group(b, ft, v, name, indent+"  ")
			}
		case v[name] == "":
		case ft.Kind() == reflect.Slice:
			fmt.Fprintf(b, "%s%s:\n", indent, key)
			for _, item := range splitList(v[name]) {
				fmt.Fprintf(b, "%s  - %s\n", indent, board.Quote(item))
			}
		default:
			fmt.Fprintf(b, "%s%s: %s\n", indent, key, board.Quote(v[name]))
		}
	}
}

// has reports whether anything stands in a field whose name begins so.
func (v Values) has(prefix string) bool {
	for name := range v {
		if strings.HasPrefix(name, prefix) {
			return true
		}
	}
	return false
}

// Check has package board read the draft. It returns the job, and what is wrong with the
// draft: then the job is none.
func (d Draft) Check() (board.Job, []*board.Problem) {
	job, problems, err := board.Examine(strings.NewReader(string(d.YAML())), "this form")
	if err != nil { // a text in memory can be read
		problems = []*board.Problem{{What: err.Error(), Do: "send the form again"}}
	}
	return job, problems
}

// At returns what stands in a field by its path, as the problems of package board have it,
// and false where no field has it.
func (d Draft) At(path string) (string, bool) {
	v, name := d.Fields, path
	if rest, ok := strings.CutPrefix(path, "boards["); ok {
		v = nil
		number, rest, _ := strings.Cut(rest, "].")
		if b, err := strconv.Atoi(number); err == nil && b >= 0 && b < len(d.Boards) {
			v, name = d.Boards[b].Fields, rest
			if rest, ok := strings.CutPrefix(rest, "ways["); ok {
				v = nil
				number, rest, _ := strings.Cut(rest, "].")
				if w, err := strconv.Atoi(number); err == nil && w >= 0 && w < len(d.Boards[b].Ways) {
					v, name = d.Boards[b].Ways[w], rest
				}
			}
		}
	}
	if v == nil || name == "" {
		return "", false
	}
	return v[name], true
}
