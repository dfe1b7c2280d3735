// This file derives a schedule from the state that a log folds into.

package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/limits"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
	"waycall/internal/waymark"
	"waycall/internal/words"
)

// wayAt is a way of a board, or with way 0 the board itself.
type wayAt struct{ board, way int }

// builder is the state with what follows from it, worked out once.
type builder struct {
	record.State
	due      map[record.Slot]sequence.Due
	notAsked map[record.Slot]sequence.Omitted
	slots    map[wayAt][]record.Slot // that have anything to say, in the order of columns
	latest   map[record.Slot]record.Reading
	left     map[record.Slot]record.Skip
	settled  map[record.Slot]record.Settlement
	next     map[reached]reading.Quantity
	ended    map[record.Slot][]int // readings that no longer stand, by their index
	covered  func(record.Slot) (record.Reading, bool)
}

// reached is a reading: one event may confirm several, of one breath.
type reached struct {
	slot  record.Slot
	event int64
}

// newBuilder works out what a schedule is built of.
func newBuilder(s record.State) *builder {
	b := &builder{
		State: s, settled: s.AllSettled(),
		due: map[record.Slot]sequence.Due{}, notAsked: map[record.Slot]sequence.Omitted{}, slots: map[wayAt][]record.Slot{},
		latest: map[record.Slot]record.Reading{}, left: map[record.Slot]record.Skip{}, next: map[reached]reading.Quantity{}, ended: map[record.Slot][]int{},
		covered: sequence.Covered(s),
	}
	add := func(slot record.Slot) {
		at := wayAt{slot.Board, slot.Way}
		b.slots[at] = append(b.slots[at], slot)
	}
	for _, d := range sequence.Remaining(s) {
		if d.Step == nil {
			b.due[d.Slot] = d
			add(d.Slot)
		}
	}
	for _, o := range sequence.NotAsked(s) {
		b.notAsked[o.Slot] = o
		add(o.Slot)
	}
	for _, number := range sequence.Boards(s.Job) {
		for _, way := range sequence.Order(s.Job, number) {
			for _, slot := range sequence.Required(s.Job, number, way) {
				if _, ok := b.covered(slot); ok {
					add(slot)
				}
			}
		}
	}
	for i, r := range s.Readings {
		if r.Standing == record.Stands {
			b.latest[r.Slot] = *r
		} else {
			b.ended[r.Slot] = append(b.ended[r.Slot], i)
		}
		b.next[reached{r.Slot, r.ConfirmedID}] = r.Quantity
		add(r.Slot)
	}
	for _, k := range s.Skips {
		if k.Ended == 0 {
			b.left[k.Slot] = k
			add(k.Slot)
		}
	}
	for at, all := range b.slots {
		slices.SortFunc(all, func(a, b record.Slot) int {
			return cmp.Or(cmp.Compare(slices.Index(Order, a.Test), slices.Index(Order, b.Test)), cmp.Compare(a.Position, b.Position))
		})
		b.slots[at] = slices.Compact(all)
	}
	return b
}

