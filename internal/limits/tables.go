// Package limits holds the figures that readings are judged by, each with the clause or
// table that it rests on, and what follows from them alone: the resistance of a
// conductor, the current that makes a device operate, the greatest loop impedance, the
// least insulation resistance, resistances in parallel.
//
// The figures are data, one file under tables for each table of a standard, with its
// source and edition (see Tables, Rows and Sources). The formulas are functions of plain
// numbers, of a board or of a way, so that each can be used and tested alone. What is
// known only to lie between two values is an Interval.
//
// Nothing here knows a reading of a job or a verdict: package check judges by these
// figures. It belongs to the domain, so whoever needs a limit may import it.
package limits

import (
	"bytes"
	"embed"
	"encoding/csv"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"strconv"
	"strings"

	"waycall/internal/printable"
)

//go:embed tables/*.csv
var embedded embed.FS

// Table is what one file under tables says about itself.
type Table struct {
	Name    string `json:"name"`           // the file's name without its ending, such as "41.3"
	Title   string `json:"title"`          // what it is a table of
	Source  string `json:"source"`         // standard with clause or table
	Edition string `json:"edition"`        // of the source, with its year
	Note    string `json:"note,omitempty"` // what a reader of the file should know; "" for nothing
	Rests   Rests  `json:"rests_on"`       // how many rows rest on what
	Rows    int    `json:"rows"`           // without the head
}

// Practice is the source of what has none.
const Practice = "common practice, no published source"

// cite says what a figure rests on after the clause or table that it belongs to.
// rests is the last cell of its row: see Row.
func cite(source, rests string) string {
	how, _, _ := strings.Cut(rests, " ")
	switch how {
	case restsPractice:
		return Practice
	case restsRead:
		return source + ", from a public print"
	case restsImplied:
		return source + ", worked out from a public print"
	}
	return source + ", from memory"
}

// Tables returns every table of figures that the engine rests on, in the order of
// names.
func Tables() []Table {
	out := make([]Table, 0, len(data.about))
	for _, t := range data.about {
		if t.Name != "sources" {
			out = append(out, t)
		}
	}
	slices.SortFunc(out, func(a, b Table) int { return strings.Compare(a.Name, b.Name) })
	return out
}

// limit1 is one figure of tables/limits.csv with its unit and its source.
type limit1 struct {
	value        float64
	unit, source string
}

// schema names the columns of each table. A column ending in # holds numbers; a
// column beginning with * is part of what a row is found by, which must be
// different in every row.
var schema = map[string]string{
	"conductors":    "*material *class# *size# ohm_per_km# rests",
	"armour":        "*cores# *size# ohm_per_km# rests",
	"materials":     "*material beta# heat# resistivity# rests",
	"disconnection": "*volts_over# volts_to# final_tn# final_tt# other_tn# other_tt# rests",
	"breakers":      "*type lower# upper# within_5# rests",
	"fuses":         "*standard *rating# *seconds# amps# rests",
	"41.2":          "*standard *rating# ohm# rests",
	"41.3":          "*type *rating# *seconds# ohm# rests",
	"41.4":          "*standard *rating# ohm# rests",
	"41.5":          "*milliamps# ohm# rests",
	"bs1361":        "*rating# *seconds# ohm# rests",
	"64":            "*circuit test_volts# megohms# rests",
	"sources":       "*id title edition where",
	"rcd":           "*kind *multiple# least# most# rests",
	"k":             "table *conductor *material *insulation initial# final# k# rests",
	"energy":        "*type *rating# *kiloamps# energy# rests",
	"54.8":          "*neutral_to# size# rests",
	"limits":        "*name value# unit source rests",
}

// row is one row of a table. What a row is found by is its key: the cells of
// its key columns, numbers written shortly, joined by "|".
type row struct {
	text   map[string]string
	number map[string]float64
}

type rows struct {
	list []row
	by   map[string]row
}

