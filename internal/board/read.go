package board

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"

	"waycall/internal/english"
	"waycall/internal/plainyaml"
	"waycall/internal/printable"
	"waycall/internal/waymark"
)

// MaxFileSize is the largest board file that Read accepts, in bytes. A board
// of 99 ways takes about 40 KiB.
const MaxFileSize = 1 << 20

// nesting bounds how deep a board file nests. The deepest thing in one, an RCD of
// a device of a way of a board, is at depth 8.
var nesting = plainyaml.Limits{Depth: 16, PerLine: 4, Column: 400}

// maxProblems is how many problems are listed before Read gives up.
const maxProblems = 20

// Problem is one thing that is wrong with a board file and where it stands.
type Problem struct {
	File   string
	Line   int // from 1; 0 when the file as a whole is meant
	Column int // from 1
	What   string
	Do     string // what to do about it
	// Path is the field, such as boards[0].ways[2].device.rating; of a file that describes
	// one board under board, board.ways[2].device.rating. "" when the file is not about fields.
	Path string
}

// Error returns "board file F, line 3, column 7: what; what to do".
func (p *Problem) Error() string {
	at := ""
	if p.Line > 0 {
		at = fmt.Sprintf(", line %d, column %d", p.Line, p.Column)
	}
	return fmt.Sprintf("board file %s%s: %s; %s", p.File, at, p.What, p.Do)
}

// Advice returns what to do about it.
func (p *Problem) Advice() string { return p.Do }

// Read reads the description of a job and its board from YAML. name is the
// file's name for messages.
//
// The fields are those of Job, by their yaml names. Everything is required but
// what a comment there calls unknown or what is only said when it is so (spare,
// two_way, keep_500_off, separated, rcd, neutral_bar, surge_protection, spurs,
// supplies, bonding, undocumented, main, supply of a board fed from the origin)
// and what Board and Way say Read fills in. A file with one board may give it
// under board, without a list.
//
// Anything that Job does not have, that cannot be so (an MCB of 31 A, two ways
// with one number, a board fed from itself, the 30th of February) or that is
// missing is an error which gives its line and column. All problems found are returned together, joined
// by errors.Join, each a *Problem.
//
// The scalars are taken from the syntax tree by Read itself and not by the
// YAML library's decoder, because that turns a serial number 0012 into 10 and
// a way 3.7 into 3 without a word. Anchors, aliases, tags and merge keys are
// refused: a board file needs none, and they are how small files become large.
func Read(r io.Reader, name string) (Job, error) {
	d, job, err := readFile(r, name)
	if err != nil {
		return Job{}, err
	}
	return d.finish(job)
}

// Examine is Read for a description that is still being written: it returns all that is
// wrong, where Read stops after a few. The job is that of Read, and zero when there is
// anything wrong.
func Examine(r io.Reader, name string) (Job, []*Problem, error) {
	d, job, err := readFile(r, name)
	var one *Problem
	switch {
	case errors.As(err, &one):
		return Job{}, []*Problem{one}, nil
	case err != nil:
		return Job{}, nil, err
	}
	d.all = true
	job, err = d.finish(job)
	if err == nil {
		return job, nil, nil
	}
	var all []*Problem
	for _, e := range d.problems {
		if errors.As(e, &one) {
			all = append(all, one)
		}
	}
	return Job{}, all, nil
}

// readFile reads a board file without judging what it says. What could not be
// read is among the decoder's problems.
func readFile(r io.Reader, name string) (*decoder, Job, error) {
	data, err := io.ReadAll(io.LimitReader(r, MaxFileSize+1))
	if err != nil {
		return nil, Job{}, fmt.Errorf("reading board file %s: %w; check the file and its disk", name, err)
	}
	d := &decoder{file: name, at: map[string]*token.Token{}, from: map[*token.Token]string{}}
	if p := d.text(data); p != nil {
		return nil, Job{}, p
	}
	root, err := d.parse(string(bytes.TrimPrefix(data, []byte("\ufeff"))))
	if err != nil {
		return nil, Job{}, err
	}
	var job Job
	d.value(root, reflect.ValueOf(&job).Elem(), "")
	return d, job, nil
}

// Complete holds a job that was not read from a board file, such as one from an
// export, to all that Read holds a file to, and returns it with what goes without
// saying filled in. name is for messages. A job that Read returned comes back as it
// is. All problems found are returned together, joined by errors.Join, each a
// *Problem.
func Complete(job Job, name string) (Job, error) { return complete(job, &decoder{file: name}) }