// Build derives the schedule from what the log says.
func Build(s record.State) Schedule {
	b := newBuilder(s)
	job := s.Job
	out := Schedule{
		Format: Format,
		Job: Header{
			Reference: job.Reference, Address: job.Address, Date: job.Date, Tester: job.Tester,
			Instrument: job.Instrument.Serial, Checked: job.Instrument.Checked, OverRange: job.Instrument.OverRange, Serials: serials(job.Instrument), Edition: string(job.JudgedBy()), Work: string(job.Work), Limited: []string{},
		},
		Record:      Record{LastEvent: s.LastID, LastAt: s.LastAt.UTC(), Sessions: s.Sessions, Finished: s.Finished},
		Boards:      []Board{},
		Limits:      []Limit{},
		Preparation: []Step{},
		Lines:       []Line{},
		ToDo:        toDo(s),
		Cautions:    slices.Clone(cautions),
	}
	if g := s.Signed; g != nil {
		out.Signed = &SignOff{Name: g.Name, Initials: g.By, At: g.At.UTC(), Event: g.EventID, Sum: g.Sum, Statement: g.Statement}
	}
	for _, kind := range job.Tests {
		out.Job.Limited = append(out.Job.Limited, string(kind))
	}
	for _, t := range job.Terms() {
		out.Terms = append(out.Terms, Term{t[0], t[1]})
	}
	out.Observations, out.Notes = remarks(s)
	out.Job.Others = testers(s)
	out.Record.Complete = s.Finished && len(out.ToDo) == 0
	if s.Sessions == 0 {
		return out
	}
	out.Setup = &job
	for i := range job.Boards {
		if job.Boards[i].Ways == nil { // lists are never null
			job.Boards = slices.Clone(job.Boards)
			job.Boards[i].Ways = []board.Way{}
		}
	}
	for _, number := range sequence.Boards(job) {
		for _, step := range sequence.Steps(job, number) {
			if sequence.Concerns(s, number, step) {
				out.Preparation = append(out.Preparation, preparation(s, number, step))
			}
		}
		for _, a := range s.Answers {
			if a.Board == number && a.Step == sequence.EnergisedAgain {
				at := a.At.UTC()
				out.Preparation = append(out.Preparation, Step{Board: number, Step: a.Step, Answer: string(a.How), Reason: a.Reason, At: &at, Event: a.EventID})
			}
		}
	}
	for i := range job.Boards {
		one := &job.Boards[i]
		out.Boards = append(out.Boards, b.board(one))
		for k := range one.Ways {
			w := &one.Ways[k]
			if w.Spare {
				out.Lines = append(out.Lines, newLine(one, w, 0))
				continue
			}
			if !one.Supply.OnlyIsolated {
				out.addLimit(one.Number, limits.InsulationLimit(*w, one.Voltage, sequence.SurgeConnected(s, one.Number)), w.Number)
			}
			out.Lines = append(out.Lines, b.lines(one, w)...)
		}
	}
	out.cite(job.JudgedBy())
	for i := range out.Boards {
		out.Boards[i].Zdb = out.zdb(&out.Boards[i])
	}
	return out
}

// zdb is the Zs of the way that feeds a board, as it was read.
func (s *Schedule) zdb(b *Board) string {
	for i := range s.Lines {
		l := &s.Lines[i]
		if c := l.Cell(reading.Zs); b.FedFrom != 0 && l.Board == b.FedFrom && l.Way == b.FedFromWay && c != nil && c.Status == Recorded {
			return c.WithUnit()
		}
	}
	return ""
}

// cite names the edition of BS 7671 in the sources of limits.
func (s *Schedule) cite(edition board.Edition) {
	for i := range s.Limits {
		s.Limits[i].Source = edition.Of(s.Limits[i].Source)
	}
	for i := range s.Lines {
		if z := s.Lines[i].MaxZs; z != nil {
			z.Source = edition.Of(z.Source)
		}
	}
}

func (s *Schedule) addLimit(number int, l limits.Insulation, way int) {
	for i := range s.Limits {
		if have := &s.Limits[i]; have.Board == number && have.Least == l.Least && have.Volts == l.TestVoltage && have.Source == l.Source {
			have.Ways = append(have.Ways, way)
			return
		}
	}
	s.Limits = append(s.Limits, Limit{Board: number, Least: l.Least, Volts: l.TestVoltage, Source: l.Source, Ways: []int{way}})
}

func preparation(s record.State, number int, step sequence.Step) Step {
	a, ok := sequence.Answered(s, number, step)
	if !ok {
		return Step{Board: number, Step: step.ID}
	}
	if step.ID == sequence.WholeFirst {
		step.ID = sequence.Mode(s, number) // what was chosen
	}
	at, reason := a.At.UTC(), a.Reason
	if a.Quantity.Bound != "" {
		reason = a.Quantity.String() + ", " + string(a.Verdict.Result)
	}
	return Step{Board: number, Step: step.ID, Answer: string(a.How), Reason: reason, At: &at, Event: a.EventID}
}

func (b *builder) board(one *board.Board) Board {
	out := Board{
		Number: one.Number, Name: one.Name, Earthing: string(one.Earthing), Voltage: one.Voltage, Phases: max(1, one.Phases),
		SurgeProtection: one.SurgeProtection, OnlyIsolated: one.Supply.OnlyIsolated, FedFrom: one.Supply.From, FedFromWay: one.Supply.FromWay,
		DeclaredZe: one.Supply.DeclaredZe, DeclaredPFC: one.Supply.DeclaredPFC, Main: newDevice(one.Main),
		EarthingConductor: one.EarthingConductor, Bonding: append([]string{}, one.Bonding...), BondingSize: one.BondingSize, NoBonding: one.NoBonding, AllBonded: one.AllBonded, Particulars: particulars(one), Conditional: one.Conditional,
		Tested: newTested(),
	}
	out.fill(b, b.slots[wayAt{one.Number, 0}])
	out.remark(append(out.ofWork(b.Job, one.Number, 0), remarksOn(b.Job, one.Number, 0)...)...)
	return out
}