// tables is the whole of the data.
type tables struct {
	about  map[string]Table
	rows   map[string]rows
	limits map[string]limit1
	// What is looked up for every reading, without building a key.
	fuses, loops41 map[ratedKey]figure
	conductors     map[conductorKey]float64
}

// figure is one number with what it rests on.
type figure struct {
	value float64
	rests string
}

type ratedKey struct {
	kind            string
	rating, seconds float64
}

type conductorKey struct {
	material    string
	class, size float64
}

// data is read once. The tables are part of the program, so one that cannot be
// read is a mistake in the program.
var data = func() *tables {
	sub, err := fs.Sub(embedded, "tables")
	if err != nil {
		panic(err)
	}
	d, err := load(sub)
	if err != nil {
		panic(err)
	}
	return d
}()

func load(dir fs.FS) (*tables, error) {
	d := &tables{about: map[string]Table{}, rows: map[string]rows{}, limits: map[string]limit1{},
		fuses: map[ratedKey]figure{}, loops41: map[ratedKey]figure{}, conductors: map[conductorKey]float64{}}
	for name := range schema {
		text, err := fs.ReadFile(dir, name+".csv")
		if err != nil {
			return nil, fmt.Errorf("table %s cannot be read: %w; put the file back", name, err)
		}
		t, r, err := readTable(name, text)
		if err != nil {
			return nil, err
		}
		d.about[name], d.rows[name] = t, r
	}
	if err := d.known(); err != nil {
		return nil, err
	}
	for _, r := range d.rows["limits"].list {
		d.limits[r.text["name"]] = limit1{r.number["value"], r.text["unit"], cite(r.text["source"], r.text["rests"])}
	}
	for _, name := range limitNames {
		if _, ok := d.limits[name]; !ok {
			return nil, fmt.Errorf("table limits has no row %s; add it", name)
		}
	}
	for _, r := range d.rows["fuses"].list {
		d.fuses[ratedKey{r.text["standard"], r.number["rating"], r.number["seconds"]}] = figure{r.number["amps"], r.text["rests"]}
	}
	for _, r := range d.rows["41.2"].list {
		d.loops41[ratedKey{r.text["standard"], r.number["rating"], 0.4}] = figure{r.number["ohm"], r.text["rests"]}
	}
	for _, r := range d.rows["41.4"].list {
		d.loops41[ratedKey{r.text["standard"], r.number["rating"], 5}] = figure{r.number["ohm"], r.text["rests"]}
	}
	for _, r := range d.rows["41.3"].list {
		d.loops41[ratedKey{r.text["type"], r.number["rating"], r.number["seconds"]}] = figure{r.number["ohm"], r.text["rests"]}
	}
	for _, r := range d.rows["conductors"].list {
		d.conductors[conductorKey{r.text["material"], r.number["class"], r.number["size"]}] = r.number["ohm_per_km"]
	}
	return d, nil
}

// limitNames are the single limits that the rules ask for.
var limitNames = strings.Fields(`cmin cold_share operating operating_constant room coefficient touch stable socket_rating fixed_rating
	release_tolerance bonding ring_match ring_open length_tolerance small_ohm loop_uncertainty loop_small
	insulation_uncertainty insulation_doubtful insulation_new slip spur_most rcd_additional rcd_ramp_least rcd_ramp_most rcd_ramp_a_least rcd_ramp_a_most rcd_ramp_a_most_small rcd_quickest
	drop_lighting drop_other instantaneous three_phase_least three_phase_most supply_most ze_tns ze_tncs cpc_same_to cpc_half_from
	bonding_least bonding_most leads_joined leads_open leads_apart leads_touch`)

// Value returns a figure of tables/limits.csv by its name, in the unit that it has there;
// 0 for a name that is not there.
func Value(name string) float64 { return data.limits[name].value }

// SourceOf returns what that figure rests on: a clause or table, and how it is known.
func SourceOf(name string) string { return data.limits[name].source }

// tableOf cites a table for a figure of it that rests on what rests says.
func tableOf(name, rests string) string { return cite(data.about[name].Source, rests) }

