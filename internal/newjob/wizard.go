// Package newjob sets a job up by asking: for what a board file says, question by
// question at a keyboard (Wizard), or the ways of a board by voice (Voice). It also
// keeps the register of instruments.
//
// What it makes is a board.Job and nothing else. Every answer is put into a job that
// is sound but for it and judged as a board file is, so that a mistake is said at
// once, in the words that the board file would get, and there is one judge.
package newjob

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/reading"
	"waycall/internal/waymark"
)

// Known is what need not be asked for again.
type Known struct {
	Today       string // 2006-01-02
	Instruments []board.Instrument
	Taken       func(reference string) bool          // there is a job of that reference; nil when none is known
	Job         func(name string) (board.Job, error) // an earlier job, whose boards may be copied; nil when there are none
}

// ErrStopped is returned when the answers end before the questions do.
var ErrStopped = advice.New("set-up stopped before the last question, and nothing was written", "begin again")

// mostTries is how often a question is asked: a person needs two, and a program that
// answers wrongly for ever is let go.
const mostTries = 20

// longestLine is the most of an answer that is taken, in bytes.
const longestLine = 500

type wizard struct {
	in    *bufio.Scanner
	out   io.Writer
	known Known
	job   board.Job
}

// Wizard asks for a job on out and takes the answers from in, one a line; an empty
// one takes what stands in brackets. With ways false it leaves the boards without
// ways, for Voice to ask for. The error is ErrStopped when in ends too early.
func Wizard(in io.Reader, out io.Writer, known Known, ways bool) (board.Job, error) {
	w := &wizard{in: bufio.NewScanner(in), out: out, known: known}
	w.in.Buffer(make([]byte, 0, 1024), longestLine)
	w.job = draft(known.Today)
	fmt.Fprint(out, "An empty answer takes what stands in brackets. Ctrl-C ends it, and nothing is written.\n\n")
	if err := w.head(); err != nil {
		return board.Job{}, err
	}
	w.job.Boards = nil
	for number := 1; number <= 99; number++ {
		if number > 1 {
			more, err := w.yes("Another board", false)
			if err != nil {
				return board.Job{}, err
			}
			if !more {
				break
			}
		}
		if err := w.board(number, ways); err != nil {
			return board.Job{}, err
		}
	}
	if err := w.kindOfWork(ways); err != nil {
		return board.Job{}, err
	}
	for i := range w.job.Boards {
		if !ways {
			w.job.Boards[i].Ways = nil
		}
	}
	return w.job, nil
}

// draft is a sound job, so that what is wrong with it is the answer just given.
func draft(today string) board.Job {
	return board.Job{
		Reference: "NEW", Address: "NEW", Date: today, Tester: "NEW",
		Instrument: board.Instrument{Serial: "NEW", Checked: today, OverRange: 999},
		Boards:     []board.Board{draftBoard(1)}, Edition: board.Current,
	}
}

func draftBoard(number int) board.Board {
	return board.Board{Number: number, Name: "NEW", Earthing: board.TNCS, Voltage: 230, Phases: 1, Ways: []board.Way{draftWay(1)}}
}

func draftWay(number int) board.Way {
	return board.Way{
		Number: number, Feeds: "NEW", Device: board.Device{Standard: board.MCB, Type: "B", Rating: 32}, Wiring: board.Radial,
		Phases: 1, Phase: waymark.Phase(number), Material: board.Copper, CPCKind: board.Conductor,
	}
}

// ask asks until take has taken the answer.
func (w *wizard) ask(question, usual string, take func(answer string) error) error {
	for range mostTries {
		fmt.Fprint(w.out, question)
		if usual != "" {
			fmt.Fprintf(w.out, " [%s]", usual)
		}
		fmt.Fprint(w.out, ": ")
		if !w.in.Scan() {
			fmt.Fprintln(w.out)
			if errors.Is(w.in.Err(), bufio.ErrTooLong) {
				return fmt.Errorf("an answer is longer than %d characters; %w", longestLine, ErrStopped)
			}
			return ErrStopped
		}
		answer := strings.TrimSpace(w.in.Text())
		if answer == "" {
			answer = usual
		}
		err := take(answer)
		if err == nil {
			return nil
		}
		fmt.Fprintf(w.out, "  %s\n", inWords(err))
	}
	return fmt.Errorf("the same question was answered wrongly %d times; %w", mostTries, ErrStopped)
}