// lines returns the lines of a way: one, or one for each switch position.
func (b *builder) lines(one *board.Board, w *board.Way) []Line {
	all := b.slots[wayAt{one.Number, w.Number}]
	positions := slices.Clone(sequence.Positions(*w))
	first := positions[0]
	for _, slot := range all {
		positions = append(positions, lineOf(slot, all, first))
	}
	slices.Sort(positions)
	var out []Line
	for _, p := range slices.Compact(positions) {
		l := newLine(one, w, p)
		l.fill(b, slices.DeleteFunc(slices.Clone(all), func(slot record.Slot) bool { return lineOf(slot, all, first) != p }))
		var first []string
		if w.Separated {
			first = append(first, "SELV or PELV.")
		}
		if kind := l.KindWords(); kind != "" {
			first = append(first, kind+".")
		}
		if w.Work != "" {
			first = append(first, english.Capital(string(w.Work))+" in this work.")
		}
		first = append(first, l.ofWork(b.Job, one.Number, w.Number)...)
		l.remark(append(first, remarksOn(b.Job, one.Number, w.Number)...)...)
		out = append(out, l)
	}
	return out
}

// ofWork notes that the kind of work leaves out all of a place, and returns what is to
// be said of what it leaves out.
func (t *Tested) ofWork(job board.Job, number, way int) []string {
	why, source, all, out := sequence.LeftOut(job, number, way)
	if !out {
		return nil
	}
	what := "dead tests: not asked for"
	if all {
		what, t.Outside = "all tests: not asked for", string(NotAsked)
		if job.Periodic != nil {
			what, t.Outside = "all tests: not verified", string(NotVerified)
		}
	}
	return []string{fmt.Sprintf("%s. %s (%s)", what, why, source)}
}

// remarksOn are the remarks on the description of a way, or with way 0 of a board.
func remarksOn(job board.Job, number, way int) []string {
	var all []string
	for _, r := range check.Remarks(job, number, way) {
		all = append(all, r.Cited())
	}
	return all
}

// lineOf returns the position whose line a slot of a way stands on: its own
// switch position, and the first one for what is tested once on the way. A
// reading without a position beside others of the same test that have one has a
// line of its own, so that nothing recorded is hidden behind another.
func lineOf(slot record.Slot, all []record.Slot, first int) int {
	if words.OfRing(slot.Test) {
		return first // the position is a point
	}
	if slot.Position == 0 && !slices.ContainsFunc(all, func(s record.Slot) bool { return s.Test == slot.Test && s.Position != 0 }) {
		return first
	}
	return slot.Position
}

func newTested() Tested {
	return Tested{Cells: []Cell{}, Earlier: []Cell{}, Remarks: []string{}, Complete: true}
}

func newDevice(v board.Device) Device {
	d := Device{Standard: v.Standard, Type: v.Type, Rating: v.Rating, Breaking: v.Breaking, Trip: v.Trip}
	if r := v.RCD; r != nil {
		d.RCDRated, d.RCDType, d.RCDStandard, d.RCDDelayed, d.RCDGroup = r.Rated, r.Type, r.Standard, r.Delayed, r.Group
	}
	return d
}

