package phrase

import (
	"fmt"
	"io/fs"
	"strings"
	"unicode"
)

// The grammar is written in JSGF, the JSpeech Grammar Format (W3C Note, June
// 2000). The subset read here leaves out what would make the language
// infinite (the * and + operators, recursion) or would tilt the scales
// (weights); each is refused with the place where it stands.

// expansion is the right-hand side of a JSGF rule, or a part of one; an action is the
// text between braces.
type expansion interface{}

type (
	word     string // a token to be spoken
	ref      struct{ rule, at string }
	sequence []expansion
	choice   []expansion
	optional struct{ of expansion }
)

// ruleSet maps a full rule name ("numbers.digit") to its expansion.
type ruleSet struct {
	rules  map[string]expansion
	public map[string]bool
}

// readJSGF reads the grammar called name (the file name + ".gram") and all that
// it imports. Every reference in the result is a full name of a rule in it.
func readJSGF(files fs.FS, name string) (*ruleSet, error) {
	set := &ruleSet{rules: map[string]expansion{}, public: map[string]bool{}}
	done := map[string]bool{}
	todo := []string{name}
	for len(todo) > 0 {
		g := todo[0]
		todo = todo[1:]
		if done[g] {
			continue
		}
		done[g] = true
		src, err := fs.ReadFile(files, g+".gram")
		if err != nil {
			return nil, fmt.Errorf("grammar %s: %w; check its import line", g, err)
		}
		imports, err := parseJSGF(set, g, string(src))
		if err != nil {
			return nil, err
		}
		todo = append(todo, imports...)
	}
	return set, set.check()
}

// jsgfParser reads one grammar file.
type jsgfParser struct {
	set     *ruleSet
	grammar string
	file    string
	src     []rune
	pos     int
	line    int
	depth   int
	imports []string
}

// maxDepth bounds nested brackets, so that hostile input cannot exhaust the
// stack.
const maxDepth = 200

func parseJSGF(set *ruleSet, name, src string) (imports []string, err error) {
	p := &jsgfParser{set: set, grammar: name, file: name + ".gram", src: []rune(src), line: 1}
	defer func() {
		if e, ok := recover().(jsgfError); ok {
			imports, err = nil, e.error
		} else if e := recover(); e != nil {
			panic(e)
		}
	}()
	p.parse()
	return p.imports, nil
}

type jsgfError struct{ error }

func (p *jsgfParser) fail(format string, args ...any) {
	panic(jsgfError{fmt.Errorf("%s:%d: %s", p.file, p.line, fmt.Sprintf(format, args...))})
}

func (p *jsgfParser) parse() {
	if !strings.HasPrefix(string(p.src), "#JSGF V1.0;") {
		p.fail("the file does not begin with #JSGF V1.0; add that header")
	}
	p.pos = len("#JSGF V1.0;")
	p.keyword("grammar")
	if got := p.untilSemicolon(); got != p.grammar {
		p.fail("the grammar is called %q in the file %s; give both the same name", got, p.file)
	}
	for {
		p.space()
		if p.pos == len(p.src) {
			return
		}
		if p.take("import") {
			target := strings.TrimSuffix(strings.TrimPrefix(p.untilSemicolon(), "<"), ">")
			g, all := strings.CutSuffix(target, ".*")
			if !all || g == "" || strings.ContainsAny(g, "./<>\\") {
				p.fail("cannot import <%s>; write import <name.*>;", target)
			}
			p.imports = append(p.imports, g)
			continue
		}
		public := p.take("public")
		p.space()
		name := p.grammar + "." + p.ruleName()
		p.space()
		p.expect('=')
		if _, twice := p.set.rules[name]; twice {
			p.fail("rule <%s> is defined twice; keep one", name)
		}
		p.set.rules[name] = p.choice()
		p.set.public[name] = public
		p.space()
		p.expect(';')
	}
}

func (p *jsgfParser) choice() expansion {
	if p.depth++; p.depth > maxDepth {
		p.fail("brackets are nested more than %d deep; split the rule", maxDepth)
	}
	defer func() { p.depth-- }()
	c := choice{p.sequence()}
	for p.space(); p.peek() == '|'; p.space() {
		p.pos++
		c = append(c, p.sequence())
	}
	if len(c) == 1 {
		return c[0]
	}
	return c
}

func (p *jsgfParser) sequence() expansion {
	var s sequence
	for {
		p.space()
		switch r := p.peek(); {
		case r == 0 || strings.ContainsRune("|)];", r):
			if len(s) == 0 {
				p.fail("something is missing before %q; write a word, a <rule> or a group", string(r))
			}
			return s
		case r == '<':
			s = append(s, ref{p.ruleName(), fmt.Sprintf("%s:%d", p.file, p.line)})
		case r == '(':
			p.pos++
			s = append(s, p.choice())
			p.space()
			p.expect(')')
		case r == '[':
			p.pos++
			s = append(s, optional{p.choice()})
			p.space()
			p.expect(']')
		case r == '{':
			s = append(s, p.tag())
		case strings.ContainsRune("*+/\"=>}\\", r):
			p.fail("%q is not used in this grammar; see grammar/README.md", string(r))
		default:
			start := p.pos
			for p.pos < len(p.src) && !unicode.IsSpace(p.src[p.pos]) && !strings.ContainsRune("|()[]{}<>;*+/\"=", p.src[p.pos]) {
				p.pos++
			}
			w := string(p.src[start:p.pos])
			if strings.Trim(w, "abcdefghijklmnopqrstuvwxyz'") != "" {
				p.fail("%q is not a lower-case word; spell it as it is spoken", w)
			}
			s = append(s, word(w))
		}
	}
}

