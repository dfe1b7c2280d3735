package settings

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"

	"waycall/internal/plainfile"
	"waycall/internal/plainyaml"
)

// Line is a value in the file of settings.
type Line struct {
	Text   string
	Number int // of its line, from 1
}

// largest is how long a file of settings may be, in bytes.
const largest = 64 << 10

// Read returns what the file of settings at path says, by name. A file that does
// not exist says nothing. An error says where it is wrong and what to do; one is that
// a file of nearly that name lies beside it, as whoever wrote it believes that it holds.
func Read(path string) (map[string]Line, error) {
	for _, ending := range []string{".yml", ".toml", ".json", ".conf", ""} {
		other := strings.TrimSuffix(path, filepath.Ext(path)) + ending
		if _, err := os.Lstat(other); err == nil && other != path {
			return nil, fmt.Errorf("settings: %s is not read; put what it says into %s and take it away", clip(other), clip(path))
		}
	}
	f, err := plainfile.Open(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil
	case errors.Is(err, plainfile.ErrNotPlain):
		return nil, fmt.Errorf("settings: %s is not a plain file; take it away, or write one in its place", clip(path))
	case err != nil:
		return nil, fmt.Errorf("settings: %w; make the file readable, or take it away", err)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, largest+1))
	if err != nil {
		return nil, fmt.Errorf("settings: %w; make the file readable, or take it away", err)
	}
	return parse(path, strings.TrimPrefix(string(text), "\ufeff"), Home())
}

// Home returns the folder that ~ stands for; "" where there is none, so that ~ cannot
// be used.
func Home() string {
	dir, err := os.UserHomeDir()
	if err != nil {
		return ""
	}
	return dir
}

// parse reads the text of the file at path; home stands for ~.
func parse(path, text, home string) (map[string]Line, error) {
	wrong := func(tk *token.Token, what, do string) error {
		if tk == nil || tk.Position == nil {
			return fmt.Errorf("settings in %s: %s; %s", path, what, do)
		}
		return fmt.Errorf("settings in %s, line %d: %s; %s", path, tk.Position.Line, what, do)
	}
	const oneEach = "write one setting a line, such as speech-rate: 150"
	if len(text) > largest {
		return nil, wrong(nil, "the file is too large", oneEach)
	}
	root, e := plainyaml.Parse(text, plainyaml.Limits{Depth: 2, PerLine: 2, Column: 2000})
	if e != nil {
		switch e.Fault {
		case plainyaml.Comments:
			return nil, nil
		case plainyaml.Unused:
			return nil, wrong(e.Token, "YAML that settings do without", "put the value in quotes")
		case plainyaml.Syntax:
			return nil, wrong(e.Token, clip(e.What), oneEach)
		}
		return nil, wrong(e.Token, "not a list of settings", oneEach)
	}
	var pairs []*ast.MappingValueNode
	switch n := root.(type) {
	case *ast.MappingNode:
		pairs = n.Values
	case *ast.MappingValueNode:
		pairs = []*ast.MappingValueNode{n}
	default:
		return nil, wrong(root.GetToken(), "not a list of settings", oneEach)
	}
	all := map[string]Line{}
	for _, p := range pairs {
		key := p.Key.GetToken()
		name := key.Value
		s, known := find(name)
		if !known {
			return nil, wrong(key, "there is no setting "+clip(name), meant(name))
		}
		if _, again := all[name]; again {
			return nil, wrong(key, name+" is given twice", "remove one")
		}
		value, single := scalar(p.Value)
		if !single {
			return nil, wrong(key, name+" has no single value", "write it after the colon, in quotes where it begins with a sign; or take the line out")
		}
		if s.path {
			// The folder in which waycall happens to be started must not matter.
			if value = s.expand(value, home); !filepath.IsAbs(value) {
				return nil, wrong(key, name+" is "+clip(value), "write the full path, from / or from ~/")
			}
		}
		if err := s.Check(name, value); err != nil {
			return nil, fmt.Errorf("settings in %s, line %d: %w", path, key.Position.Line, err)
		}
		all[name] = Line{value, key.Position.Line}
	}
	return all, nil
}

// scalar returns a single value as it stands in the file.
func scalar(node ast.Node) (string, bool) {
	switch n := node.(type) {
	case *ast.StringNode:
		return strings.TrimSpace(n.Value), strings.TrimSpace(n.Value) != ""
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		return n.GetToken().Value, true
	}
	return "", false
}

// meant says what to do about a name that is none: the one that it is likely to
// stand for, or all.
func meant(name string) string {
	plain := strings.NewReplacer("_", "-", " ", "-").Replace(strings.ToLower(name))
	for _, s := range All {
		if plain != "" && (plain == s.Name || strings.HasPrefix(plain, s.Name) || strings.HasPrefix(s.Name, plain)) {
			return "did you mean " + s.Name + "?"
		}
	}
	var names []string
	for _, s := range All {
		names = append(names, s.Name)
	}
	return "use " + strings.Join(names, ", ")
}
