package sequence

import (
	"slices"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
)

// Step is one thing to do and to answer before the dead tests of a board, or
// before its live ones.
type Step struct {
	ID       string       // stored; also the phrase that answers it
	Live     bool         // it comes before the live tests
	Question string       // in full, with what to say
	ByWay    string       // the question where the ways are read one by one; empty where it is the same
	On       string       // the question where the installation stays on; empty where it is the same
	Brief    string       // when it is asked again
	Caution  string       // said once before the question; may be empty
	Else     []record.How // answers other than done that it may have, each with a reason
	Unit     reading.Unit // of the figure that it is answered with; empty when it has none
	Source   string
	Off      string // what its answer takes off, see EarthingConductor and its like
	Back     string // what its answer says is back; it is due whenever that is off
	Alone    bool   // it comes before single tests alone: those without the earthing conductor
}

// Judge gives the verdict on the figure of a step that has one, in its Unit.
func (s Step) Judge(q reading.Quantity) check.Verdict {
	if s.ID == LeadsApart {
		return check.LeadsApart(q)
	}
	return check.LeadsJoined(q)
}

// May reports whether the step may be answered by how.
func (s Step) May(how record.How) bool { return how == record.Done || slices.Contains(s.Else, how) }

// The preparation steps. The strings are stored, so they never change.
const (
	Isolated       = "isolated and locked off"
	NoticesUp      = "notices up"
	IndicatorOK    = "indicator proved"
	TestedDead     = "tested dead"
	ProvedDead     = "proved dead" // the indicator proved again
	SurgeOut       = "surge protection out"
	LampsOut       = "lamps removed"
	LoadsOut       = "loads disconnected"
	ElectronicsOut = "electronics out"
	SwitchesOn     = "switches on"
	LinksAsFound   = "links as found"
	LeadsJoined    = "leads joined"
	LeadsApart     = "leads apart"

	// Before live tests, each answered by itself.
	DeadComplete = "dead tests complete"
	ReadyForLive = "ready for live tests"

	// Before what is measured without the earthing conductor.
	MainLocked = "main switch locked off"
	EarthOff   = "earthing conductor off"

	// What was taken off is back as it was. None of them can be left out.
	ConnectedAgain = "all connected again"
	SurgeBack      = "surge protection back"
	NeutralBack    = "neutral back"
	EarthBack      = "earthing conductor back"
	MainOn         = "main switch back on"
)

// EnergisedAgain is no step: answered "done", it says that the supply was put on
// while dead tests were made, so that proving dead and what follows it is due
// again.
const EnergisedAgain = "energised again"

// leadsChecked is the step that had no figures, in logs of early versions.
const leadsChecked = "leads checked"

// covers are the steps whose answer answers another that has none: in logs of early
// versions proving dead was one answer, and so was the check of the leads.
var covers = map[string]string{IndicatorOK: ProvedDead, TestedDead: ProvedDead, LeadsJoined: leadsChecked, LeadsApart: leadsChecked, WholeFirst: WayByWay}

var otherwise = []record.How{record.NotApplicable, record.Limitation}