func newLine(one *board.Board, w *board.Way, position int) Line {
	l := Line{
		Board: one.Number, Way: w.Number, Position: position, Feeds: w.Feeds, Spare: w.Spare, Device: newDevice(w.Device),
		Wiring: string(w.Wiring), Phases: w.Phases, Phase: w.Phase, Line: w.Line, CPC: w.CPC, Material: string(w.Material), CPCKind: string(w.CPCKind),
		Length: w.Length, Points: w.Points, Neutral: w.NeutralBar, Method: w.Method, AFDD: w.AFDD, Kind: string(w.Kind), Use: string(w.Use), Supplies: w.Supplies, Tested: newTested(),
	}
	if w.Kind == board.EVCharging {
		l.PEN, l.DC = cmp.Or(string(w.PEN), unknown), cmp.Or(string(w.DC), unknown)
	}
	if waymark.Line(w.Number) != 0 {
		l.Marked = waymark.Print(w.Number)
	}
	if s, _, err := limits.MaxTime(one, w); err == nil && !w.Spare && !w.Separated {
		l.MaxTime = s
	}
	if z, err := limits.MaxZsOf(one, w); err == nil && !w.Spare && !w.Separated {
		l.MaxZs = &MaxZs{z.Ohm, z.Measured, z.Source}
	}
	if !w.Spare {
		ambient := cmp.Or(one.Ambient, 20) // as board.Board says
		if r, err := limits.ExpectedR1R2(w, ambient); err == nil {
			l.Expected = r
		}
	}
	return l
}

// fill puts in what became of the tests of slots.
func (t *Tested) fill(b *builder, slots []record.Slot) {
	for _, slot := range slots {
		if c, ok := b.cell(slot); ok {
			t.Cells = append(t.Cells, c)
			_, due := b.due[slot] // beside a reading: that at full voltage, before the one at 250 V
			t.Complete = t.Complete && !due && c.Status != ToDo && c.Status != Waiting
			t.Result = worse(t.Result, c.Result)
		}
	}
	for _, slot := range slots {
		for _, i := range b.ended[slot] {
			t.Earlier = append(t.Earlier, b.earlier(*b.Readings[i]))
		}
	}
	slices.SortStableFunc(t.Earlier, func(a, b Cell) int { return cmp.Compare(a.Event, b.Event) })
	if t.Result != "" {
		t.Covers = covers(b.Job)
	}
}

// covers is what a job is limited to, in words; "" when it asks for every kind of test.
func covers(job board.Job) string {
	var all, left []string
	for _, k := range []board.Kind{board.Continuity, board.Insulation, board.Polarity, board.Live} {
		if job.Asks(k) {
			all = append(all, string(k))
		} else {
			left = append(left, string(k))
		}
	}
	if len(left) == 0 {
		return ""
	}
	return strings.Join(all, ", ")
}

// worse is the more severe of two results as they are written here.
func worse(a, b string) string {
	if check.Result(b).Severity() > check.Result(a).Severity() {
		return b
	}
	return a
}

// cell returns what became of a test, or false when there is nothing to say.
func (b *builder) cell(slot record.Slot) (Cell, bool) {
	settled, ok := b.settled[slot]
	var review *Review
	if ok {
		review = &Review{By: settled.By, Reason: settled.Reason, At: settled.At.UTC(), Event: settled.EventID}
	}
	if r, ok := b.latest[slot]; ok {
		c := recorded(b.State, r, Recorded, "")
		c.Settled = review
		return c, true
	}
	c := Cell{Test: slot.Test, Position: slot.Position, Settled: review}
	if k, ok := b.left[slot]; ok {
		at := k.At.UTC()
		c.Status, c.Reason, c.At, c.Event, c.Heard = Skipped, k.Reason, &at, k.EventID, k.HeardID
		switch k.How {
		case record.NotApplicable:
			c.Status = NotApplicable
		case record.Limitation:
			c.Status = Limitation
		case record.NotVerified:
			c.Status = NotVerified
		case record.Waived:
			c.Status = Waived
		}
		return c, true
	}
	if o, waits := b.notAsked[slot]; settled.EventID != 0 && !(waits && !o.Waiting) {
		c.Status, c.Reason, c.At, c.Event = Accepted, review.Reason, &review.At, review.Event
		return c, true
	}
	if d, ok := b.due[slot]; ok {
		c.Status = ToDo
		if slot.Test.Insulation() {
			c.Volts = d.Volts
		}
		return c, true
	}
	if r, ok := b.covered(slot); ok {
		c.Volts = voltsOf(b.State, r)
		return byBoard(c, r), true
	}
	if o, ok := b.notAsked[slot]; ok {
		c.Status, c.Reason, c.Source = NotAsked, o.Reason, o.Source
		if o.Waiting {
			c.Status = Waiting
		}
		return c, true
	}
	return Cell{}, false
}