func (p *jsgfParser) tag() action {
	start := p.pos + 1
	for p.peek() != '}' {
		if p.peek() == 0 {
			p.fail("a tag is not closed; add }")
		}
		p.advance()
	}
	t := strings.TrimSpace(string(p.src[start:p.pos]))
	p.pos++
	a, err := parseAction(t)
	if err != nil {
		p.fail("%v", err)
	}
	return a
}

func (p *jsgfParser) ruleName() string {
	p.expect('<')
	start := p.pos
	for p.peek() != '>' {
		if r := p.peek(); r == 0 || !(r == '_' || r == '.' || unicode.IsLetter(r) || unicode.IsDigit(r)) {
			p.fail("a rule name is not closed; write <name>")
		}
		p.pos++
	}
	name := string(p.src[start:p.pos])
	p.pos++
	if name == "" || name == "NULL" || name == "VOID" {
		p.fail("<%s> is not used in this grammar; see grammar/README.md", name)
	}
	return name
}

func (p *jsgfParser) keyword(k string) {
	p.space()
	if !p.take(k) {
		p.fail("%q is missing; add it after the header", k)
	}
}

// take consumes the keyword k when it comes next.
func (p *jsgfParser) take(k string) bool {
	end := p.pos + len(k)
	if end >= len(p.src) || string(p.src[p.pos:end]) != k || !unicode.IsSpace(p.src[end]) {
		return false
	}
	p.pos = end
	return true
}

func (p *jsgfParser) untilSemicolon() string {
	start := p.pos
	for p.peek() != ';' {
		if p.peek() == 0 {
			p.fail("a line is not closed; add ;")
		}
		p.advance()
	}
	s := strings.TrimSpace(string(p.src[start:p.pos]))
	p.pos++
	return s
}

func (p *jsgfParser) expect(r rune) {
	if p.peek() != r {
		p.fail("%q expected, found %q; check the rule before", string(r), string(p.peek()))
	}
	p.pos++
}

func (p *jsgfParser) peek() rune {
	if p.pos < len(p.src) {
		return p.src[p.pos]
	}
	return 0
}

func (p *jsgfParser) advance() {
	if p.src[p.pos] == '\n' {
		p.line++
	}
	p.pos++
}

// space skips blanks and comments.
func (p *jsgfParser) space() {
	for p.pos < len(p.src) {
		rest := p.src[p.pos:]
		switch {
		case unicode.IsSpace(rest[0]):
			p.advance()
		case len(rest) > 1 && rest[0] == '/' && rest[1] == '/':
			for p.pos < len(p.src) && p.src[p.pos] != '\n' {
				p.pos++
			}
		case len(rest) > 1 && rest[0] == '/' && rest[1] == '*':
			p.pos += 2
			for !(p.peek() == '*' && p.pos+1 < len(p.src) && p.src[p.pos+1] == '/') {
				if p.peek() == 0 {
					p.fail("a comment is not closed; add */")
				}
				p.advance()
			}
			p.pos += 2
		default:
			return
		}
	}
}

// check makes every reference a full name and refuses missing, private and
// recursive rules.
func (s *ruleSet) check() error {
	for name, x := range s.rules {
		grammar, _, _ := strings.Cut(name, ".")
		y, err := s.resolve(grammar, x)
		if err != nil {
			return err
		}
		s.rules[name] = y
	}
	state := map[string]int{} // 1: being visited, 2: done
	var visit func(name string) error
	var walk func(x expansion) error
	walk = func(x expansion) error {
		switch x := x.(type) {
		case ref:
			return visit(x.rule)
		case sequence:
			for _, y := range x {
				if err := walk(y); err != nil {
					return err
				}
			}
		case choice:
			for _, y := range x {
				if err := walk(y); err != nil {
					return err
				}
			}
		case optional:
			return walk(x.of)
		}
		return nil
	}
	visit = func(name string) error {
		switch state[name] {
		case 1:
			return fmt.Errorf("rule <%s> contains itself; a phrase must end, so write it without recursion", name)
		case 2:
			return nil
		}
		state[name] = 1
		err := walk(s.rules[name])
		state[name] = 2
		return err
	}
	for name := range s.rules {
		if err := visit(name); err != nil {
			return err
		}
	}
	return nil
}

func (s *ruleSet) resolve(grammar string, x expansion) (expansion, error) {
	switch x := x.(type) {
	case ref:
		if full := grammar + "." + x.rule; s.rules[full] != nil {
			return ref{full, x.at}, nil
		}
		found := ""
		for name := range s.rules {
			if _, local, _ := strings.Cut(name, "."); local == x.rule && s.public[name] {
				if found != "" {
					return nil, fmt.Errorf("%s: <%s> may be <%s> or <%s>; rename one", x.at, x.rule, found, name)
				}
				found = name
			}
		}
		if found == "" {
			return nil, fmt.Errorf("%s: no rule <%s>; define it or make it public where it is imported from", x.at, x.rule)
		}
		return ref{found, x.at}, nil
	case sequence:
		for i := range x {
			y, err := s.resolve(grammar, x[i])
			if err != nil {
				return nil, err
			}
			x[i] = y
		}
	case choice:
		for i := range x {
			y, err := s.resolve(grammar, x[i])
			if err != nil {
				return nil, err
			}
			x[i] = y
		}
	case optional:
		y, err := s.resolve(grammar, x.of)
		return optional{y}, err
	}
	return x, nil
}