var steps = []Step{
	{
		ID:       Isolated,
		Caution:  "Waycall keeps a record. It proves nothing. Isolate and prove dead by your own procedure.",
		Question: "Is the board isolated and locked off? Say, isolated and locked off.",
		Brief:    "Isolated and locked off?",
		Source:   "HSE HSG85 Electricity at work, safe working practices, from memory",
	},
	{
		ID:       NoticesUp,
		Question: "Are the notices up? Say, notices up.",
		Brief:    "Notices up?",
		Else:     otherwise,
		Source:   "HSE HSG85, from memory",
	},
	{
		ID:       IndicatorOK,
		Question: "Is the voltage indicator proved on a known source? Say, indicator proved.",
		Brief:    "Indicator proved?",
		Source:   "HSE GS38, from memory",
	},
	{
		ID:       TestedDead,
		Caution:  "The incoming side of the main switch stays live, unless it is isolated further up.",
		Question: "Are all conductors tested dead, to each other and to earth? Say, tested dead.",
		Brief:    "Tested dead?",
		Source:   "HSE GS38 and HSG85, from memory",
	},
	{
		ID:       ProvedDead,
		Question: "Is the indicator proved again? Say, proved dead.",
		Brief:    "Proved dead?",
		Source:   "HSE GS38 and HSG85, from memory",
	},
	{
		ID:       SurgeOut,
		Question: "Is the surge protection out? Say, surge protection out. If it stays in, say, two fifty volts.",
		Brief:    "Surge protection out, or two fifty volts?",
		Else:     otherwise,
		Off:      SurgeProtection,
		Source:   "BS 7671 regulation 643.3.2, from memory",
	},
	{
		ID:       LampsOut,
		Question: "Are the lamps out? Say, lamps removed.",
		Brief:    "Lamps removed?",
		Else:     otherwise,
		Source:   "IET Guidance Note 3, insulation resistance, from memory",
	},
	{
		ID:       LoadsOut,
		Question: "Are the loads disconnected? Say, loads disconnected.",
		Brief:    "Loads disconnected?",
		Else:     otherwise,
		Source:   "IET Guidance Note 3, insulation resistance, from memory",
	},
	{
		ID:       ElectronicsOut,
		Question: "Are electronics out or bypassed, those of residual current devices too? Say, electronics out.",
		Brief:    "Electronics out?",
		Else:     otherwise,
		Source:   "BS 7671 regulation 643.3.2, from memory",
	},
	{
		ID:       WholeFirst,
		Question: "Is the insulation read of the whole board first, or way by way? Say, whole board first, or way by way.",
		Brief:    "Whole board first, or way by way?",
		Source:   insulation,
	},
	{
		ID:       SwitchesOn,
		Question: "Are all switches on, and fuses and breakers in? Say, switches on.",
		ByWay:    "Are all switches on, and fuses and breakers in until their way's turn? Say, switches on.",
		Brief:    "Switches on?",
		Else:     otherwise,
		Source:   "IET Guidance Note 3, insulation resistance, from memory",
	},
	{
		ID:       LinksAsFound,
		Question: "Are links and neutral bars as found? Say, links as found.",
		ByWay:    "Are links and neutral bars as found, until each way's turn? Say, links as found.",
		Brief:    "Links as found?",
		Else:     otherwise,
		Source:   practice,
	},
	{
		ID:       LeadsJoined,
		Question: "What do the leads read joined? Say, leads joined, and the ohms.",
		Brief:    "Leads joined?",
		Else:     otherwise[1:],
		Unit:     reading.Ohm,
		Source:   "IET Guidance Note 3 and HSE GS38, from memory; the figures are " + practice,
	},
	{
		ID:       LeadsApart,
		Question: "And apart? Say, leads apart, and the megohms, or over range.",
		Brief:    "Leads apart?",
		Else:     otherwise[1:],
		Unit:     reading.Megohm,
		Source:   "IET Guidance Note 3 and HSE GS38, from memory; the figures are " + practice,
	},
	{
		ID:       ConnectedAgain,
		Live:     true,
		Back:     Conductors,
		Question: "Are the test links out, and the ends of rings back in their terminals and tight? Say, all connected again.",
		Brief:    "All connected again?",
		Source:   practice,
	},
	{
		ID:       NeutralBack,
		Live:     true,
		Back:     Neutrals,
		Question: "Is every neutral back in its own bar, and tight? Say, neutral back.",
		Brief:    "Neutral back?",
		Source:   practice,
	},
	{
		ID:       SurgeBack,
		Live:     true,
		Back:     SurgeProtection,
		Question: "Is the surge protection back in? Say, surge protection back.",
		Brief:    "Surge protection back?",
		Source:   practice,
	},
	{
		ID:       DeadComplete,
		Live:     true,
		Caution:  "Before the supply is put on. Waycall decides nothing: that is for the competent person, by local rules.",
		Question: "Are the dead tests of this board complete? Say, dead tests complete.",
		Brief:    "Dead tests complete?",
		Source:   deadFirst,
	},
	{
		ID:       ReadyForLive,
		Live:     true,
		Caution:  "Live tests are for a competent person, under local rules, with suitable leads and barriers.",
		Question: "Is everything connected and covered again, everybody told, and the supply put on by your own procedure? Say, ready for live tests.",
		On:       "The installation stays on. Is everybody told, and is nothing open but what you test, and covered again after? Say, ready for live tests.",
		Brief:    "Ready for live tests?",
		Source:   deadWork + "; HSE HSG85 and GS38, from memory",
	},
	{
		ID:       MainLocked,
		Live:     true,
		Alone:    true,
		Off:      MainSwitch,
		Caution:  "The incoming terminals stay live, and without the earthing conductor nothing is earthed.",
		Question: "Is the main switch off and locked? Say, main switch locked off.",
		Brief:    "Main switch locked off?",
		Source:   withoutEarthSrc,
	},
	{
		ID:       EarthOff,
		Live:     true,
		Alone:    true,
		Off:      EarthingConductor,
		Question: "Is the earthing conductor off the main earthing terminal? Say, earthing conductor off.",
		Brief:    "Earthing conductor off?",
		Source:   withoutEarthSrc,
	},
	{
		ID:       EarthBack,
		Live:     true,
		Back:     EarthingConductor,
		Question: "Is the earthing conductor back in the main earthing terminal, and tight? Say, earthing conductor back.",
		Brief:    "Earthing conductor back, and tight?",
		Source:   withoutEarthSrc,
	},
	{
		ID:       MainOn,
		Live:     true,
		Back:     MainSwitch,
		Question: "The ways of the board are live from here. Is everything covered, is everybody told, and is the main switch on again by your own procedure? Say, main switch back on.",
		Brief:    "Main switch back on?",
		Source:   practice,
	},
}

