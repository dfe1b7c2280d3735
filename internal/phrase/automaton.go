package phrase

import (
	"fmt"
	"maps"
	"slices"
	"sort"
	"strings"

	"waycall/internal/reading"
	"waycall/internal/waymark"
)

// MaxWay is the highest way when no board is known.
const MaxWay = 24

// Scope is what narrows the grammar: where we are and what can be there.
type Scope struct {
	// Ways lists the ways that exist and the tests that each can have. Nil
	// means no board is known: ways 1 to MaxWay, every test. Way 0 is the board
	// itself, to which a test named without a way may belong as well.
	Ways map[int][]reading.Test
	// Boards are the numbers of the boards that one can go to; nil when no
	// board is known.
	Boards []int
	// Names are the words by which a board can be named; nil when no board is known.
	Names []string
	// Here is the way in hand, to which a test named without a way belongs; 0
	// when there is none.
	Here int
	// Unit is the unit of the test that is due, the only one that a value on
	// its own may have; empty when any may.
	Unit reading.Unit
	// Due is the test that is due; empty when none is.
	Due reading.Test
}

// allows reports whether the way exists and can have the test. An empty test
// asks for the way alone, way 0 for the way in hand.
func (s Scope) allows(way int, test reading.Test) bool {
	if way == 0 {
		if slices.Contains(s.Ways[0], test) {
			return true
		}
		if way = s.Here; way == 0 {
			return true
		}
	}
	if s.Ways == nil {
		return way <= MaxWay // none of them divided
	}
	tests, ok := s.Ways[way]
	return ok && (test == "" || slices.Contains(tests, test))
}

// divides reports whether a place of the board has a way for each of its lines.
func (s Scope) divides(place int) bool {
	for line := 1; line <= waymark.Lines; line++ {
		if _, ok := s.Ways[waymark.Of(place, line)]; ok {
			return true
		}
	}
	return false
}

// Automaton accepts the phrases that may be said in one Scope. It is
// deterministic, minimal and without loops, and is not changed once made.
type Automaton struct {
	States []State // state 0 is the beginning
}

// State is a place in a phrase.
type State struct {
	Final bool  // a phrase may end here
	Arcs  []Arc // in the order of their words
}

// Arc leads on by one word.
type Arc struct {
	Word string // as in the lexicon
	To   int    // the state that it leads to
}

// partial is as much of a meaning as a Scope can judge, known half way through
// a phrase. Values are not part of it, or every number would be a state.
type partial struct {
	collecting bool // the number being said is a way or a board
	board      bool // and it is a board
	last       bool // and it is the last of several ways, which must lie beyond the first
	rest       bool // what follows is of a test already judged
	n          int
	way        int
	valued     bool         // the value was said already
	test       reading.Test // said after the value, when a way may follow
}

// do carries out the actions that matter and reports whether the phrase may go
// on in the scope.
func (p *partial) do(actions []action, s Scope) bool {
	for _, a := range actions {
		switch {
		case a.verb == doWay || a.verb == doBoard:
			p.collecting, p.board, p.n = true, a.verb == doBoard, 0
		case a.verb == doLast:
			p.collecting, p.last, p.n = true, true, 0
		case a.ends() && p.last:
			if p.n <= p.way || !s.allows(p.n, "") {
				return false
			}
			p.collecting, p.last, p.n = false, false, 0
		case a.verb == doThen:
			p.rest = true
		case p.rest:
			// a ring has all three ends
		case a.ends() && p.board:
			if s.Ways != nil && !slices.Contains(s.Boards, p.n) {
				return false
			}
			p.collecting, p.board, p.n = false, false, 0
		case a.verb == doAdd && p.collecting:
			p.n += a.n
		case a.verb == doOnLine && p.collecting:
			if !s.divides(p.n) {
				return false
			}
		case a.verb == doLine && p.collecting:
			p.n = waymark.Of(p.n, a.n)
		case a.ends() && p.collecting:
			p.collecting, p.way, p.n = false, p.n, 0
			if !s.allows(p.way, p.test) {
				return false
			}
			p.test = ""
		case a.ends() || a.verb == doOverRange:
			p.valued = true
		case a.verb == doTest && p.valued && p.way == 0:
			p.test = reading.Test(a.arg) // of the way that follows, or of the way in hand
		case a.verb == doTest:
			if !s.allows(p.way, reading.Test(a.arg)) {
				return false
			}
			p.way = 0 // judged: from here on all ways are alike
		case a.verb == doNamed && s.Ways != nil && !slices.Contains(s.Names, a.arg):
			return false
		case a.verb == doDue && s.Ways != nil && s.Due != reading.Test(a.arg):
			return false
		case a.verb == doJudged && s.Ways != nil && !s.Due.Judged():
			return false
		case (a.verb == doUnit || a.verb == doIn) && s.Unit != "" && reading.Unit(a.arg) != s.Unit:
			return false
		}
	}
	return true
}