// inWords is an error without the place in a file that nobody sees.
func inWords(err error) string {
	var p *board.Problem
	if errors.As(err, &p) {
		return p.What + "; " + p.Do + "."
	}
	return err.Error()
}

// set asks for something of the job and judges the job with it.
func (w *wizard) set(question, usual string, change func(job *board.Job, answer string) error) error {
	return w.ask(question, usual, func(answer string) error {
		next := w.job
		next.Boards = slices.Clone(w.job.Boards)
		for i, b := range next.Boards {
			next.Boards[i] = clone(b)
		}
		if err := change(&next, answer); err != nil {
			return err
		}
		if err := board.Check(next); err != nil {
			return err
		}
		w.job = next
		return nil
	})
}

func (w *wizard) yes(question string, usual bool) (bool, error) {
	shown, answer := "n", false
	if usual {
		shown = "y"
	}
	err := w.ask(question+", y or n", shown, func(a string) (err error) {
		answer, err = yesOrNo(a)
		return err
	})
	return answer, err
}

func yesOrNo(a string) (bool, error) {
	switch strings.ToLower(a) {
	case "y", "yes":
		return true, nil
	case "n", "no":
		return false, nil
	}
	return false, advice.Errorf("type y or n", "%q is neither", a)
}

func (w *wizard) head() error {
	for _, q := range []struct {
		question, usual string
		change          func(*board.Job, string) error
	}{
		{"Reference of the job, such as A-123", "", func(j *board.Job, a string) error {
			if w.known.Taken != nil && w.known.Taken(a) {
				return advice.Errorf("give another reference", "there is a job %s already", a)
			}
			j.Reference = a
			return nil
		}},
		{"Address, on one line", "", func(j *board.Job, a string) error { j.Address = a; return nil }},
		{"Date", w.known.Today, func(j *board.Job, a string) error {
			// The instrument may have been checked on any day before.
			j.Date, j.Instrument.Checked = a, a
			return nil
		}},
		{"Initials of who tests", "", func(j *board.Job, a string) error { j.Tester = a; return nil }},
	} {
		if err := w.set(q.question, q.usual, q.change); err != nil {
			return err
		}
	}
	return w.instrument()
}

// instrument asks for one of the register, or for a new one.
func (w *wizard) instrument() error {
	usual := ""
	for _, i := range w.known.Instruments {
		fmt.Fprintf(w.out, "  known: %s, calibration checked %s, scale ends at %g megohms\n", i.Serial, i.Checked, i.OverRange)
		usual = i.Serial
	}
	found := false
	if err := w.set("Serial number of the instrument", usual, func(j *board.Job, a string) error {
		i := slices.IndexFunc(w.known.Instruments, func(i board.Instrument) bool { return i.Serial == a })
		if found = i >= 0; found {
			j.Instrument = w.known.Instruments[i]
			return nil
		}
		j.Instrument.Serial = a
		return nil
	}); err != nil || found {
		return err
	}
	if err := w.set("Date of its last calibration check, such as 2026-02-28", "", func(j *board.Job, a string) error {
		j.Instrument.Checked = a
		return nil
	}); err != nil {
		return err
	}
	if err := w.set("Where its insulation scale ends at 500 V, megohms", "999", func(j *board.Job, a string) (err error) {
		j.Instrument.OverRange, err = figure(a)
		return err
	}); err != nil {
		return err
	}
	return w.set("And at 250 V, or unknown", "unknown", func(j *board.Job, a string) (err error) {
		if j.Instrument.OverRange250 = 0; a != "unknown" {
			j.Instrument.OverRange250, err = figure(a)
		}
		return err
	})
}

