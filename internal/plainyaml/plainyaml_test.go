package plainyaml

import (
	"strings"
	"testing"
)

func TestParse(t *testing.T) {
	limits := Limits{Depth: 3, PerLine: 2, Column: 60}
	if root, e := Parse("a: 0012\nb: [x, {c: 0.30}]\n", limits); e != nil || root == nil {
		t.Errorf("plain YAML: %v", e)
	}
	for text, want := range map[string]struct {
		fault Fault
		line  int // 0 for the file as a whole
	}{
		"a: 1\nb: &x 2":                     {Unused, 2},
		"a: !!int 2":                        {Unused, 1},
		"a: [[[[1]]]]":                      {TooDeep, 1},
		"a: 1\n- - - 1":                     {TooDeep, 2},
		strings.Repeat(" ", 70) + "a: 1":    {TooDeep, 1},
		"# nothing":                         {Comments, 0},
		"a: 1\n---\nb: 2":                   {Second, 3},
		"a: 1\nb: [1":                       {Syntax, 2},
		"a: 1\n" + strings.Repeat("[", 500): {TooDeep, 2},
	} {
		_, e := Parse(text, limits)
		if e == nil || e.Fault != want.fault {
			t.Errorf("%q: %+v, want fault %d", text, e, want.fault)
			continue
		}
		line := 0
		if e.Token != nil {
			line = e.Token.Position.Line
		}
		if line != want.line {
			t.Errorf("%q: line %d, want %d", text, line, want.line)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add("a: [1, {b: 2}]\n")
	f.Add("- &x *x")
	f.Fuzz(func(t *testing.T, text string) {
		if root, e := Parse(text, Limits{16, 4, 400}); (root == nil) == (e == nil) {
			t.Errorf("%q: %v, %v", text, root, e)
		}
	})
}