// byBoard is the cell of a test that the reading of the whole board covers: that
// reading as a bound, and never as a figure of the way's own.
func byBoard(c Cell, r record.Reading) Cell {
	q := r.Quantity
	c.Status, c.Text = ByBoard, figure(q)
	if q.Bound == reading.Exactly {
		c.Text = ">=" + figure(q)
	}
	c.Reason = fmt.Sprintf("No way is below what the whole board reads, %s", q.String())
	c.Source = "resistances in parallel give less than the least of them"
	return c
}

func recorded(s record.State, r record.Reading, status Status, reason string) Cell {
	q, at := r.Quantity, r.Confirmed.UTC()
	value := q.Value
	c := Cell{
		Test: r.Slot.Test, Position: r.Slot.Position, Status: status, Reason: reason,
		Text: figure(q), Bound: string(q.Bound), Value: &value, Unit: string(q.Unit),
		Result: string(r.Verdict.Result), Why: r.Verdict.Reason, Source: r.Verdict.Source, Margin: r.Verdict.Margin, Next: r.Verdict.Next,
		At: &at, Event: r.ConfirmedID, Heard: r.HeardID,
	}
	if r.Edited {
		c.Edited = &Review{By: r.By, Reason: r.Reason, At: at, Event: r.ConfirmedID}
	}
	if r.Slot.Test.Insulation() {
		c.Volts = voltsOf(s, r)
	}
	return c
}

// voltsOf is what an insulation reading was measured with: what its verdict says, or
// for one of an early version what all were then.
func voltsOf(s record.State, r record.Reading) float64 {
	if volts, ok := r.Verdict.TestVoltage(); ok {
		return volts
	}
	var way board.Way // the zero Way stands for the whole board
	if w := s.Job.Way(r.Slot.Board, r.Slot.Way); w != nil {
		way = *w
	}
	way.Keep500Off = "" // it made no difference then
	return limits.InsulationLimit(way, s.Job.Board(r.Slot.Board).Voltage, surgeConnectedAt(s, r.Slot.Board, r.EventID)).TestVoltage
}

// surgeConnectedAt is sequence.SurgeConnected as it was at an event: the answer
// may have been taken back and given anew between two readings.
func surgeConnectedAt(s record.State, number int, event int64) bool {
	s.Answers = slices.Clone(s.Answers)
	for i := range s.Answers {
		a := &s.Answers[i]
		if a.EventID > event {
			a.Ended = a.EventID // not yet given
		} else if a.Ended > event {
			a.Ended = 0 // still stood
		}
	}
	return sequence.SurgeConnected(s, number)
}

func (b *builder) earlier(r record.Reading) Cell {
	status := BeforeWork
	switch r.Standing {
	case record.Replaced:
		status = Replaced
	case record.AtFull:
		status = AtFull
	case record.TakenOff:
		status = Withdrawn
	}
	c := recorded(b.State, r, status, r.EndReason)
	c.Ended = &Ending{By: r.EndedBy, At: r.EndedAt.UTC(), Event: r.Ended}
	if next, ok := b.next[reached{r.Slot, r.Ended}]; ok && r.Standing == record.Replaced {
		c.Ended.To = next.String()
	}
	return c
}

// figure is a quantity without its unit: ">999", "2.00", "correct".
func figure(q reading.Quantity) string {
	return strings.TrimSuffix(q.String(), " "+string(q.Unit))
}

// remarks sorts what stands of the notes of a record into observations and notes.
func remarks(s record.State) (found []Observation, notes []Note) {
	found, notes = []Observation{}, []Note{}
	for _, n := range s.Notes {
		switch {
		case n.Ended != 0:
		case n.Code != "":
			found = append(found, Observation{Board: n.Board, Way: n.Way, Code: n.Code, Told: n.Told, Text: n.Text, At: n.At.UTC(), Event: n.EventID, Heard: n.HeardID})
		default:
			notes = append(notes, Note{n.Board, n.Way, n.Text, n.At.UTC(), n.EventID, n.HeardID})
		}
	}
	return found, notes
}

// testers are the initials of those who took the readings that were ever confirmed,
// beside the job's tester.
func testers(s record.State) (others []string) {
	for _, r := range s.Readings {
		if r.Tester != "" && r.Tester != s.Job.Tester && !slices.Contains(others, r.Tester) {
			others = append(others, r.Tester)
		}
	}
	return others
}