// board asks for one board.
func (w *wizard) board(number int, ways bool) error {
	fmt.Fprintf(w.out, "\nBoard %d\n", number)
	w.job.Boards = append(w.job.Boards, draftBoard(number))
	at := len(w.job.Boards) - 1
	this := func(j *board.Job) *board.Board { return &j.Boards[at] }
	if err := w.set("Its name and place", "", func(j *board.Job, a string) error { this(j).Name = a; return nil }); err != nil {
		return err
	}
	copied := false
	if err := w.set("Like which board? A number of this job, or JOB or JOB/NUMBER of an earlier one; empty for none", "", func(j *board.Job, a string) error {
		if copied = a != ""; !copied {
			return nil
		}
		like, err := w.like(*j, a, at)
		if err != nil {
			return err
		}
		like.Number, like.Name, like.Supply = number, this(j).Name, board.Supply{}
		for i := range like.Ways {
			if like.Ways[i].Supplies != 0 { // it feeds no board of this job
				like.Ways[i].Supplies = 0
			}
		}
		*this(j) = like
		return nil
	}); err != nil || copied {
		return err
	}
	if err := w.set("System earthing, TN-S, TN-C-S or TT", "TN-C-S", func(j *board.Job, a string) error {
		this(j).Earthing = board.Earthing(strings.ToUpper(a))
		return nil
	}); err != nil {
		return err
	}
	if err := w.set("Volts, line to earth", "230", func(j *board.Job, a string) (err error) {
		this(j).Voltage, err = figure(a)
		return err
	}); err != nil {
		return err
	}
	if err := w.set("Phases, 1 or 3", "1", func(j *board.Job, a string) (err error) {
		this(j).Phases, err = wholeNumber(a)
		return err
	}); err != nil {
		return err
	}
	surge, err := w.yes("Is surge protection fitted", false)
	if err != nil {
		return err
	}
	this(&w.job).SurgeProtection = surge
	if err := w.mainSwitch(this); err != nil {
		return err
	}
	if err := w.supply(this); err != nil {
		return err
	}
	if err := w.forms(this); err != nil || !ways {
		return err
	}
	return w.ways(this)
}

// ways asks for the ways of a board, place by place.
func (w *wizard) ways(this func(*board.Job) *board.Board) error {
	bars, err := w.yes("Has it more than one neutral bar", false)
	if err != nil {
		return err
	}
	this(&w.job).Ways = nil
	for n := 1; n <= waymark.MaxPlace; n++ {
		lines, err := w.place(this, n)
		if err != nil {
			return err
		}
		for _, line := range lines {
			more, err := w.way(this, waymark.Of(n, line), bars)
			if err != nil {
				return err
			}
			if !more && len(this(&w.job).Ways) > 0 {
				return nil
			}
			if !more {
				fmt.Fprintln(w.out, "  A board has one way at least.")
				n--
				break
			}
		}
	}
	return nil
}

// place asks which ways there are at a place of a three-phase board, and returns their
// lines: 0 for one that is the whole place.
func (w *wizard) place(this func(*board.Job) *board.Board, n int) (lines []int, err error) {
	if this(&w.job).Phases != 3 {
		return []int{0}, nil
	}
	err = w.ask(fmt.Sprintf("Is place %d divided into %dL1, %dL2 and %dL3, y or n", n, n, n, n), "n", func(a string) error {
		divided, err := yesOrNo(a)
		if lines = []int{0}; divided {
			lines = []int{1, 2, 3}
		}
		return err
	})
	return lines, err
}

// mainSwitch asks for the main switch, and for its residual current part where it is a
// residual current device.
func (w *wizard) mainSwitch(this func(*board.Job) *board.Board) error {
	if err := w.set("Main switch, such as BS EN 60947-3 100 or BS EN 61008 80", unknown, func(j *board.Job, a string) error {
		b := this(j)
		if b.Main = (board.Device{}); a == unknown || a == "-" {
			return nil
		}
		d, err := parseDevice(a)
		if err == nil && d.Family() == board.RCCB {
			d.RCD = &board.RCD{Rated: 30, Type: "A"} // asked for next
		}
		b.Main = d
		return err
	}); err != nil || this(&w.job).Main.Family() != board.RCCB {
		return err
	}
	return w.set("Its residual current, mA and type, such as 30 A or 100 S", "30 A", func(j *board.Job, a string) (err error) {
		b := this(j)
		delayed := strings.HasSuffix(strings.ToUpper(a), " S")
		if delayed {
			a = strings.TrimSpace(a[:len(a)-2]) + " A" // an S type is mostly of type A; the board file may say otherwise
		}
		if b.Main.RCD, err = parseRCD(a); b.Main.RCD != nil {
			b.Main.RCD.Delayed = delayed
		}
		return err
	})
}

