package report_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/report/paper"
	"waycall/internal/report/plaintext"
	"waycall/internal/report/reporttest"
	"waycall/internal/report/spreadsheet"
)

var forms = map[string]func(io.Writer, report.Schedule) error{"text": plaintext.Write, "csv": spreadsheet.CSV, "json": report.Write, "xlsx": spreadsheet.XLSX, "pdf": paper.Write}

func written1(t interface{ Fatalf(string, ...any) }, s report.Schedule, form string) []byte {
	var b bytes.Buffer
	if err := forms[form](&b, s); err != nil {
		t.Fatalf("%s: %v", form, err)
	}
	return b.Bytes()
}

// What was exported and read again gives the same document, in every form and to
// the last byte.
func TestRoundTrip(t *testing.T) {
	all := reporttest.Schedules(t)
	all["empty"], all["large"] = report.Build(record.State{}), reporttest.Large(40)
	for name, s := range all {
		t.Run(name, func(t *testing.T) {
			back, err := report.Read(bytes.NewReader(written1(t, s, "json")))
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(s, back); d != "" {
				t.Error(d)
			}
			for form := range forms {
				if !bytes.Equal(written1(t, s, form), written1(t, back, form)) {
					t.Errorf("%s is another", form)
				}
			}
		})
	}
}

func TestAnyRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := report.Build(reporttest.DrawWork(t))
		back, err := report.Read(bytes.NewReader(written1(t, s, "json")))
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(s, back); d != "" {
			t.Fatal(d)
		}
		for _, form := range []string{"text", "csv", "json"} {
			if !bytes.Equal(written1(t, s, form), written1(t, back, form)) {
				t.Fatalf("%s is another", form)
			}
		}
	})
}

// A time in another zone is the same time.
func TestReadUTC(t *testing.T) {
	s := report.Build(reporttest.Whole(t))
	text := string(written1(t, s, "json"))
	if !strings.Contains(text, `"2026-03-14T09:`) {
		t.Fatal("no time to change")
	}
	moved := strings.NewReplacer(`"2026-03-14T09:`, `"2026-03-14T11:`, `"2026-03-14T10:`, `"2026-03-14T12:`, `:00Z"`, `:00+02:00"`).Replace(text)
	back, err := report.Read(strings.NewReader(moved))
	if err != nil {
		t.Fatal(err)
	}
	for form := range forms {
		if !bytes.Equal(written1(t, s, form), written1(t, back, form)) {
			t.Errorf("%s is another", form)
		}
	}
}

