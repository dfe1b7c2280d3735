package rooms

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// What a room shows to others says what it is: each exported name, and each exported
// measure of a type, whose unit and range nobody can guess.
func TestExportedNamesAreDocumented(t *testing.T) {
	seen := 0
	for _, root := range []string{"../..", "../../../grammar"} {
		err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err != nil || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			fset := token.NewFileSet()
			f, err := parser.ParseFile(fset, path, nil, parser.ParseComments)
			if err != nil {
				return err
			}
			names, bare := undocumented(f)
			seen += names
			for _, n := range bare {
				t.Errorf("%s: %s is exported and no comment says what it is, or its unit and range; write one, or begin it with a small letter", fset.Position(n.Pos()), n.Name)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if seen < 1000 {
		t.Errorf("only %d exported names were looked at", seen)
	}
}

// undocumented returns how many exported names and figures a file has, and those that
// no comment is about.
func undocumented(f *ast.File) (seen int, bare []*ast.Ident) {
	check := func(n *ast.Ident, about ...*ast.CommentGroup) {
		if !n.IsExported() {
			return
		}
		seen++
		if !slices.ContainsFunc(about, func(c *ast.CommentGroup) bool { return c != nil }) {
			bare = append(bare, n)
		}
	}
	for _, d := range f.Decls {
		switch d := d.(type) {
		case *ast.FuncDecl:
			if d.Recv == nil || receiver(d.Recv.List[0].Type).IsExported() {
				check(d.Name, d.Doc)
			}
		case *ast.GenDecl:
			for _, s := range d.Specs {
				switch s := s.(type) {
				case *ast.ValueSpec:
					for _, n := range s.Names {
						check(n, d.Doc, s.Doc, s.Comment)
					}
				case *ast.TypeSpec:
					check(s.Name, d.Doc, s.Doc, s.Comment)
					fields, isStruct := s.Type.(*ast.StructType)
					if !isStruct || !s.Name.IsExported() {
						continue
					}
					for _, field := range fields.Fields.List {
						for _, n := range field.Names {
							if figure(field.Type) {
								check(n, field.Doc, field.Comment, naming(n.Name, d.Doc), naming(n.Name, s.Doc))
							}
						}
					}
				}
			}
		}
	}
	return seen, bare
}

// receiver returns the name of the type that a method is of.
func receiver(t ast.Expr) *ast.Ident {
	for {
		switch x := t.(type) {
		case *ast.StarExpr:
			t = x.X
		case *ast.IndexExpr:
			t = x.X
		case *ast.Ident:
			return x
		default:
			return ast.NewIdent("_")
		}
	}
}

// figure reports whether a field is a measure, or several: what has a unit and a range.
// A whole number is a count or the number of something, which its name says.
func figure(t ast.Expr) bool {
	switch x := t.(type) {
	case *ast.ArrayType:
		return figure(x.Elt)
	case *ast.StarExpr:
		return figure(x.X)
	case *ast.SelectorExpr:
		return x.Sel.Name == "Duration"
	case *ast.Ident:
		return slices.Contains([]string{"float32", "float64"}, x.Name)
	}
	return false
}

// naming returns the comment of a type where it speaks of a field.
func naming(field string, c *ast.CommentGroup) *ast.CommentGroup {
	if c != nil && regexp.MustCompile(`\b`+field+`\b`).MatchString(c.Text()) {
		return c
	}
	return nil
}

func TestNoticesWhatIsUndocumented(t *testing.T) {
	f, err := parser.ParseFile(token.NewFileSet(), "x.go", `package x

func Bare() {}

// Said is.
func Said() {}

type hidden struct{ Figure float64 }

func (h *hidden) Method() {}

// A group.
const (
	One = 1
	Two = 2
)

var Three = 3

// Plain has Named in it.
type Plain[T any] struct {
	Named  float64
	Count  int
	Volts  float64 // V
	Amps   []float64
	Text   string
}

func (p *Plain[T]) Way() {}
`, parser.ParseComments)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	_, bare := undocumented(f)
	for _, n := range bare {
		got = append(got, n.Name)
	}
	if want := []string{"Bare", "Three", "Amps", "Way"}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}
