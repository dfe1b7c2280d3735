package report_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/report"
	"waycall/internal/report/reporttest"
	"waycall/internal/waymark"
)

// The published schema is that of the Go types, with what they say in their
// comments. After a change of the types: go test ./internal/report -run Schema -update
func TestSchemaIsThatOfTheTypes(t *testing.T) {
	reporttest.Golden(t, filepath.Join("..", "schedule.schema.json"), string(makeSchema(t)))
}

// member is a name and a value of a JSON object whose order matters to readers.
type member struct {
	name  string
	value any
}

type object []member

func (o object) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	for i, m := range o {
		name, err := json.Marshal(m.name)
		if err != nil {
			return nil, err
		}
		var value bytes.Buffer
		enc := json.NewEncoder(&value)
		enc.SetEscapeHTML(false)
		if err := enc.Encode(m.value); err != nil {
			return nil, err
		}
		if i > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, "%s:%s", name, bytes.TrimSpace(value.Bytes()))
	}
	return slices.Concat([]byte("{"), b.Bytes(), []byte("}")), nil
}

// limits are what the types cannot say, by type and JSON name.
func limits() map[string]object {
	whole := func(least, most float64) object { return object{{"minimum", least}, {"maximum", most}} }
	lastWay := float64(waymark.Of(waymark.MaxPlace, waymark.Lines))
	oneOf := func(words ...string) object { return object{{"enum", words}} }
	results := []string{string(check.Pass), string(check.Investigate), string(check.Fail), string(check.CannotSay)}
	var tests []string
	for _, test := range report.Order {
		tests = append(tests, string(test))
	}
	sum := object{{"pattern", "^[0-9a-f]{64}$"}}
	l := map[string]object{
		"Schedule.format": {{"const", report.Format}},
		"Cell.test":       oneOf(tests...),
		"Cell.status": oneOf(string(report.Recorded), string(report.ToDo), string(report.Skipped), string(report.NotApplicable), string(report.Limitation), string(report.NotVerified), string(report.Waived), string(report.Accepted),
			string(report.ByBoard), string(report.NotAsked), string(report.Waiting), string(report.Replaced), string(report.Withdrawn), string(report.BeforeWork), string(report.AtFull)),
		"Cell.bound":         oneOf(string(reading.Exactly), string(reading.GreaterThan), string(reading.LessThan)),
		"Cell.unit":          oneOf(string(reading.Megohm), string(reading.Ohm), string(reading.Millisec), string(reading.Kiloamp), string(reading.Milliamp), string(reading.Volt)),
		"Cell.value":         whole(0, reading.MaxValue),
		"Cell.result":        oneOf(results...),
		"Tested.result":      oneOf(results...),
		"Cell.position":      whole(1, 500),
		"Cell.margin":        whole(0, 1e300),
		"Cell.test_voltage":  whole(0, 1000),
		"Line.position":      whole(1, 500),
		"Observation.code":   oneOf("C1", "C2", "C3", "FI"),
		"Observation.way":    whole(0, lastWay),
		"Observation.board":  whole(1, 99),
		"Note.way":           whole(0, lastWay),
		"Note.board":         whole(1, 99),
		"SignOff.sum":        sum,
		"SignOff.initials":   {{"minLength", 1}},
		"SignOff.name":       {{"minLength", 1}},
		"Record.sum":         sum,
		"Record.last_event":  whole(0, 1<<53),
		"Record.sessions":    whole(0, 1e9),
		"Step.answer":        oneOf("", "done", "not applicable", "limitation"),
		"Line.board":         whole(1, 99),
		"Line.way":           whole(1, lastWay),
		"Line.points":        whole(0, 1e6),
		"Line.supplies":      whole(0, 99),
		"Board.board":        whole(1, 99),
		"Board.fed_from":     whole(0, 99),
		"Board.fed_from_way": whole(0, lastWay),
		"Limit.board":        whole(1, 99),
		"Step.board":         whole(1, 99),
		"Review.by":          {{"minLength", 1}},
	}
	for _, name := range []string{"Cell.event", "Cell.heard", "Review.event", "Ending.event", "Observation.event", "Observation.heard", "Note.event", "Note.heard", "SignOff.event", "Step.event"} {
		l[name] = whole(0, 1<<53)
	}
	return l
}