// change returns the JSON of a schedule with one value exchanged.
func change(t testing.TB, s report.Schedule, how func(map[string]any)) []byte {
	t.Helper()
	var doc map[string]any
	if err := json.Unmarshal(written1(t, s, "json"), &doc); err != nil {
		t.Fatal(err)
	}
	how(doc)
	data, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func obj(v any, path ...any) map[string]any {
	for _, p := range path {
		switch p := p.(type) {
		case string:
			v = v.(map[string]any)[p]
		case int:
			v = v.([]any)[p]
		}
	}
	return v.(map[string]any)
}

// bad are schedules that are none, with whether the schema alone can tell.
func bad(t testing.TB) map[string]struct {
	json   []byte
	schema bool
} {
	s := reporttest.Observed(report.Build(reporttest.Reviewed(t)))
	s.Record.Sum = reporttest.SomeSum
	reading := func(doc map[string]any) map[string]any {
		for _, l := range doc["lines"].([]any) {
			for _, c := range l.(map[string]any)["tests"].([]any) {
				if c := c.(map[string]any); c["status"] == "recorded" && c["unit"] != nil {
					return c
				}
			}
		}
		t.Fatal("no reading")
		return nil
	}
	set := func(name string, v any) func(map[string]any) { return func(m map[string]any) { m[name] = v } }
	in := func(f func(map[string]any), path ...any) func(map[string]any) {
		return func(doc map[string]any) { f(obj(doc, path...)) }
	}
	ofReading := func(name string, v any) func(map[string]any) {
		return func(doc map[string]any) { reading(doc)[name] = v }
	}
	out := map[string]struct {
		json   []byte
		schema bool
	}{}
	for name, c := range map[string]struct {
		how    func(map[string]any)
		schema bool
	}{
		"a newer format":        {set("format", 3), true},
		"no format":             {func(m map[string]any) { delete(m, "format") }, true},
		"a format of words":     {set("format", "2"), true},
		"lines that are null":   {set("lines", nil), true},
		"lines that are one":    {set("lines", map[string]any{}), true},
		"a field too many":      {set("certificate", true), true},
		"a field in capitals":   {set("Boards", []any{}), true},
		"a number for a name":   {in(set("address", 4), "job"), true},
		"a way 0":               {in(set("way", 0), "lines", 0), true},
		"a way of a half":       {in(set("way", 1.5), "lines", 0), true},
		"a board of 1e9":        {in(set("board", 1e9), "boards", 0), true},
		"a status of its own":   {ofReading("status", "safe"), true},
		"a result of its own":   {ofReading("result", "safe"), true},
		"a test of its own":     {ofReading("test", "LNE"), true},
		"a bound of its own":    {ofReading("bound", "≥"), true},
		"a negative value":      {ofReading("value", -1), true},
		"a huge value":          {ofReading("value", 1e9), true},
		"a value of words":      {ofReading("value", ">999"), true},
		"a time of words":       {ofReading("at", "yesterday"), true},
		"a sum of words":        {in(set("sum", "<script>"), "record"), true},
		"a code of its own":     {in(set("code", "C9"), "observations", 0), true},
		"a signer without name": {in(set("name", ""), "signed"), true},
		"text of another value": {ofReading("text", "77.7"), false},
		"no text":               {func(m map[string]any) { delete(reading(m), "text") }, false},
		"no value":              {func(m map[string]any) { delete(reading(m), "value") }, false},
		"no result":             {func(m map[string]any) { delete(reading(m), "result") }, false},
		"another unit":          {ofReading("unit", "kA"), false},
		"another bound":         {ofReading("bound", "<"), false},
		"a reading not made":    {ofReading("status", "to do"), false},
		"a reading replaced":    {ofReading("status", "replaced"), false},
		"a board twice":         {in(set("board", 1), "boards", 1), false},
		"a line twice":          {func(m map[string]any) { l := m["lines"].([]any); m["lines"] = append(l, l[0]) }, false},
		"a line of no board":    {in(set("board", 9), "lines", 0), false},
		"a sight of no board":   {in(set("board", 9), "observations", 0), false},
		"signed in the future":  {in(set("event", 1e6), "signed"), false},
	} {
		out[name] = struct {
			json   []byte
			schema bool
		}{change(t, s, c.how), c.schema}
	}
	return out
}

func TestReadRefuses(t *testing.T) {
	for name, c := range bad(t) {
		t.Run(name, func(t *testing.T) {
			_, err := report.Read(bytes.NewReader(c.json))
			if err == nil || !strings.HasPrefix(err.Error(), "this is no schedule: ") || !strings.HasSuffix(err.Error(), "; give what waycall schedule --format json wrote, unchanged") {
				t.Fatalf("%v", err)
			}
			if len(err.Error()) > 600 || strings.ContainsAny(err.Error(), "\n\x1b") {
				t.Errorf("%q", err)
			}
			if c.schema && (strings.Contains(err.Error(), "is not its value") || strings.Contains(err.Error(), "there twice")) {
				t.Errorf("the schema did not find it: %v", err)
			}
		})
	}
	whole := written1(t, report.Build(reporttest.Whole(t)), "json")
	for name, data := range map[string][]byte{
		"nothing": nil, "not JSON": []byte("=1+1"), "a list": []byte("[]"), "null": []byte("null"), "cut short": whole[:len(whole)/2],
		"two of them": append(slices.Clone(whole), whole...), "deep": []byte(strings.Repeat("[", 1<<20)), "an escape": []byte("\x1b[2J{"),
	} {
		if _, err := report.Read(bytes.NewReader(data)); err == nil || strings.ContainsAny(err.Error(), "\n\x1b") {
			t.Errorf("%s: %q", name, fmt.Sprint(err))
		}
	}
	if _, err := report.Read(io.MultiReader(bytes.NewReader(whole), endless{})); err == nil || !strings.Contains(err.Error(), "larger than 64 MB") {
		t.Errorf("endless: %v", err)
	}
}

// endless is spaces without end.
type endless struct{}

func (endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = ' '
	}
	return len(p), nil
}