const withoutEarthSrc = "IET Guidance Note 3, external earth fault loop impedance and earth electrodes, from memory"

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
		return hasDead(job, b)
	case NoticesUp, IndicatorOK, TestedDead, ProvedDead, LinksAsFound, LeadsJoined:
		return hasDead(job, b) && !b.Supply.OnlyIsolated
	case SurgeOut, SurgeBack:
		return hasInsulation(job, b) && b.SurgeProtection
	case ConnectedAgain:
		return job.Asks(board.Continuity) && hasDead(job, b) && !b.Supply.OnlyIsolated
	case MainLocked, EarthOff, EarthBack:
		return job.Asks(board.Live) && measuredWithoutEarth(job, b)
	case MainOn:
		return job.Asks(board.Live) && asksOn(job, b) && !b.Supply.OnlyIsolated
	case WholeFirst:
		return hasInsulation(job, b) && readTogether(job, b)
	case NeutralBack: // also once ways that stay connected leave but one
		return hasInsulation(job, b)
	case LampsOut, LoadsOut, ElectronicsOut, SwitchesOn, LeadsApart:
		return hasInsulation(job, b)
	case DeadComplete:
		return job.Asks(board.Live) && asksOn(job, b) && !b.Supply.OnlyIsolated && (job.Periodic == nil || hasDead(job, b))
	}
	return job.Asks(board.Live) && asksOn(job, b) && !b.Supply.OnlyIsolated
}

// Prepared reports whether every step before the dead tests of a board is answered. The
// program asks what is due instead; the tests of the conversation hold its answers to this.
func Prepared(s record.State, board int) bool {
	p := newSite(s)
	b := p.at[board]
	return b == nil || len(p.unanswered(b)) == 0
}

// Ready reports whether every step before the live tests of a board, and of
// those that feed it, is answered, and none of those before dead tests was
// answered after it.
func Ready(s record.State, board int) bool {
	p := newSite(s)
	b := p.at[board]
	return b == nil || len(p.liveSteps(b)) == 0
}

// unanswered returns the steps before dead tests that a board has no answer
// for, however long ago.
func (p *site) unanswered(b *panel) []*Step {
	return p.steps(b, false, -1)
}

// deadSteps returns the steps that are due before the dead tests of a board.
// When the supply was put on for live tests since they were answered and there
// are dead tests again, all are due again; when it was put on otherwise, from
// proving dead on. First comes the isolation of what feeds the board and is only
// isolated.
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

// energised returns the event that said that the supply of a board was put on
// while it was dead, or 0.
func energised(b *panel) int64 { return b.answers[EnergisedAgain].EventID }

// liveSteps returns the steps that are due before the live tests of a board:
// those of the boards that feed it first, as far as these are tested, because
// its supply comes through them, then its own. They are due again once the board
// was isolated anew.
func (p *site) liveSteps(b *panel) (due []boardStep) {
	defer func() {
		var backs []boardStep
		for _, at := range p.around(b) {
			backs = append(backs, p.backs(at, anyLive(at))...)
		}
		due = append(backs, due...)
	}()
	for at := b; at != nil && !at.Supply.OnlyIsolated; at = at.up {
		since := max(at.answers[Isolated].EventID, energised(at))
		if at.deadOpen && !p.stillOn(at) && at.answers[ReadyForLive].EventID > since {
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
// event. While dead tests are open, an energised board has from proving dead on
// none from before that.
func (p *site) steps(b *panel, live bool, since int64) (due []*Step) {
	for i := range steps {
		step := &steps[i]
		if step.Live != live || step.Back != "" || step.Alone || !asks(&p.s.Job, b.Board, *step) {
			continue
		}
		from := since
		if step.Off != "" && b.deadOpen && since >= 0 {
			from = max(from, b.answers[backStep(step.Off).ID].EventID) // it is in again
		}
		if step.ID == DeadComplete && p.stillOn(b) {
			continue
		}
		if !live && b.deadOpen && step.ID != Isolated && step.ID != NoticesUp {
			from = max(from, energised(b))
		}
		if _, ok := b.answered(*step, from); !ok {
			due = append(due, step)
		}
	}
	return due
}

// answered returns the answer to a step that was given since an event. Where the
// step has none of its own, that to one which covers it counts: whoever answered
// both must answer both again. How a joined board is read is one question with two
// answers, of which the later counts.
func (b *panel) answered(step Step, since int64) (record.Answer, bool) {
	a, ok := b.answers[step.ID]
	if other, has := b.answers[covers[step.ID]]; !ok || step.ID == WholeFirst && other.EventID > a.EventID {
		a, ok = other, has
	}
	return a, ok && a.EventID > since
}

// Answered returns the answer that stands for a step of a board, its own or that
// to a step which covers it.
func Answered(s record.State, board int, step Step) (record.Answer, bool) {
	a, ok := s.Answered(board, step.ID)
	if other, has := s.Answered(board, covers[step.ID]); !ok || step.ID == WholeFirst && has && other.EventID > a.EventID {
		return other, has
	}
	return a, ok
}

// SurgeConnected reports whether a board has surge protection that was
// answered to stay in. Its ways are then tested at 250 V.
func SurgeConnected(s record.State, board int) bool {
	a, ok := s.Answered(board, SurgeOut)
	b := s.Job.Board(board)
	return b != nil && b.SurgeProtection && ok && a.How != record.Done
}
