// Package plainyaml parses YAML that a person wrote as plain text, from a file
// that may be hostile.
//
// It gives back the syntax tree, because the library's decoder would turn 0012
// into 10 and 0.30 into 0.3. Anchors, aliases, tags and merge keys are refused:
// they are how small files become large.
package plainyaml

import (
	"errors"
	"fmt"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Limits bound how deep a file nests.
type Limits struct {
	Depth   int // brackets in brackets
	PerLine int // "- " and "? " that open something on one line
	Column  int // how long a line may be
}

// Fault says what is wrong with a file.
type Fault int

// The faults.
const (
	Unused   Fault = iota // Token is something that plain YAML does without
	TooDeep               // it nests too deep, or a line is too long
	Syntax                // it is not YAML; Token may be nil
	Comments              // it holds only comments
	Second                // a second document begins
	Panicked              // the parser gave up
)

// Refusal is why a file is refused. The caller words it, as only he knows what the
// file should have been.
type Refusal struct {
	Fault Fault
	Token *token.Token // where; nil where the file as a whole is meant
	What  string       // in the parser's words; for Syntax and Panicked
}

// Parse returns the one document of text. The parser recurses, so how deep the
// file nests is measured on its tokens first: a stack that runs out cannot be
// recovered from.
func Parse(text string, limits Limits) (_ ast.Node, fault *Refusal) {
	defer func() {
		// A parser of a format as large as YAML has panicked on hostile input
		// before; a file must not take a session down with it.
		if e := recover(); e != nil {
			fault = &Refusal{Panicked, nil, fmt.Sprint(e)}
		}
	}()
	if e := shallow(text, limits); e != nil {
		return nil, e
	}
	file, err := parser.ParseBytes([]byte(text), 0)
	if err != nil {
		var e yaml.Error
		if errors.As(err, &e) {
			return nil, &Refusal{Syntax, e.GetToken(), e.GetMessage()}
		}
		return nil, &Refusal{Syntax, nil, err.Error()}
	}
	var bodies []ast.Node
	for _, doc := range file.Docs {
		if doc.Body != nil {
			bodies = append(bodies, doc.Body)
		}
	}
	switch len(bodies) {
	case 0:
		return nil, &Refusal{Fault: Comments}
	case 1:
		return bodies[0], nil
	}
	return nil, &Refusal{Fault: Second, Token: bodies[1].GetToken()}
}

func shallow(text string, limits Limits) *Refusal {
	depth, line, opened := 0, 0, 0
	for _, tk := range lexer.Tokenize(text) {
		if tk.Position.Line != line {
			line, opened = tk.Position.Line, 0
		}
		switch tk.Type {
		case token.SequenceStartType, token.MappingStartType:
			depth++
		case token.SequenceEndType, token.MappingEndType:
			depth--
		case token.SequenceEntryType, token.MappingKeyType:
			opened++
		case token.AnchorType, token.AliasType, token.MergeKeyType, token.TagType, token.DirectiveType:
			return &Refusal{Fault: Unused, Token: tk}
		}
		if depth > limits.Depth || opened > limits.PerLine || tk.Position.Column > limits.Column {
			return &Refusal{Fault: TooDeep, Token: tk}
		}
	}
	return nil
}