// unknown is the answer for what is not known; "-" is taken for it, too, where there is
// nothing else that it could mean.
const unknown = "unknown"

// forms asks for what the model forms want beside it, where somebody has it at hand.
// What is not asked is unknown, and the schedule says so.
func (w *wizard) forms(this func(*board.Job) *board.Board) error {
	more, err := w.yes("Also ask for what the forms want of the supply and the board; otherwise it is unknown", false)
	if err != nil || !more {
		return err
	}
	number := func(put func(*board.Board, float64)) func(*board.Board, string) error {
		return func(b *board.Board, a string) error {
			x, err := unknownOr(a)
			put(b, x)
			return err
		}
	}
	always := func(*board.Board) bool { return true }
	surge := func(b *board.Board) bool { return b.SurgeProtection }
	for _, q := range []struct {
		question string
		asked    func(*board.Board) bool
		change   func(*board.Board, string) error
	}{
		{"Nominal frequency, Hz", always, number(func(b *board.Board, x float64) { b.Supply.Frequency = x })},
		{"Live conductors, such as 1-phase 2-wire or 3-phase 4-wire", always, func(b *board.Board, a string) error {
			b.Supply.Conductors = board.LiveConductors(known(a))
			return nil
		}},
		{"Standard of the cut-out fuse, such as BS 88-3", always, func(b *board.Board, a string) error { b.Supply.Cutout.Standard = known(a); return nil }},
		{"Its rating, A", always, number(func(b *board.Board, x float64) { b.Supply.Cutout.Rating = x })},
		{"Maximum demand, A", always, number(func(b *board.Board, x float64) { b.Supply.MaximumDemand = x })},
		{"Earth electrode, such as rod", always, func(b *board.Board, a string) error { b.Electrode.Type = known(a); return nil }},
		{"Where it is", always, func(b *board.Board, a string) error { b.Electrode.Place = known(a); return nil }},
		{"Poles of the main switch", always, func(b *board.Board, a string) (err error) {
			if b.MainPoles = 0; known(a) != "" {
				b.MainPoles, err = wholeNumber(a)
			}
			return err
		}},
		{"Where the main switch is", always, func(b *board.Board, a string) error { b.MainPlace = known(a); return nil }},
		{"Type of the surge protection, such as T2", surge, func(b *board.Board, a string) error { b.SurgeType = known(a); return nil }},
		{"What its indicator shows, good or expired; none where it has none", surge, func(b *board.Board, a string) error {
			b.SurgeIndicator = board.Indicator(known(a))
			return nil
		}},
	} {
		if !q.asked(this(&w.job)) {
			continue
		}
		if err := w.set(q.question, unknown, func(j *board.Job, a string) error { return q.change(this(j), a) }); err != nil {
			return err
		}
	}
	if len(w.job.Boards) > 1 {
		return nil // of the job, and asked with its first board
	}
	return w.serials()
}

// serials asks for other instruments than the job's, by what they measure.
func (w *wizard) serials() error {
	for _, q := range []struct {
		of  string
		put func(s *board.Serials, serial string)
	}{
		{"continuity", func(s *board.Serials, a string) { s.Continuity = a }},
		{"insulation", func(s *board.Serials, a string) { s.Insulation = a }},
		{"loop impedance", func(s *board.Serials, a string) { s.Loop = a }},
		{"residual current devices", func(s *board.Serials, a string) { s.RCD = a }},
		{"earth electrodes", func(s *board.Serials, a string) { s.Electrode = a }},
	} {
		if err := w.set("Serial number of another instrument for "+q.of+"; - for none", "-", func(j *board.Job, a string) error {
			q.put(&j.Instrument.Serials, known(a))
			return nil
		}); err != nil {
			return err
		}
	}
	return nil
}

// known is an answer, or "" where it says that it is not known.
func known(a string) string {
	if a == unknown || a == "-" {
		return ""
	}
	return a
}

func wholeNumber(a string) (int, error) {
	x, err := figure(a)
	if n := int(x); err != nil || float64(n) == x {
		return n, err
	}
	return 0, advice.Errorf("write figures only", "%q is no whole number", a)
}

