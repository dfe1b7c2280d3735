package sequence

import (
	"slices"

	"waycall/internal/board"
	"waycall/internal/record"
)

// Step is one thing to do and to answer before dead testing.
type Step struct {
	ID       string       // stored; also the phrase that answers it
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
}

// Steps returns the preparation steps of a board in their order. The step for
// surge protection is there when the board has any.
func Steps(job board.Job, number int) []Step {
	b := job.Board(number)
	return slices.DeleteFunc(slices.Clone(steps), func(s Step) bool {
		return s.ID == SurgeOut && (b == nil || !b.SurgeProtection)
	})
}

// Prepared reports whether every preparation step of a board is answered.
func Prepared(s record.State, board int) bool {
	_, due := nextStep(s, board)
	return !due
}

func nextStep(s record.State, board int) (Step, bool) {
	for _, step := range Steps(s.Job, board) {
		if _, done := s.Answered(board, step.ID); !done {
			return step, true
		}
	}
	return Step{}, false
}

// SurgeConnected reports whether a board has surge protection that was
// answered to stay in. Its ways are then tested at 250 V.
func SurgeConnected(s record.State, board int) bool {
	a, ok := s.Answered(board, SurgeOut)
	b := s.Job.Board(board)
	return b != nil && b.SurgeProtection && ok && a.How != record.Done
}