// The jsonschema package of PyPI takes every schedule that is written here for
// valid under the published schema, and none of those that Read refuses because of
// the schema.
func TestSchemaByAnother(t *testing.T) {
	python, err := filepath.Abs("../../.cache/reference/bin/python")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(python); err != nil {
		t.Fatalf("the reference packages are not set up: %v; run make test", err)
	}
	dir := t.TempDir()
	put := func(name string, data []byte) {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	put("schema", report.Schema())
	want := map[string]bool{}
	add := func(name string, data []byte, valid bool) {
		put(fmt.Sprintf("%s.json", name), data)
		want[name] = valid
	}
	good := reporttest.Schedules(t)
	good["empty"], good["large"] = report.Build(record.State{}), reporttest.Large(40)
	for name, text := range reporttest.Hostile {
		s := reporttest.Spoilt(t, strings.ToValidUTF8(text, "\uFFFD"))
		s.Record.Sum, s.Signed.Sum, s.Observations[0].Code, s.Observations[1].Code = "", reporttest.SomeSum, "C1", "FI" // these are held to what they are
		good["hostile "+name] = s
	}
	for name, s := range good {
		add("good "+name, written1(t, s, "json"), true)
	}
	for name, c := range bad(t) {
		add("bad "+name, c.json, !c.schema)
	}
	cmd := exec.Command(python, "-c", `
import json, pathlib, sys, jsonschema
schema = json.load(open("schema"))
jsonschema.Draft202012Validator.check_schema(schema)
v = jsonschema.Draft202012Validator(schema, format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER)
assert "date-time" in v.format_checker.checkers, "dates are not checked"
faults = lambda p: [e.json_path + " " + e.message[:80] for e in v.iter_errors(json.loads(p.read_text()))]
json.dump({p.stem: faults(p) for p in pathlib.Path(".").glob("*.json")}, sys.stdout)`)
	cmd.Dir, cmd.Stderr = dir, os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("jsonschema: %v; run make test, which sets up the reference packages", err)
	}
	var faults map[string][]string
	if err := json.Unmarshal(out, &faults); err != nil {
		t.Fatal(err)
	}
	if len(faults) != len(want) {
		t.Errorf("%d of %d were looked at", len(faults), len(want))
	}
	for _, name := range slices.Sorted(maps.Keys(want)) {
		if valid := len(faults[name]) == 0; valid != want[name] {
			t.Errorf("%s is valid: %v, want %v: %q", name, valid, want[name], faults[name])
		}
	}
}

// Bytes that are taken for a schedule are one that stays what it is.
func FuzzRead(f *testing.F) {
	f.Add(written1(f, report.Build(record.State{}), "json"))
	f.Add([]byte(`{"format":2}`))
	f.Add([]byte(`{"format":3,"job":null}`))
	compact, err := json.Marshal(reporttest.Little(f))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(compact)
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := report.Read(bytes.NewReader(data))
		if err != nil {
			if strings.ContainsAny(err.Error(), "\x00\x1b\n") || len(err.Error()) > 700 {
				t.Errorf("%q", err)
			}
			return
		}
		again, err := report.Read(bytes.NewReader(written1(t, s, "json")))
		if err != nil {
			t.Fatalf("what was read cannot be read again: %v", err)
		}
		if d := cmp.Diff(s, again); d != "" {
			t.Error(d)
		}
	})
}
