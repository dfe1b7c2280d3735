// What the figures rest on: every row of every table says so, and every public page
// or book that one names stands in tables/sources.csv.

package limits

import (
	"fmt"
	"slices"
	"strings"

	"waycall/internal/printable"
)

// How a row can be known, the first word of its last cell. Of read and implied the
// sources follow.
const (
	restsRead     = "read"     // the figure itself stands in a public page or book that was read
	restsImplied  = "implied"  // it follows from one that was read
	restsMemory   = "memory"   // recalled
	restsPractice = "practice" // common practice, no published source
)

// Rests counts rows by what they rest on.
type Rests struct {
	Read     int `json:"read"`     // in a public page or book
	Implied  int `json:"implied"`  // by one
	Memory   int `json:"memory"`   // from memory
	Practice int `json:"practice"` // common practice, no published source
}

// Witnessed is how many rows have a witness: read in a public page or book, or
// implied by one.
func (r Rests) Witnessed() int { return r.Read + r.Implied }

// All is how many rows there are.
func (r Rests) All() int { return r.Read + r.Implied + r.Memory + r.Practice }

// add counts one row by its last cell.
func (r *Rests) add(cell string) error {
	how, from, _ := strings.Cut(cell, " ")
	switch {
	case how == restsRead && from != "":
		r.Read++
	case how == restsImplied && from != "":
		r.Implied++
	case how == restsMemory && from == "":
		r.Memory++
	case how == restsPractice && from == "":
		r.Practice++
	default:
		return fmt.Errorf("it rests on %q; write read or implied with the sources, memory or practice", printable.Cut(cell, 40))
	}
	return nil
}

// Source is a public page or book that was read.
type Source struct {
	ID      string `json:"id"`      // as rows name it
	Title   string `json:"title"`   // what was read
	Edition string `json:"edition"` // that it prints
	Where   string `json:"where"`   // its address or its publisher
	Rows    int    `json:"rows"`    // how many rows name it
}

// Row is one row of a table with what it rests on.
type Row struct {
	Table string   `json:"table"`
	Cells []string `json:"cells"`             // as the table has them, without the last
	How   string   `json:"how"`               // read, implied, memory or practice
	From  []string `json:"sources,omitempty"` // of read and implied: ids of Sources
}

// Rows returns the rows of every table that holds figures, in the order of the
// tables' names.
func Rows() []Row {
	var all []Row
	for _, t := range Tables() {
		columns := strings.Fields(schema[t.Name])
		for _, r := range data.rows[t.Name].list {
			one := Row{Table: t.Name}
			for _, c := range columns[:len(columns)-1] {
				name := strings.Trim(c, "*#")
				if text, ok := r.text[name]; ok {
					one.Cells = append(one.Cells, text)
				} else {
					one.Cells = append(one.Cells, fmt.Sprint(r.number[name]))
				}
			}
			words := strings.Fields(r.text["rests"])
			one.How, one.From = words[0], words[1:]
			all = append(all, one)
		}
	}
	return all
}

// Sources returns what was read, in the order of the table of sources.
func Sources() []Source {
	var all []Source
	for _, r := range data.rows["sources"].list {
		all = append(all, Source{ID: r.text["id"], Title: r.text["title"], Edition: r.text["edition"], Where: r.text["where"]})
	}
	for _, r := range Rows() {
		for _, id := range r.From {
			if i := slices.IndexFunc(all, func(s Source) bool { return s.ID == id }); i >= 0 {
				all[i].Rows++
			}
		}
	}
	return all
}

// known refuses a row that names a source which is not in the table of sources.
func (d *tables) known() error {
	for name, t := range d.rows {
		for n, r := range t.list {
			words := strings.Fields(r.text["rests"])
			for _, id := range words[min(1, len(words)):] {
				if _, ok := d.rows["sources"].by[key(id)]; !ok {
					return fmt.Errorf("table %s: row %d rests on %q, which table sources does not have; add it there", name, n+1, printable.Cut(id, 40))
				}
			}
		}
	}
	return nil
}