// supply asks for what the tests at the board itself hang on. What is not known stays
// unknown, and may be written into the board file later.
func (w *wizard) supply(this func(*board.Job) *board.Board) error {
	for _, q := range []struct {
		question string
		ownEarth bool // asked where the board's earth is its own, too
		change   func(b *board.Board, x float64)
	}{
		{"Ze as declared by the distributor, ohm; - when unknown", false, func(b *board.Board, x float64) { b.Supply.DeclaredZe = x }},
		{"Fault current as declared by the distributor, kA; - when unknown", true, func(b *board.Board, x float64) { b.Supply.DeclaredPFC = x }},
		{"Main earthing conductor, mm2; - when unknown", true, func(b *board.Board, x float64) { b.EarthingConductor = x }},
	} {
		if !q.ownEarth && this(&w.job).Earthing == board.TT {
			continue
		}
		if err := w.set(q.question, "-", func(j *board.Job, a string) error {
			x, err := unknownOr(a)
			q.change(this(j), x)
			return err
		}); err != nil {
			return err
		}
	}
	if err := w.set("Services that are bonded, such as water, gas; none where there is none to bond", unknown, func(j *board.Job, a string) error {
		b := this(j)
		if b.Bonding, b.NoBonding = nil, a == "none"; b.NoBonding || known(a) == "" {
			return nil
		}
		for service := range strings.SplitSeq(a, ",") {
			b.Bonding = append(b.Bonding, strings.TrimSpace(service))
		}
		return nil
	}); err != nil || len(this(&w.job).Bonding) == 0 {
		return err
	}
	return w.set("Main bonding conductors, mm2; - when unknown", "-", func(j *board.Job, a string) (err error) {
		this(j).BondingSize, err = unknownOr(a)
		return err
	})
}

// like finds the board that another is like.
func (w *wizard) like(j board.Job, name string, before int) (board.Board, error) {
	job, wanted := name, 0
	if n, err := strconv.Atoi(name); err == nil && n > 0 && n <= before {
		return clone(j.Boards[n-1]), nil
	}
	if i := strings.LastIndex(name, "/"); i > 0 {
		n, err := strconv.Atoi(name[i+1:])
		if err != nil {
			return board.Board{}, advice.Errorf("write JOB/NUMBER", "%q names no board", name)
		}
		job, wanted = name[:i], n
	}
	if w.known.Job == nil {
		return board.Board{}, advice.New("there is no earlier job", "leave it empty")
	}
	earlier, err := w.known.Job(job)
	if err != nil {
		return board.Board{}, err
	}
	if wanted == 0 {
		wanted = earlier.Boards[0].Number
	}
	b := earlier.Board(wanted)
	if b == nil {
		return board.Board{}, fmt.Errorf("job %s has no board %d; it has %d boards", job, wanted, len(earlier.Boards))
	}
	return clone(*b), nil
}

func clone(b board.Board) board.Board {
	b.Ways, b.Bonding = slices.Clone(b.Ways), slices.Clone(b.Bonding)
	return b
}

// Questions that are asked only, or otherwise, by what was answered before.
const (
	neutralBar = "  Its neutral bar"
	group      = "  Group of the ways that share that RCD, such as A; - where it is this way's own"
	phase      = "  Its line, L1, L2 or L3, or 3 where it has all three"
	penBreaks  = "  Protection where the PEN conductor breaks: device, electrode, not needed or none"
	direct     = "  Protection against direct current: charger, RDC-DD, type B or none"
	residual   = "  RCD, mA and type, such as 30 A; - for none"
)

// wayQuestion is asked about a way that feeds something: what is usual, and what the answer
// makes of the way.
type wayQuestion struct {
	question, usual string
	change          func(way *board.Way, a string) error
}