// key joins the cells that a row is found by.
func key(cells ...any) string {
	var b strings.Builder
	for _, c := range cells {
		fmt.Fprintf(&b, "%v|", c)
	}
	return b.String()
}

// find returns the row of a table with these key cells.
func find(table string, cells ...any) (row, bool) {
	r, ok := data.rows[table].by[key(cells...)]
	return r, ok
}

// The most that a table may hold, so that a wrong file is refused early.
const (
	mostBytes = 1 << 20
	mostRows  = 2000
)

// readTable reads one table. It begins with lines "# field: text" for title,
// source and edition (and note), then a header line, then the rows, each of which
// ends with what it rests on.
func readTable(name string, text []byte) (Table, rows, error) {
	t, out := Table{Name: name}, rows{by: map[string]row{}}
	bad := func(format string, args ...any) (Table, rows, error) {
		return Table{}, rows{}, fmt.Errorf("table %s: %s", name, fmt.Sprintf(format, args...))
	}
	columns := strings.Fields(schema[name])
	switch {
	case len(columns) == 0:
		return bad("no such table; name one of the engine's own")
	case len(text) > mostBytes:
		return bad("more than %d bytes; it is not a table", mostBytes)
	}
	about := map[string]*string{"title": &t.Title, "source": &t.Source, "edition": &t.Edition, "note": &t.Note}
	for rest := text; bytes.HasPrefix(rest, []byte("#")); {
		line, after, _ := bytes.Cut(rest, []byte("\n"))
		field, value, _ := strings.Cut(strings.TrimPrefix(string(line), "#"), ":")
		into := about[strings.TrimSpace(field)]
		if into == nil || *into != "" {
			return bad("the line %q is unknown or comes twice; write title, source, edition and note once each", printable.Cut(string(line), 40))
		}
		*into, rest = strings.TrimSpace(value), after
	}
	if t.Title == "" || t.Source == "" || t.Edition == "" {
		return bad("title, source or edition is missing; a table without a source does not go in")
	}
	r := csv.NewReader(bytes.NewReader(text))
	r.Comment, r.FieldsPerRecord = '#', len(columns)
	all, err := r.ReadAll()
	if err != nil {
		return bad("%v; correct that line", err)
	}
	if len(all) < 2 || len(all) > mostRows {
		return bad("%d lines; give a header and up to %d rows", len(all), mostRows)
	}
	for i, c := range columns {
		if plain := strings.Trim(c, "*#"); all[0][i] != plain {
			return bad("column %d is %q; call it %s", i+1, printable.Cut(all[0][i], 40), plain)
		}
	}
	for n, record := range all[1:] {
		one, keys := row{map[string]string{}, map[string]float64{}}, []any{}
		for i, c := range columns {
			plain := strings.Trim(c, "*#")
			var cell any = record[i]
			if strings.HasSuffix(c, "#") {
				x, err := strconv.ParseFloat(record[i], 64)
				if err != nil || !(x >= 0 && x <= 1e6) {
					return bad("row %d, %s is %q; give a number from 0 to 1000000", n+1, plain, printable.Cut(record[i], 40))
				}
				one.number[plain], cell = x, x
			} else {
				one.text[plain] = record[i]
			}
			if strings.HasPrefix(c, "*") {
				keys = append(keys, cell)
			}
		}
		if rests, ok := one.text["rests"]; ok {
			if err := t.Rests.add(rests); err != nil {
				return bad("row %d: %v", n+1, err)
			}
		}
		k := key(keys...)
		if _, twice := out.by[k]; twice {
			return bad("row %d repeats an earlier one (%s); remove one", n+1, printable.Cut(k, 40))
		}
		out.by[k] = one
		out.list = append(out.list, one)
	}
	t.Rows = len(out.list)
	return t, out, nil
}

// Positive reports whether x is a number above nought that a reading or a size
// can have.
func Positive(x float64) bool { return x > 0 && x <= 1e6 && !math.IsNaN(x) }