// makeSchema derives the schema from the types.
func makeSchema(t *testing.T) []byte {
	t.Helper()
	g := &generator{t: t, says: comments(t, ".", "../board"), limits: limits(), used: map[string]bool{}, names: map[reflect.Type]string{}}
	root := g.ref(reflect.TypeFor[report.Schedule]())
	var defs object
	for i := 0; i < len(g.order); i++ { // it grows meanwhile
		defs = append(defs, member{g.names[g.order[i]], g.object(g.order[i])})
	}
	for name := range g.limits {
		if !g.used[name] {
			t.Errorf("there is a limit for %s, and no such field", name)
		}
	}
	out := object{
		{"$schema", "https://json-schema.org/draft/2020-12/schema"}, {"title", "waycall schedule"},
		{"description", "The schedule of circuit details and test results of one job, as waycall schedule --format json writes it and waycall schedule --from reads it. It is a record of readings, for a competent person to judge."},
		root[0], {"$defs", defs},
	}
	raw, err := out.MarshalJSON()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := json.Indent(&b, raw, "", "  "); err != nil {
		t.Fatal(err)
	}
	return append(b.Bytes(), '\n')
}

type generator struct {
	t      *testing.T
	says   map[string]string // package.Type or package.Type.Field -> its comment
	limits map[string]object
	used   map[string]bool
	names  map[reflect.Type]string
	order  []reflect.Type
}

// ref is a reference to a struct, which is then described.
func (g *generator) ref(t reflect.Type) object {
	if g.names[t] == "" {
		name := t.Name()
		if t.PkgPath() != reflect.TypeFor[report.Schedule]().PkgPath() {
			name = "Setup" + name
		}
		g.names[t] = name
		g.order = append(g.order, t)
	}
	return object{{"$ref", "#/$defs/" + g.names[t]}}
}

func (g *generator) schema(t reflect.Type) object {
	switch {
	case t == reflect.TypeFor[time.Time]():
		return object{{"type", "string"}, {"format", "date-time"}}
	case t.Kind() == reflect.Pointer:
		return g.schema(t.Elem())
	case t.Kind() == reflect.Struct:
		return g.ref(t)
	case t.Kind() == reflect.Slice:
		return object{{"type", "array"}, {"items", g.schema(t.Elem())}}
	case t.Kind() == reflect.String:
		return object{{"type", "string"}}
	case t.Kind() == reflect.Bool:
		return object{{"type", "boolean"}}
	case t.Kind() == reflect.Float64:
		return object{{"type", "number"}}
	case t.Kind() == reflect.Int || t.Kind() == reflect.Int64:
		return object{{"type", "integer"}}
	}
	g.t.Fatalf("%v has no schema", t)
	return nil
}

func (g *generator) object(t reflect.Type) object {
	var fields object
	required := []string{}
	var add func(t reflect.Type)
	add = func(t reflect.Type) {
		pkg := filepath.Base(t.PkgPath())
		for i := range t.NumField() {
			f := t.Field(i)
			if f.Anonymous {
				add(f.Type)
				continue
			}
			name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
			if name == "" || name == "-" {
				g.t.Fatalf("%v.%s has no JSON name", t, f.Name)
			}
			s := object{}
			if says := g.says[pkg+"."+t.Name()+"."+f.Name]; says != "" {
				s = append(s, member{"description", says})
			}
			s = append(s, g.schema(f.Type)...)
			if pkg == "report" {
				at := t.Name() + "." + name
				g.used[at] = true
				s = append(s, g.limits[at]...)
			}
			fields = append(fields, member{name, s})
			if options == "" {
				required = append(required, name)
			}
		}
	}
	add(t)
	out := object{}
	if says := g.says[filepath.Base(t.PkgPath())+"."+t.Name()]; says != "" {
		out = append(out, member{"description", says})
	}
	return append(out, member{"type", "object"}, member{"properties", fields}, member{"required", required}, member{"additionalProperties", false})
}

// comments are what the source says of types and fields.
func comments(t *testing.T, folders ...string) map[string]string {
	t.Helper()
	says := map[string]string{}
	for _, folder := range folders {
		files, err := filepath.Glob(filepath.Join(folder, "*.go"))
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range files {
			if strings.HasSuffix(path, "_test.go") {
				continue
			}
			file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ParseComments)
			if err != nil {
				t.Fatal(err)
			}
			words := func(groups ...*ast.CommentGroup) string {
				for _, c := range groups {
					if text := strings.Join(strings.Fields(c.Text()), " "); text != "" {
						return text
					}
				}
				return ""
			}
			for _, d := range file.Decls {
				decl, ok := d.(*ast.GenDecl)
				if !ok {
					continue
				}
				for _, spec := range decl.Specs {
					typ, ok := spec.(*ast.TypeSpec)
					if !ok {
						continue
					}
					name := file.Name.Name + "." + typ.Name.Name
					says[name] = words(typ.Doc, decl.Doc)
					if s, ok := typ.Type.(*ast.StructType); ok {
						for _, f := range s.Fields.List {
							for _, n := range f.Names {
								says[name+"."+n.Name] = words(f.Doc, f.Comment)
							}
						}
					}
				}
			}
		}
	}
	return says
}
