package readings

import (
	"fmt"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"

	"waycall/internal/plainyaml"
	"waycall/internal/printable"
)

// nesting bounds how deep a sheet nests: a reading is a group in a list under one
// key.
var nesting = plainyaml.Limits{Depth: 4, PerLine: 3, Column: 1000}

const top = "readings"

// yaml splits a YAML sheet into rows. The scalars come from the syntax tree, as
// in package board: the library's decoder would turn 0.30 into 0.3.
func (p *decoder) yaml(text string) ([]row, error) {
	root, err := p.tree(text)
	if err != nil {
		return nil, err
	}
	pairs, ok := pairsOf(root)
	if !ok || len(pairs) != 1 || pairs[0].Key.GetToken().Value != top {
		return nil, p.problem(lineOf(root), "", "", "the file does not begin with the one key "+top, "write "+top+": and below it one reading a line, each beginning with a dash")
	}
	list, ok := pairs[0].Value.(*ast.SequenceNode)
	if !ok {
		return nil, p.problem(lineOf(pairs[0].Key), "", "", top+" is not a list", "write one reading a line, each beginning with a dash")
	}
	var out []row
	for _, entry := range list.Values {
		if one, ok := p.entry(entry); ok {
			out = append(out, one)
		}
	}
	return out, nil
}

func (p *decoder) entry(node ast.Node) (row, bool) {
	pairs, ok := pairsOf(node)
	if !ok || len(pairs) == 0 {
		p.add(lineOf(node), "", "", "the entry is not a group of keys", `write it as {board: 1, way: 3, test: LN-E, value: ">999"}`)
		return row{}, false
	}
	one := row{lineOf(pairs[0].Key), map[string]string{}}
	for _, pair := range pairs {
		key := pair.Key.GetToken().Value
		text, single := scalar(pair.Value)
		_, again := one.text[key]
		switch {
		case !slices.Contains(fields, key):
			p.add(lineOf(pair.Key), one.text["way"], "", fmt.Sprintf("unknown key %q", printable.Cut(printable.Line(key), 40)), "use "+strings.Join(fields, ", "))
			ok = false
		case again:
			p.add(lineOf(pair.Key), one.text["way"], key, "it is given twice", "remove one")
			ok = false
		case !single:
			p.add(lineOf(pair.Key), one.text["way"], key, "it is not a single value", `write it after the colon on the same line, in quotes where it begins with a sign: ">999"`)
			ok = false
		case text != "":
			one.text[key] = text
		}
	}
	return one, ok
}

// tree parses the one document of a sheet.
func (p *decoder) tree(text string) (ast.Node, error) {
	root, e := plainyaml.Parse(text, nesting)
	if e == nil {
		return root, nil
	}
	line := lineAt(e.Token)
	switch e.Fault {
	case plainyaml.Unused:
		return nil, p.problem(line, "", "", fmt.Sprintf("%q is YAML that a sheet does not use", printable.Cut(printable.Line(e.Token.Value), 40)), `write the value out, in quotes if it begins with that character: ">999"`)
	case plainyaml.TooDeep:
		return nil, p.problem(line, "", "", "the file nests too deep or a line is too long", "write one reading a line, each beginning with a dash")
	case plainyaml.Syntax:
		if e.Token == nil {
			return nil, p.problem(0, "", "", printable.Line(e.What), "correct the YAML")
		}
		return nil, p.problem(line, "", "", printable.Line(e.What), `correct the YAML there or on the line before; a value such as ">999" stands in quotes`)
	case plainyaml.Comments:
		return nil, p.problem(0, "", "", "the file holds only comments", "write "+top+": and the readings below it")
	case plainyaml.Second:
		return nil, p.problem(line, "", "", "a second document begins", "keep the readings of one job in one list")
	}
	return nil, p.problem(0, "", "", fmt.Sprintf("the file cannot be read as YAML (%s)", e.What), "compare it with testdata/readings/workshop.yaml")
}

func pairsOf(node ast.Node) ([]*ast.MappingValueNode, bool) {
	switch n := node.(type) {
	case *ast.MappingNode:
		return n.Values, true
	case *ast.MappingValueNode:
		return []*ast.MappingValueNode{n}, true
	}
	return nil, false
}

// scalar returns a single value as it stands in the file; a null is as if the
// key were not there.
func scalar(node ast.Node) (string, bool) {
	switch n := node.(type) {
	case nil, *ast.NullNode:
		return "", true
	case *ast.StringNode:
		return strings.TrimSpace(n.Value), true
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		return n.GetToken().Value, true
	}
	return "", false
}

func lineOf(node ast.Node) int {
	if node == nil {
		return 0
	}
	return lineAt(node.GetToken())
}

func lineAt(tk *token.Token) int {
	if tk == nil || tk.Position == nil {
		return 0
	}
	return max(1, tk.Position.Line)
}