// Narrow returns the automaton of the phrases that may be said in the scope.
func (g *Grammar) Narrow(s Scope) *Automaton {
	type node struct {
		pos int
		partial
	}
	index := map[node]int{}
	var nodes []node
	number := func(n node) int {
		i, ok := index[n]
		if !ok {
			i = len(nodes)
			index[n], nodes = i, append(nodes, n)
		}
		return i
	}
	number(node{})

	// Subset construction: a state is the set of nodes that the same words
	// lead to.
	type draft struct {
		final bool
		arcs  []Arc // sorted by word
	}
	var drafts []draft
	sets := map[string]int{}
	var todo [][]int
	add := func(set []int) int {
		slices.Sort(set)
		set = slices.Compact(set)
		key := fmt.Sprint(set)
		i, ok := sets[key]
		if !ok {
			i = len(drafts)
			sets[key], drafts, todo = i, append(drafts, draft{}), append(todo, set)
		}
		return i
	}
	add([]int{0})
	for i := 0; i < len(todo); i++ {
		reach := map[string][]int{}
		for _, k := range todo[i] {
			n := nodes[k]
			if end := g.ends[n.pos]; end.ok {
				if p := n.partial; p.do(end.actions, s) && (p.test == "" || s.allows(0, p.test)) {
					drafts[i].final = true
				}
			}
			for _, st := range g.next[n.pos] {
				if p := n.partial; p.do(st.actions, s) {
					w := g.words[st.to]
					reach[w] = append(reach[w], number(node{st.to, p}))
				}
			}
		}
		for _, w := range slices.Sorted(maps.Keys(reach)) { // sorted, so that numbering is the same each time
			drafts[i].arcs = append(drafts[i].arcs, Arc{w, add(reach[w])})
		}
	}

	// Minimise from the ends: without loops, two states are equal when they
	// end alike and their arcs lead to equal states. States that lead nowhere
	// are left out.
	const dead = -1
	a := &Automaton{}
	merged := map[int]int{}
	known := map[string]int{}
	var visit func(i int) int
	visit = func(i int) int {
		if m, ok := merged[i]; ok {
			return m
		}
		st := State{Final: drafts[i].final}
		for _, arc := range drafts[i].arcs {
			if m := visit(arc.To); m != dead {
				st.Arcs = append(st.Arcs, Arc{arc.Word, m})
			}
		}
		if !st.Final && len(st.Arcs) == 0 {
			merged[i] = dead
			return dead
		}
		key := fmt.Sprint(st)
		m, ok := known[key]
		if !ok {
			m = len(a.States)
			known[key], a.States = m, append(a.States, st)
		}
		merged[i] = m
		return m
	}
	if visit(0) == dead {
		return &Automaton{States: []State{{}}}
	}
	a.startFirst(merged[0])
	return a
}

// startFirst renumbers the states so that the beginning is state 0.
func (a *Automaton) startFirst(start int) {
	swap := func(i int) int {
		switch i {
		case start:
			return 0
		case 0:
			return start
		}
		return i
	}
	a.States[0], a.States[start] = a.States[start], a.States[0]
	for i := range a.States {
		for j := range a.States[i].Arcs {
			a.States[i].Arcs[j].To = swap(a.States[i].Arcs[j].To)
		}
	}
}

// Step returns the state that the word leads to, or false.
func (a *Automaton) Step(state int, word string) (int, bool) {
	arcs := a.States[state].Arcs
	i := sort.Search(len(arcs), func(i int) bool { return arcs[i].Word >= word })
	if i < len(arcs) && arcs[i].Word == word {
		return arcs[i].To, true
	}
	return 0, false
}

// Accepts reports whether the phrase may be said.
func (a *Automaton) Accepts(text string) bool {
	state, ok := a.after(text)
	return ok && a.States[state].Final
}

// Ends reports whether the phrase may be said and no longer one begins with it: "confirm"
// ends, "two hundred" may go on with "and six".
func (a *Automaton) Ends(text string) bool {
	state, ok := a.after(text)
	return ok && a.States[state].Final && len(a.States[state].Arcs) == 0
}

// after returns the state that the words lead to, or false.
func (a *Automaton) after(text string) (state int, ok bool) {
	for _, w := range strings.Fields(text) {
		if state, ok = a.Step(state, w); !ok {
			return 0, false
		}
	}
	return state, true
}