// CheckRecorded says what Read would not take in a job that is in a record, perhaps of
// an earlier waycall or from another computer, or nil. name is for messages.
func CheckRecorded(job Job, name string) error {
	_, err := complete(job, &decoder{file: name, recorded: true})
	return err
}

func complete(job Job, d *decoder) (Job, error) {
	job.Boards = slices.Clone(job.Boards) // what is filled in is not filled in there
	for i := range job.Boards {
		job.Boards[i].Ways = slices.Clone(job.Boards[i].Ways)
	}
	d.at, d.from = map[string]*token.Token{}, map[*token.Token]string{}
	return d.finish(job)
}

// finish fills in what goes without saying and judges the whole.
func (d *decoder) finish(job Job) (Job, error) {
	if len(d.problems) == 0 {
		d.defaults(&job)
		d.validate(&job)
	}
	if len(d.problems) > 0 {
		return Job{}, errors.Join(d.problems...)
	}
	return job, nil
}

type decoder struct {
	file     string
	at       map[string]*token.Token // path such as board.ways[2].device -> where its value stands
	from     map[*token.Token]string // the file of a place, where that is not file
	problems []error
	recorded bool // what is judged was taken by an earlier waycall
	all      bool // every problem is listed
}

func (d *decoder) problem(tk *token.Token, what, do string) *Problem {
	p := &Problem{File: d.file, What: what, Do: do}
	if other, ok := d.from[tk]; ok {
		p.File = other
	}
	if tk != nil && tk.Position != nil {
		p.Line, p.Column = max(1, tk.Position.Line), max(1, tk.Position.Column)
	}
	return p
}

func (d *decoder) add(tk *token.Token, what, do string) { d.addAt("", tk, what, do) }

// addAt is add for what is wrong with the field at path.
func (d *decoder) addAt(path string, tk *token.Token, what, do string) {
	if len(d.problems) < maxProblems || d.all {
		p := d.problem(tk, what, do)
		p.Path = path
		d.problems = append(d.problems, p)
	}
}

// text refuses what is not a text file of a sane size.
func (d *decoder) text(data []byte) error {
	switch {
	case len(data) > MaxFileSize:
		return d.problem(nil, "the file is larger than 1 MiB", "check that it is the right file")
	case !utf8.Valid(data):
		return d.problem(nil, "the file is not UTF-8 text", "check that it is the right file, or save it as UTF-8")
	case len(bytes.TrimSpace(data)) == 0:
		return d.problem(nil, "the file is empty", "start from testdata/boards/terrace.yaml")
	}
	if c, line, column := printable.FirstHidden(string(data)); line > 0 {
		return &Problem{File: d.file, Line: line, Column: column, What: fmt.Sprintf("hidden character %U", c), Do: "remove it"}
	}
	return nil
}

// parse returns the one document of a board file.
func (d *decoder) parse(text string) (ast.Node, error) {
	root, e := plainyaml.Parse(text, nesting)
	if e == nil {
		return root, nil
	}
	const compare = "compare it with testdata/boards/terrace.yaml"
	switch e.Fault {
	case plainyaml.Unused:
		return nil, d.problem(e.Token, fmt.Sprintf("%q is YAML that a board file does not use", e.Token.Value), "write the value out, in quotes if it begins with that character")
	case plainyaml.TooDeep:
		return nil, d.problem(e.Token, "the file nests too deep or a line is too long", compare)
	case plainyaml.Syntax:
		if e.Token == nil {
			return nil, d.problem(nil, e.What, "correct the YAML")
		}
		return nil, d.problem(e.Token, e.What, "correct the YAML there or on the line before")
	case plainyaml.Comments:
		return nil, d.problem(nil, "the file holds only comments", "start from testdata/boards/terrace.yaml")
	case plainyaml.Second:
		return nil, d.problem(e.Token, "a second document begins", "keep one job in one file")
	}
	return nil, d.problem(nil, fmt.Sprintf("the file cannot be read as YAML (%s)", e.What), compare)
}

