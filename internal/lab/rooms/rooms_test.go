package rooms

import (
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// page returns the page with the drawing, the table of rooms and the code.
func page(t *testing.T) (string, []room, map[string]*pkg) {
	t.Helper()
	text, err := os.ReadFile("../../../" + tablePage)
	if err != nil {
		t.Fatal(err)
	}
	all, err := load("../../..")
	if err != nil {
		t.Fatal(err)
	}
	// Go keeps the result of a test until a file that the test itself looked at
	// changes, and it is go list that looks at the code.
	for _, folder := range []string{"../..", "../../../cmd"} {
		if err := filepath.WalkDir(folder, func(_ string, _ fs.DirEntry, err error) error { return err }); err != nil {
			t.Fatal(err)
		}
	}
	table := rooms(string(text))
	if len(table) < 20 || !table[0].domain || table[len(table)-1].domain {
		t.Fatalf("the table of rooms in DEVELOPERS.md was not understood: %v", table)
	}
	drawing, err := os.ReadFile("../../../" + drawingPage)
	if err != nil {
		t.Fatal(err)
	}
	return string(drawing), table, all
}

func TestDrawingIsOfTheCode(t *testing.T) {
	text, table, all := page(t)
	want, err := replace(text, draw(all, table))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(strings.SplitAfter(want, "\n"), strings.SplitAfter(text, "\n")); d != "" {
		t.Errorf("the drawing in docs/rooms.md is not of this code; go run ./cmd/lab rooms draws it: %s", d)
	}
}

// A package imports only packages above it in the table of rooms; those of one room
// may import each other, as far as Go lets them.
func TestImportsGoUp(t *testing.T) {
	_, table, all := page(t)
	rows := map[string]bool{}
	for path, p := range all {
		if !strings.HasPrefix(path, ours) {
			continue
		}
		row := in(table, p.name())
		if row < 0 {
			t.Errorf("internal/%s has no row in the table of rooms in DEVELOPERS.md; add it below what it imports", p.name())
			continue
		}
		rows[table[row].name] = true
		for _, u := range p.uses() {
			if i := in(table, u); i > row {
				t.Errorf("internal/%s imports internal/%s, which stands below it in the table of rooms; turn the import round, or think again about the rooms", p.name(), u)
			}
		}
		if table[row].domain && needsC(all, p) {
			t.Errorf("internal/%s is of the domain and needs an engine; let what is outside do that", p.name())
		}
		for _, i := range p.Imports {
			if strings.HasPrefix(i, "waycall/cmd/") {
				t.Errorf("internal/%s imports a command, %s", p.name(), i)
			}
		}
	}
	for _, r := range table {
		if !rows[r.name] {
			t.Errorf("the table of rooms in DEVELOPERS.md has a row %s, and there is no such package", r.name)
		}
	}
}

// What is shipped knows nothing of what measures it: neither cmd/waycall nor a package
// of internal/ outside the laboratory imports one of internal/lab, not even through
// others. A test may, as for its microphone.
func TestProductKnowsNoLab(t *testing.T) {
	_, _, all := page(t)
	looked := 0
	for path, p := range all {
		if !strings.HasPrefix(path, "waycall/") {
			continue
		}
		looked++
		for _, n := range labUsed(p) {
			t.Errorf("%s imports internal/%s, which is of the laboratory and not shipped; move what it needs out of there", path, n)
		}
	}
	waycall := all["waycall/cmd/waycall"]
	if looked < 30 || waycall == nil {
		t.Fatalf("only %d packages were looked at, cmd/waycall among them: %v", looked, waycall != nil)
	}
	for _, d := range waycall.Deps {
		if strings.HasPrefix(d, ours+"lab/") {
			t.Errorf("cmd/waycall is built with %s", d)
		}
	}
}

// The tests above notice what they are for.
func TestNotices(t *testing.T) {
	table := rooms("\n## The rooms\n| `a` | inside |\n| `talk` | |\n| `b/c` | |\n| `b` | outside |\n\n## Next\n| `d` | |\n")
	if want := []room{{"a", true}, {"talk", true}, {"b/c", false}, {"b", false}}; !cmp.Equal(table, want, cmp.AllowUnexported(room{})) {
		t.Fatalf("%v", table)
	}
	for name, want := range map[string]int{"a": 0, "b": 3, "b/d": 3, "b/c": 2, "b/c/e": 2, "bb": -1} {
		if got := in(table, name); got != want {
			t.Errorf("%s is in row %d, want %d", name, got, want)
		}
	}
	c := &pkg{ImportPath: "lib/c", CgoFiles: []string{"x.go"}}
	all := map[string]*pkg{"lib/c": c, "runtime/cgo": {ImportPath: "runtime/cgo", Standard: true, CgoFiles: []string{"x.go"}}}
	direct := &pkg{ImportPath: ours + "x", Imports: []string{"lib/c"}, Deps: []string{"lib/c"}}
	through := &pkg{ImportPath: ours + "y", Imports: []string{ours + "x"}, Deps: []string{ours + "x", "lib/c"}}
	plain := &pkg{ImportPath: ours + "z", Imports: []string{"net"}, Deps: []string{"net", "runtime/cgo"}}
	if !engine(all, direct) || engine(all, through) || engine(all, plain) {
		t.Error("engines are those that import C themselves")
	}
	lab := []string{ours + "lab/x", ours + "labour"}
	if got := labUsed(&pkg{ImportPath: ours + "x", Imports: lab}); !cmp.Equal(got, []string{"lab/x"}) {
		t.Errorf("of the laboratory is used %v", got)
	}
	for _, path := range []string{ours + "lab/y", "waycall/cmd/lab"} {
		if got := labUsed(&pkg{ImportPath: path, Imports: lab}); len(got) > 0 {
			t.Errorf("%s may use the laboratory: %v", path, got)
		}
	}
	if !needsC(all, direct) || !needsC(all, through) || needsC(all, plain) {
		t.Error("needing C goes through imports, and is not about the standard library")
	}
}

// labUsed returns the packages of the laboratory that a package outside of it imports.
func labUsed(p *pkg) []string {
	if inLab(p.name()) || p.ImportPath == "waycall/cmd/lab" {
		return nil
	}
	return slices.DeleteFunc(p.uses(), func(n string) bool { return !inLab(n) })
}