// wayQuestions are the questions about a way, in their order.
func wayQuestions(usual board.Way, breaking string) []wayQuestion {
	return []wayQuestion{
		{phase, "", func(way *board.Way, a string) error {
			if way.Phases, way.Phase = 1, strings.ToUpper(a); a == "3" {
				way.Phases, way.Phase = 3, ""
			}
			return nil
		}},
		{neutralBar, usual.NeutralBar, func(way *board.Way, a string) error { way.NeutralBar = a; return nil }},
		{"  Device, such as B32, RCBO C16 or BS 3036 30", device(usual.Device), func(way *board.Way, a string) error {
			d, err := parseDevice(a)
			if d.RCD, d.Breaking = way.Device.RCD, way.Device.Breaking; d.Family() == board.RCBO {
				own := board.RCD{Rated: 30, Type: "A"} // what it mostly has; asked for next
				if d.RCD != nil {
					own = *d.RCD
				}
				own.Group = ""
				d.RCD = &own
			}
			way.Device = d
			return err
		}},
		{"  Its breaking capacity, kA; - when unknown", breaking, func(way *board.Way, a string) (err error) {
			way.Device.Breaking, err = unknownOr(a)
			return err
		}},
		{residual, "-", func(way *board.Way, a string) (err error) {
			before := way.Device.RCD
			if way.Device.RCD, err = parseRCD(a); way.Device.RCD != nil && before != nil {
				way.Device.RCD.Group = before.Group
			}
			return err
		}},
		{group, "-", func(way *board.Way, a string) error {
			own := *way.Device.RCD
			if own.Group = a; a == "-" {
				own.Group = ""
			}
			way.Device.RCD = &own
			return nil
		}},
		{"  Ring or radial", string(board.Radial), func(way *board.Way, a string) error { way.Wiring = board.Wiring(strings.ToLower(a)); return nil }},
		{"  Line and protective conductor, mm2, such as 2.5 1.5; - when unknown", "-", func(way *board.Way, a string) (err error) {
			line, cpc, two := strings.Cut(a, " ")
			if way.Line, err = unknownOr(line); err != nil {
				return err
			}
			if a == "-" {
				way.CPC = 0
				return nil
			}
			if !two {
				return advice.Errorf("give both, or - for one that is unknown", "%q is one figure", a)
			}
			way.CPC, err = unknownOr(strings.TrimSpace(cpc))
			return err
		}},
		{"  Length, m; - when unknown", "-", func(way *board.Way, a string) (err error) { way.Length, err = unknownOr(a); return err }},
		{"  Points served; - when unknown", "-", func(way *board.Way, a string) error {
			n, err := unknownOr(a)
			if way.Points = int(n); err == nil && float64(way.Points) != n {
				err = advice.Errorf("write figures only", "%q is no whole number", a)
			}
			return err
		}},
		{"  Two-way or intermediate switching, y or n", "n", func(way *board.Way, a string) (err error) {
			way.TwoWay, err = yesOrNo(a)
			return err
		}},
		{"  What stays connected and must not see 500 V; - for nothing", "-", func(way *board.Way, a string) error {
			way.Keep500Off = a
			if a == "-" {
				way.Keep500Off = ""
			}
			return nil
		}},
		{"  What it is for, socket, lighting or fixed", unknown, func(way *board.Way, a string) error {
			way.Use = board.Use(known(a))
			return nil
		}},
		{"  Its kind, EV charging, PV, battery or emergency lighting; - for no special kind", "-", func(way *board.Way, a string) error {
			way.Kind = board.CircuitKind(known(a))
			way.FeedsBack = way.Kind.FeedsBack()
			return nil
		}},
		{penBreaks, unknown, func(way *board.Way, a string) error { way.PEN = board.PENProtection(known(a)); return nil }},
		{direct, unknown, func(way *board.Way, a string) error { way.DC = board.DCProtection(known(a)); return nil }},
	}
}

