package sequence

import (
	"slices"

	"waycall/internal/board"
	"waycall/internal/record"
)

// Step is one thing to do and to answer before the dead tests of a board, or
// before its live ones.
type Step struct {
	ID       string       // stored; also the phrase that answers it
	Live     bool         // it comes before the live tests
	Question string       // in full, with what to say
	Brief    string       // when it is asked again
	Caution  string       // said once before the question; may be empty
	Else     []record.How // answers other than done that it may have, each with a reason
	Source   string
}

// May reports whether the step may be answered by how.
func (s Step) May(how record.How) bool { return how == record.Done || slices.Contains(s.Else, how) }

// The preparation steps. The strings are stored, so they never change.
const (
	Isolated     = "isolated and locked off"
	ProvedDead   = "proved dead"
	SurgeOut     = "surge protection out"
	LampsOut     = "lamps removed"
	LoadsOut     = "loads disconnected"
	SwitchesOn   = "switches on"
	LeadsChecked = "leads checked"

	// Before live tests, each answered by itself.
	DeadComplete = "dead tests complete"
	ReadyForLive = "ready for live tests"
)

var otherwise = []record.How{record.NotApplicable, record.Limitation}

var steps = []Step{
	{
		ID:       Isolated,
		Caution:  "Waycall keeps a record. It proves nothing. Isolate and prove dead by your own procedure.",
		Question: "Is the board isolated and locked off? Answer, isolated and locked off.",
		Brief:    "Isolated and locked off?",
		Source:   "HSE HSG85 Electricity at work, safe working practices, from memory",
	},
	{
		ID:       ProvedDead,
		Question: "Indicator proved, board tested, indicator proved again? Answer, proved dead.",
		Brief:    "Proved dead?",
		Source:   "HSE HSG85 and GS38, from memory",
	},
	{
		ID:       SurgeOut,
		Question: "Is the surge protection out? Answer, surge protection out. If it must stay, say limitation, and the tests are at 250 volts.",
		Brief:    "Surge protection out?",
		Else:     otherwise,
		Source:   "BS 7671:2018+A2:2022 regulation 643.3.2, from memory",
	},
	{
		ID:       LampsOut,
		Question: "Are the lamps out? Answer, lamps removed.",
		Brief:    "Lamps removed?",
		Else:     otherwise,
		Source:   "IET Guidance Note 3, insulation resistance, from memory",
	},
	{
		ID:       LoadsOut,
		Question: "Are loads and electronics disconnected or bypassed? Answer, loads disconnected.",
		Brief:    "Loads disconnected?",
		Else:     otherwise,
		Source:   "BS 7671:2018+A2:2022 regulation 643.3.2 and IET Guidance Note 3, from memory",
	},
	{
		ID:       SwitchesOn,
		Question: "Are all switches and accessories on, and fuses and breakers in? Answer, switches on.",
		Brief:    "Switches on?",
		Else:     otherwise,
		Source:   "IET Guidance Note 3, insulation resistance, from memory",
	},
	{
		ID:       LeadsChecked,
		Question: "Are the leads checked: near nought when joined, over range when apart? Answer, leads checked.",
		Brief:    "Leads checked?",
		Source:   "IET Guidance Note 3 and HSE GS38, from memory",
	},
	{
		ID:       DeadComplete,
		Live:     true,
		Caution:  "Before the supply is put on. Waycall keeps a record and decides nothing: that is for the competent person, by local rules.",
		Question: "Are the dead tests of this board complete? Answer, dead tests complete.",
		Brief:    "Dead tests complete?",
		Source:   deadFirst,
	},
	{
		ID:       ReadyForLive,
		Live:     true,
		Caution:  "Live tests are for a competent person, under local rules, with leads and barriers that suit them.",
		Question: "Is everything connected and covered again, everybody told, and the supply put on by your own procedure? Answer, ready for live tests.",
		Brief:    "Ready for live tests?",
		Source:   deadWork + "; HSE HSG85 and GS38, from memory",
	},
}

