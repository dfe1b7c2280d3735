// Package rooms draws how the packages of waycall import each other, from the code, into
// docs/rooms.md. `go run ./cmd/lab rooms` draws anew after an import was added or taken
// away. The tests fail until then, and when an import goes against the order of the table
// of rooms in DEVELOPERS.md, or from the product into the laboratory.
package rooms

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"

	"github.com/google/renameio/v2"
)

// Where the table of rooms stands, and where the drawing goes, from the root.
const (
	tablePage   = "DEVELOPERS.md"
	drawingPage = "docs/rooms.md"
)

// Draw draws anew in docs/rooms.md of the repository that is the current folder.
func Draw() error {
	table, err := os.ReadFile(tablePage)
	if err != nil {
		return fmt.Errorf("%w; run it in the repository's root", err)
	}
	text, err := os.ReadFile(drawingPage)
	if err != nil {
		return err
	}
	all, err := load(".")
	if err != nil {
		return err
	}
	drawn, err := replace(string(text), draw(all, rooms(string(table))))
	if err != nil {
		return err
	}
	return renameio.WriteFile(drawingPage, []byte(drawn), 0o644)
}

const (
	ours  = "waycall/internal/"
	begin = "<!-- rooms:begin, by go run ./cmd/lab rooms -->\n"
	end   = "<!-- rooms:end -->"
)

// replace puts the drawing between its marks.
func replace(page, drawing string) (string, error) {
	before, rest, ok := strings.Cut(page, begin)
	_, after, closed := strings.Cut(rest, end)
	if !ok || !closed {
		return "", fmt.Errorf("the page has no place for the drawing; write %s%s where it belongs", begin, end)
	}
	return before + begin + drawing + end + after, nil
}

// pkg is a package as go list describes it.
type pkg struct {
	ImportPath string
	Standard   bool
	CgoFiles   []string
	Imports    []string
	Deps       []string
}

// name is how a package of ours is called in the table.
func (p *pkg) name() string { return strings.TrimPrefix(p.ImportPath, ours) }

// uses returns the packages of ours that p imports, by name.
func (p *pkg) uses() []string {
	var all []string
	for _, i := range p.Imports {
		if n, ok := strings.CutPrefix(i, ours); ok {
			all = append(all, n)
		}
	}
	return all
}

// load returns every package of the module in dir with all that it needs, by path.
func load(dir string) (map[string]*pkg, error) {
	cmd := exec.Command("go", "list", "-deps", "-json=ImportPath,Standard,CgoFiles,Imports,Deps", "./...")
	cmd.Dir = dir
	var said bytes.Buffer
	cmd.Stderr = &said
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("go list: %w: %s", err, said.String())
	}
	all := map[string]*pkg{}
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		p := &pkg{}
		if err := d.Decode(p); errors.Is(err, io.EOF) {
			return all, nil
		} else if err != nil {
			return nil, fmt.Errorf("go list: %w", err)
		}
		all[p.ImportPath] = p
	}
}

// room is a row of the table of rooms.
type room struct {
	name   string
	domain bool // it stands above the line that ends the domain, or is that line
}

// lastOfDomain is the room down to which the table is the domain: packages that know
// the trade and no engine.
const lastOfDomain = "talk"

// rooms reads the table under "The rooms".
func rooms(page string) []room {
	_, after, _ := strings.Cut(page, "\n## The rooms\n")
	section, _, _ := strings.Cut(after, "\n## ")
	var all []room
	domain := true
	for line := range strings.Lines(section) {
		cell, ok := strings.CutPrefix(line, "| `")
		name, _, closed := strings.Cut(cell, "` |")
		if !ok || !closed || strings.HasSuffix(name, "/") {
			continue
		}
		all = append(all, room{name, domain})
		domain = domain && name != lastOfDomain
	}
	return all
}

// inLab reports whether a package, by name, is of the laboratory, which measures the
// product and of which the product knows nothing.
func inLab(name string) bool { return strings.HasPrefix(name, "lab/") }

// in returns the row of the table that a package belongs to: its own, or that of the
// package that it lies in; -1 for none.
func in(table []room, name string) int {
	best := -1
	for i, r := range table {
		if (name == r.name || strings.HasPrefix(name, r.name+"/")) && (best < 0 || len(r.name) > len(table[best].name)) {
			best = i
		}
	}
	return best
}

// engine reports whether a package imports C itself, or a library that does.
func engine(all map[string]*pkg, p *pkg) bool {
	if len(p.CgoFiles) > 0 {
		return true
	}
	for _, i := range p.Imports {
		if d := all[i]; d != nil && !d.Standard && !strings.HasPrefix(i, "waycall/") && needsC(all, d) {
			return true
		}
	}
	return false
}

// needsC reports whether a package cannot be built without C.
func needsC(all map[string]*pkg, p *pkg) bool {
	if len(p.CgoFiles) > 0 {
		return true
	}
	return slices.ContainsFunc(p.Deps, func(d string) bool { return all[d] != nil && !all[d].Standard && len(all[d].CgoFiles) > 0 })
}

// draw returns the drawing: an arrow for each import that is not implied by others.
func draw(all map[string]*pkg, table []room) string {
	group := map[string][]string{}
	var names []string
	for path, p := range all {
		n := p.name()
		if !strings.HasPrefix(path, ours) {
			continue
		}
		names = append(names, n)
		i := in(table, n)
		switch {
		case inLab(n):
			group["lab"] = append(group["lab"], n)
		case engine(all, p):
			group["engines"] = append(group["engines"], n)
		case i >= 0 && table[i].domain:
			group["domain"] = append(group["domain"], n)
		default:
			group["around"] = append(group["around"], n)
		}
	}
	slices.Sort(names)
	var b strings.Builder
	b.WriteString("```mermaid\nflowchart BT\n")
	for _, g := range []string{"domain", "around", "engines", "lab"} {
		slices.Sort(group[g])
		fmt.Fprintf(&b, "  subgraph %s\n", g)
		for _, n := range group[g] {
			fmt.Fprintf(&b, "    %s[%s]\n", id(n), n)
		}
		b.WriteString("  end\n")
	}
	for _, n := range names {
		p := all[ours+n]
		var to []string
		for _, u := range p.uses() {
			implied := slices.ContainsFunc(p.uses(), func(other string) bool {
				return other != u && slices.Contains(all[ours+other].Deps, ours+u)
			})
			if !implied {
				to = append(to, id(u))
			}
		}
		slices.Sort(to)
		if len(to) > 0 {
			fmt.Fprintf(&b, "  %s --> %s\n", id(n), strings.Join(to, " & "))
		}
	}
	b.WriteString("```\n")
	return b.String()
}

// id is a name as the drawing's language takes it.
func id(name string) string { return strings.ReplaceAll(name, "/", "_") }