// way asks for one way, and for its neutral bar where there are several; it reports
// false when there are no more.
func (w *wizard) way(on func(*board.Job) *board.Board, n int, bars bool) (more bool, err error) {
	usual := draftWay(n)
	if bars {
		usual.NeutralBar = "A"
	}
	breaking := "6"
	if ways := on(&w.job).Ways; len(ways) > 0 {
		// What is next to each other on a board is often alike.
		for _, last := range slices.Backward(ways) {
			if !last.Spare {
				usual.Device, usual.NeutralBar = last.Device, last.NeutralBar
				breaking = text(last.Device.Breaking)
				break
			}
		}
	}
	this := func(j *board.Job) *board.Way { b := on(j); return &b.Ways[len(b.Ways)-1] }
	question := fmt.Sprintf("Way %s feeds (spare; end when there are no more)", waymark.Print(n))
	more = true
	none := false
	if err := w.set(question, "", func(j *board.Job, a string) error {
		b := on(j)
		switch strings.ToLower(a) {
		case "end", "":
			more = false
			if len(b.Ways) == 0 {
				b.Ways = []board.Way{draftWay(1)} // to be judged by
				none = true
			}
			return nil
		case "spare":
			b.Ways = append(b.Ways, board.Way{Number: n, Spare: true})
			return nil
		}
		one := draftWay(n)
		one.Feeds, one.Device, one.NeutralBar = a, usual.Device, usual.NeutralBar
		b.Ways = append(b.Ways, one)
		return nil
	}); err != nil {
		return false, err
	}
	if !more {
		if none {
			on(&w.job).Ways = nil
		}
		return false, nil
	}
	if this(&w.job).Spare {
		return true, nil
	}
	for _, q := range wayQuestions(usual, breaking) {
		switch q.question {
		case phase:
			if on(&w.job).Phases != 3 || waymark.Line(n) != 0 {
				continue
			}
		case group:
			r := this(&w.job).Device.RCD
			if r == nil || this(&w.job).Device.Family() == board.RCBO {
				continue
			}
			if q.usual = r.Group; q.usual == "" {
				q.usual = "-"
			}
		case penBreaks, direct:
			if this(&w.job).Kind != board.EVCharging {
				continue
			}
		case neutralBar:
			if !bars {
				continue
			}
		case residual:
			q.usual = rcd(this(&w.job).Device.RCD) // the device may have brought one
		}
		if err := w.set(q.question, q.usual, func(j *board.Job, a string) error { return q.change(this(j), a) }); err != nil {
			return false, err
		}
	}
	return true, nil
}

func figure(a string) (float64, error) {
	return reading.ParseFigure(strings.TrimSpace(a))
}

// unknownOr is a number, or 0 for "-" and "unknown".
func unknownOr(a string) (float64, error) {
	if known(a) == "" {
		return 0, nil
	}
	x, err := figure(a)
	if err == nil && x == 0 {
		err = advice.New("0 is not a figure here", "type - when it is unknown")
	}
	return x, err
}

func text(x float64) string {
	if x == 0 {
		return "-"
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// shortNames are how a standard is written in short.
var shortNames = map[string]string{"": board.MCB, "MCB": board.MCB, "RCBO": board.RCBO}

// written is a device as it is written in short: its standard, its type, its rating.
var written = regexp.MustCompile(`^(.*?)\s*([A-Za-z]{0,2})\s*([0-9]+(?:\.[0-9]+)?)$`)

func parseDevice(a string) (board.Device, error) {
	m := written.FindStringSubmatch(a)
	if m == nil {
		return board.Device{}, advice.Errorf("write its type and rating, such as B32, with its standard before them where it is no circuit-breaker", "%q is no device", a)
	}
	rating, err := figure(m[3])
	standard := strings.ToUpper(strings.TrimSpace(m[1]))
	if name, ok := shortNames[standard]; ok {
		standard = name
	}
	d := board.Device{Standard: standard, Type: m[2], Rating: rating}
	if f := d.Family(); f == board.MCB || f == board.RCBO || f == board.CircuitBreaker {
		d.Type = strings.ToUpper(d.Type)
	}
	return d, err
}

// device is a device as parseDevice takes it.
func device(d board.Device) string {
	standard := d.Standard
	for name, s := range shortNames {
		if s == standard && name != "MCB" {
			standard = name
		}
	}
	return strings.TrimSpace(standard + " " + d.Type + strconv.FormatFloat(d.Rating, 'f', -1, 64))
}

func parseRCD(a string) (*board.RCD, error) {
	if a == "-" {
		return nil, nil
	}
	rated, kind, two := strings.Cut(a, " ")
	if !two {
		return nil, advice.Errorf("write mA and type, such as 30 A", "%q has no type", a)
	}
	x, err := figure(rated)
	return &board.RCD{Rated: x, Type: strings.ToUpper(strings.TrimSpace(kind))}, err
}

func rcd(r *board.RCD) string {
	if r == nil {
		return "-"
	}
	return strconv.FormatFloat(r.Rated, 'f', -1, 64) + " " + r.Type
}