// Steps returns the steps of a board in their order: those before dead tests,
// then those before live ones, as far as the job has such tests. The step for
// surge protection is there when the board has any and its insulation is
// tested. A board that is only isolated has its isolation alone.
func Steps(job board.Job, number int) []Step {
	b := job.Board(number)
	if b == nil {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(steps), func(s Step) bool { return !asks(&job, b, s) })
}

func asks(job *board.Job, b *board.Board, s Step) bool {
	switch s.ID {
	case Isolated:
		return hasDead(*job)
	case ProvedDead, LeadsChecked:
		return hasDead(*job) && !b.Supply.OnlyIsolated
	case SurgeOut:
		return job.Asks(board.Insulation) && !b.Supply.OnlyIsolated && b.SurgeProtection
	case LampsOut, LoadsOut, SwitchesOn:
		return job.Asks(board.Insulation) && !b.Supply.OnlyIsolated
	}
	return job.Asks(board.Live) && !b.Supply.OnlyIsolated
}

// Prepared reports whether every step before the dead tests of a board is
// answered.
func Prepared(s record.State, board int) bool { return answered(s, board, false) }

// Ready reports whether every step before the live tests of a board, and of
// those that feed it, is answered, and none of those before dead tests was
// answered after it.
func Ready(s record.State, board int) bool { return answered(s, board, true) }

func answered(s record.State, number int, live bool) bool {
	p := newSite(s)
	b := p.at[number]
	if b == nil {
		return true
	}
	if live {
		return len(p.liveSteps(b)) == 0
	}
	return len(p.unanswered(b)) == 0
}

// unanswered returns the steps before dead tests that a board has no answer
// for, however long ago.
func (p *site) unanswered(b *panel) []*Step {
	return p.steps(b, false, 0)
}

// deadSteps returns the steps that are due before the dead tests of a board.
// When the supply was put on for live tests since they were answered and there
// are dead tests again, all are due again. First comes the isolation of what
// feeds the board and is only isolated.
func (p *site) deadSteps(b *panel) (due []boardStep) {
	var since int64
	if b.deadOpen {
		since = b.answers[ReadyForLive].EventID
	}
	for at := b; at != nil; at = at.up {
		if at == b || at.Supply.OnlyIsolated {
			var own []boardStep
			for _, step := range p.steps(at, false, since) {
				own = append(own, boardStep{at.Number, step})
			}
			due = append(own, due...)
		}
	}
	return due
}

// liveSteps returns the steps that are due before the live tests of a board:
// those of the boards that feed it first, as far as these are tested, because
// its supply comes through them, then its own. They are due again once the board
// was isolated anew.
func (p *site) liveSteps(b *panel) (due []boardStep) {
	for at := b; at != nil && !at.Supply.OnlyIsolated; at = at.up {
		since := at.answers[Isolated].EventID
		if at.deadOpen && at.answers[ReadyForLive].EventID > since {
			since = at.answers[ReadyForLive].EventID
		}
		var own []boardStep
		for _, step := range p.steps(at, true, since) {
			own = append(own, boardStep{at.Number, step})
		}
		due = append(own, due...)
	}
	return due
}

// boardStep is a step of a board.
type boardStep struct {
	board int
	step  *Step
}

// steps returns the steps of one stage that a board has no answer for since an
// event.
func (p *site) steps(b *panel, live bool, since int64) (due []*Step) {
	for i := range steps {
		step := &steps[i]
		if step.Live != live || !asks(&p.s.Job, b.Board, *step) {
			continue
		}
		if a, ok := b.answers[step.ID]; !ok || a.EventID <= since {
			due = append(due, step)
		}
	}
	return due
}

// SurgeConnected reports whether a board has surge protection that was
// answered to stay in. Its ways are then tested at 250 V.
func SurgeConnected(s record.State, board int) bool {
	a, ok := s.Answered(board, SurgeOut)
	b := s.Job.Board(board)
	return b != nil && b.SurgeProtection && ok && a.How != record.Done
}