// value puts node into v, which stands at path.
func (d *decoder) value(node ast.Node, v reflect.Value, path string) {
	if node == nil {
		return
	}
	tk := node.GetToken()
	if _, ok := d.at[path]; !ok {
		d.at[path] = tk
	}
	if _, null := node.(*ast.NullNode); null {
		return // as if the key were not there
	}
	switch v.Kind() {
	case reflect.Pointer:
		p := reflect.New(v.Type().Elem())
		d.value(node, p.Elem(), path)
		v.Set(p)
	case reflect.Struct:
		d.mapping(node, v, path)
	case reflect.Slice:
		seq, ok := node.(*ast.SequenceNode)
		if !ok {
			d.add(tk, fmt.Sprintf("%s is not a list", label(path)), "write one entry a line, each beginning with a dash")
			return
		}
		if len(seq.Values) == 0 {
			return // as the log gives it back, too
		}
		s := reflect.MakeSlice(v.Type(), len(seq.Values), len(seq.Values))
		for i, n := range seq.Values {
			d.value(n, s.Index(i), fmt.Sprintf("%s[%d]", path, i))
		}
		v.Set(s)
	default:
		d.scalar(node, v, path)
	}
}

// oneBoard is the key under which a file with a single board may describe it.
const oneBoard = "board"

// boardPath is where board i stands in the file.
func (d *decoder) boardPath(i int) string {
	if d.at[oneBoard] != nil {
		return oneBoard
	}
	return fmt.Sprintf("boards[%d]", i)
}

// defaults fills in what goes without saying, as Board and Way document it.
func (d *decoder) defaults(job *Job) {
	orDefault(&job.Edition, Current, d.at["edition"])
	for i := range job.Boards {
		b := &job.Boards[i]
		if b.Number == 0 && d.at[d.boardPath(i)+".number"] == nil {
			b.Number = i + 1
		}
		orDefault(&b.Phases, 1, d.at[d.boardPath(i)+".phases"])
		for k := range b.Ways {
			w, path := &b.Ways[k], fmt.Sprintf("%s.ways[%d]", d.boardPath(i), k)
			if w.Spare {
				continue
			}
			orDefault(&w.Phase, waymark.Phase(w.Number), d.at[path+".phase"])
			orDefault(&w.Phases, 1, d.at[path+".phases"])
			orDefault(&w.Material, Copper, d.at[path+".material"])
			if from := w.Kind.FeedsBack(); from != "" {
				orDefault(&w.FeedsBack, from, d.at[path+".feeds_back"])
			}
			if w.Supplies != 0 {
				orDefault(&w.Use, Distribution, d.at[path+".use"])
			}
			orDefault(&w.CPCKind, Conductor, d.at[path+".cpc_kind"])
		}
	}
}

// orDefault sets *v where the file says nothing about it.
func orDefault[T comparable](v *T, to T, stands *token.Token) {
	var zero T
	if *v == zero && stands == nil {
		*v = to
	}
}

func (d *decoder) mapping(node ast.Node, v reflect.Value, path string) {
	var pairs []*ast.MappingValueNode
	switch n := node.(type) {
	case *ast.MappingNode:
		pairs = n.Values
	case *ast.MappingValueNode:
		pairs = []*ast.MappingValueNode{n}
	default:
		d.add(node.GetToken(), fmt.Sprintf("%s is not a group of keys", label(path)), "write keys such as name: value under it, indented")
		return
	}
	if len(pairs) > 0 {
		d.at[path] = pairs[0].Key.GetToken()
	}
	seen := map[string]bool{}
	for _, pair := range pairs {
		tk := pair.Key.GetToken()
		key := tk.Value
		field, known := fieldOf(v, key)
		if path == "" && key == oneBoard && !known {
			// A file with one board need not make a list of it.
			if d.at["boards"] != nil {
				d.add(tk, "the file has both board and boards", "put every board into the list boards")
				continue
			}
			if !seen[key] {
				seen[key] = true
				one := reflect.MakeSlice(v.FieldByName("Boards").Type(), 1, 1)
				v.FieldByName("Boards").Set(one)
				d.value(pair.Value, one.Index(0), key)
				continue
			}
			known = true
		}
		if path == "" && key == "boards" && d.at[oneBoard] != nil {
			d.add(tk, "the file has both board and boards", "put every board into the list boards")
			continue
		}
		switch {
		case !known:
			d.add(tk, fmt.Sprintf("unknown key %q in %s", printable.Cut(key, 40), label(path)), "use "+suggest(v, key))
		case seen[key]:
			d.add(tk, fmt.Sprintf("key %q is given twice in %s", key, label(path)), "remove one")
		default:
			seen[key] = true
			d.value(pair.Value, field, join(path, key))
		}
	}
}

func (d *decoder) scalar(node ast.Node, v reflect.Value, path string) {
	tk := node.GetToken()
	text, ok := scalarText(node)
	if !ok {
		d.add(tk, fmt.Sprintf("%s is not a single value", label(path)), "write the value after the colon on the same line")
		return
	}
	d.set(tk, text, v, path)
}

// set puts a value as it is written at tk into v.
func (d *decoder) set(tk *token.Token, text string, v reflect.Value, path string) {
	switch v.Kind() {
	case reflect.String:
		v.SetString(text)
	case reflect.Bool:
		switch strings.ToLower(text) {
		case "true", "yes":
			v.SetBool(true)
		case "false", "no":
		default:
			d.addAt(path, tk, fmt.Sprintf("%s is %q", label(path), printable.Cut(text, 40)), "write true or false")
		}
	case reflect.Int:
		if isWay(path[strings.LastIndexByte(path, '.')+1:]) {
			d.marked(tk, text, v, path)
			return
		}
		n, err := strconv.Atoi(text)
		if err != nil || strings.Trim(text, "0123456789") != "" {
			d.addAt(path, tk, fmt.Sprintf("%s is %q, not a whole number", label(path), printable.Cut(text, 40)), "write figures only, such as 3")
			return
		}
		v.SetInt(int64(n))
	case reflect.Float64:
		n, err := strconv.ParseFloat(text, 64)
		if err != nil || strings.Trim(strings.TrimPrefix(text, "-"), "0123456789.") != "" {
			d.addAt(path, tk, fmt.Sprintf("%s is %q, not a number", label(path), printable.Cut(text, 40)), "write figures without a unit, such as 2.5")
			return
		}
		v.SetFloat(n)
	}
}

// isWay reports whether a key holds a way as it is marked.
func isWay(key string) bool { return key == "way" || key == "from_way" }

// marked sets v to a way as it is marked on the board.
func (d *decoder) marked(tk *token.Token, text string, v reflect.Value, path string) {
	n, err := waymark.Parse(text)
	if none := strings.HasSuffix(path, ".from_way") && text == "0"; err != nil && !none {
		d.addAt(path, tk, fmt.Sprintf("%s is %q, which is no way of a board", label(path), printable.Cut(text, 40)), "write it as marked: 1 to 99, or with its line, such as 1L2")
		return
	}
	v.SetInt(int64(n))
}

// scalarText returns a scalar as it stands in the file.
func scalarText(node ast.Node) (string, bool) {
	switch n := node.(type) {
	case *ast.StringNode:
		return n.Value, true
	case *ast.LiteralNode:
		return "", false // text over several lines; every value here is one line
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		return n.GetToken().Value, true
	}
	return "", false
}

func fieldOf(v reflect.Value, key string) (reflect.Value, bool) {
	for i := range v.NumField() {
		if v.Type().Field(i).Tag.Get("yaml") == key {
			return v.Field(i), true
		}
	}
	return reflect.Value{}, false
}

// suggest names the key that was probably meant, or all of them.
func suggest(v reflect.Value, key string) string {
	var keys []string
	for i := range v.NumField() {
		keys = append(keys, v.Type().Field(i).Tag.Get("yaml"))
	}
	return nearest(keys, key)
}

func nearest(keys []string, key string) string {
	best, least := "", 3
	for _, k := range keys {
		if max(len(k)-len(key), len(key)-len(k)) >= least {
			continue // whatever it holds; a file may hold a key of any length
		}
		if n := english.Distance(k, key); n < least {
			best, least = k, n
		}
	}
	if best != "" {
		return strconv.Quote(best)
	}
	return "one of " + strings.Join(keys, ", ")
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

func label(path string) string {
	if path == "" {
		return "the file"
	}
	return path
}

// where returns where path stands, or where its nearest parent does.
func (d *decoder) where(path string) *token.Token {
	for {
		if tk := d.at[path]; tk != nil {
			return tk
		}
		i := strings.LastIndexAny(path, ".[")
		if i < 0 {
			return d.at[""]
		}
		path = path[:i]
	}
}

func oneOf[T ~string](x T, all ...T) bool { return slices.Contains(all, x) }
