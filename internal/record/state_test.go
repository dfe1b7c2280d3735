package record

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/reading"
)

func job() *board.Job {
	return &board.Job{Reference: "T1", Boards: []board.Board{{Number: 1, Voltage: 230, Ways: []board.Way{
		{Number: 1, Feeds: "Lighting"}, {Number: 2, Feeds: "Landing", TwoWay: true}, {Number: 3, Spare: true},
	}}, {Number: 2, Voltage: 230, Bonding: []string{"water", "gas"}, Ways: []board.Way{{Number: 1, Wiring: board.Ring, Points: 3}}}}}
}

func judged(s *Slot, q reading.Quantity) Event {
	return Event{Kind: Proposed, Slot: s, Quantity: &q, Verdict: &check.Verdict{Result: check.Pass, Reason: "r", Source: "s"}}
}

var start = time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)

// log numbers and dates events as a store would.
func log(events ...Event) []Event {
	for i := range events {
		events[i].ID, events[i].At = int64(i+1), start.Add(time.Duration(i)*time.Second)
	}
	return events
}

func slot(way int, test reading.Test, position int) *Slot {
	return &Slot{Board: 1, Way: way, Test: test, Position: position}
}

func proposed(s *Slot, text string, heard int64) Event {
	q, err := reading.ParseQuantity(text, reading.Megohm)
	if err != nil {
		panic(err)
	}
	return Event{Kind: Proposed, Slot: s, Quantity: &q, Verdict: &check.Verdict{Result: check.Pass, Reason: "r", Source: "s"}, HeardID: heard}
}

func opened() Event { return Event{Kind: Opened, Job: job()} }

func fold(t *testing.T, events ...Event) State {
	t.Helper()
	s, err := Fold(log(events...))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestFoldKeepsEveryReading(t *testing.T) {
	s := fold(t, opened(),
		Event{Kind: Heard, Phrase: &Phrase{Text: "two hundred"}},
		proposed(slot(1, reading.LNE, 0), "200", 2), Event{Kind: Confirmed},
		proposed(slot(1, reading.LNE, 0), "206", 2), Event{Kind: Confirmed},
		Event{Kind: Withdrawn, Slot: slot(1, reading.LNE, 0), Reason: "scratched"},
		proposed(slot(1, reading.LNE, 0), "210", 2), Event{Kind: Confirmed},
		Event{Kind: Retest, Slot: &Slot{Board: 1, Way: 1}},
		proposed(slot(1, reading.LNE, 0), "300", 2),
	)
	var got []string
	for _, r := range s.Readings {
		got = append(got, r.Quantity.Figure()+" "+string(r.Standing))
	}
	if diff := cmp.Diff([]string{"200 replaced", "206 withdrawn", "210 before work"}, got); diff != "" {
		t.Error(diff)
	}
	if r, ok := s.Latest(*slot(1, reading.LNE, 0)); ok {
		t.Errorf("%v stands after a retest began", r)
	}
	if s.Pending == nil || s.Pending.Quantity.Figure() != "300" || s.Pending.HeardID != 2 {
		t.Errorf("pending %+v", s.Pending)
	}
	if r := s.Readings[1]; r.EndReason != "scratched" || r.Ended != 7 || r.ConfirmedID != 6 || r.EventID != 5 {
		t.Errorf("second reading %+v", r)
	}
	// After a crash the proposal is still there to be read back again.
	s, err := s.Apply(Event{ID: s.LastID + 1, At: start, Kind: Opened, Job: job()})
	if err != nil || s.Pending == nil || s.Sessions != 2 {
		t.Errorf("after opening again: %+v, %v", s.Pending, err)
	}
}

func TestFoldAnswersAndSkips(t *testing.T) {
	s := fold(t, opened(),
		Event{Kind: Prepared, Board: 1, Step: "lamps removed", Answer: Done},
		Event{Kind: Prepared, Board: 1, Step: "lamps removed", Answer: TakenBack},
		Event{Kind: Prepared, Board: 1, Step: "lamps removed", Answer: Limitation, Reason: "no access"},
		Event{Kind: Skipped, Slot: slot(2, reading.LN, 2), Answer: NotMade, Reason: "no access"},
		Event{Kind: Moved, Slot: slot(2, reading.LN, 2)},
	)
	if a, ok := s.Answered(1, "lamps removed"); !ok || a.How != Limitation || a.Reason != "no access" || len(s.Answers) != 2 || s.Answers[0].Ended != 3 {
		t.Errorf("answers %+v", s.Answers)
	}
	if k, ok := s.LeftOut(*slot(2, reading.LN, 2)); !ok || k.Reason != "no access" || s.Way != 2 || s.Aim == nil {
		t.Errorf("skips %+v, way %d", s.Skips, s.Way)
	}
	for _, e := range []Event{proposed(slot(2, reading.LN, 2), ">999", 0), {Kind: Confirmed}} {
		e.ID = s.LastID + 1
		var err error
		if s, err = s.Apply(e); err != nil {
			t.Fatal(err)
		}
	}
	if _, ok := s.LeftOut(*slot(2, reading.LN, 2)); ok || len(s.Skips) != 1 || s.Aim != nil {
		t.Errorf("a measured test is still left out: %+v, aim %v", s.Skips, s.Aim)
	}
}

func edited(s *Slot, text string, replaces int64) Event {
	e := proposed(s, text, 0)
	e.Kind, e.By, e.Reason, e.Replaces = Edited, "CD", "the note says so", replaces
	return e
}

func settled(s *Slot, of int64) Event {
	return Event{Kind: Settled, Slot: s, By: "CD", Reason: "seen", Replaces: of}
}

var sum = strings.Repeat("0a", 32)

func signed() Event { return Event{Kind: Signed, By: "CD", Text: "C. D. Example", Sum: sum} }

// A reviewer's reading takes the place of the one he looked at, both are kept, and
// the place in hand stays where the session left it.
func TestReview(t *testing.T) {
	at := slot(1, reading.LNE, 0)
	events := []Event{opened(), proposed(at, "200", 0), {Kind: Confirmed},
		{Kind: Moved, Slot: slot(2, reading.LN, 1)}, {Kind: Paused},
		edited(at, "206", 3), // in a pause that was cut off
		settled(at, 6),
		settled(slot(2, reading.LN, 1), 0), // a test that is missing
		{Kind: Finished, By: "CD"},
		signed()}
	s := fold(t, events...)
	if s.Way != 2 || s.Aim == nil || *s.Aim != *slot(2, reading.LN, 1) || !s.Finished || s.Paused {
		t.Errorf("the place in hand moved: way %d, aim %v", s.Way, s.Aim)
	}
	r, ok := s.Latest(*at)
	if !ok || !r.Edited || r.By != "CD" || r.Reason != "the note says so" || r.ConfirmedID != 6 || r.Replaces != 3 || r.Quantity.Figure() != "206" {
		t.Errorf("the reading that stands: %+v", r)
	}
	if old := s.Readings[0]; old.Standing != Replaced || old.Ended != 6 || old.EndedBy != "CD" || old.EndReason != "the note says so" {
		t.Errorf("the one before: %+v", old)
	}
	for slot, of := range map[Slot]int64{*at: 6, *slot(2, reading.LN, 1): 0} {
		if got, ok := s.SettledAt(slot); !ok || got.Of != of || got.By != "CD" || got.Reason != "seen" {
			t.Errorf("%v: %+v, %v", slot, got, ok)
		}
	}
	want := &SignOff{Name: "C. D. Example", By: "CD", Sum: sum, EventID: 10, At: s.LastAt}
	if diff := cmp.Diff(want, s.Signed); diff != "" {
		t.Error(diff)
	}

	// What is said or heard afterwards changes nothing that was signed; any fact does.
	for name, c := range map[string]struct {
		e       Event
		signed  bool
		settled bool // of LN-E on way 1
	}{
		"heard":     {Event{Kind: Heard, Phrase: &Phrase{}}, true, true},
		"said":      {Event{Kind: Said, Text: "x"}, true, true},
		"opened":    {opened(), false, true},
		"settled":   {settled(at, 6), false, true},
		"edited":    {edited(at, "200", 6), false, false},
		"withdrawn": {Event{Kind: Withdrawn, Slot: at, By: "CD", Reason: "r", Replaces: 6}, false, false},
	} {
		c.e.ID, c.e.At = s.LastID+1, start
		next, err := s.Apply(c.e)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if (next.Signed != nil) != c.signed {
			t.Errorf("after %s it is signed: %v", name, next.Signed)
		}
		if _, ok := next.SettledAt(*at); ok != c.settled {
			t.Errorf("after %s the reading is settled: %v", name, ok)
		}
	}
}

// What the electrician does at a place ends what was settled of it.
func TestSettlementsEnd(t *testing.T) {
	at, other := slot(1, reading.LNE, 0), slot(2, reading.LNE, 1)
	for name, events := range map[string][]Event{
		"measured":      {proposed(at, "1", 0), {Kind: Confirmed}},
		"left out":      {{Kind: Skipped, Slot: at, Answer: NotMade}},
		"left out, not": {{Kind: Skipped, Slot: at, Answer: NotMade}, settled(at, 0), {Kind: Skipped, Slot: at, Answer: TakenBack}},
		"tested again":  {{Kind: Retest, Slot: &Slot{Board: 1, Way: 1}}},
	} {
		s := fold(t, append([]Event{opened(), settled(at, 0), settled(other, 0)}, events...)...)
		if got, ok := s.SettledAt(*at); ok {
			t.Errorf("%s: still settled: %+v", name, got)
		}
		if _, ok := s.SettledAt(*other); !ok {
			t.Errorf("%s: the other place is not settled any more", name)
		}
	}
}

// A session that was cut off may have a reading that waits. A review keeps off it.
func TestReviewBesidePending(t *testing.T) {
	at := slot(1, reading.LNE, 0)
	s := fold(t, opened(), proposed(at, "200", 0), edited(slot(2, reading.LNE, 1), "7", 0))
	if s.Pending == nil || len(s.Readings) != 1 {
		t.Errorf("%+v", s)
	}
	s = fold(t, opened(), proposed(at, "200", 0), Event{Kind: Dropped, By: "CD", Reason: "never confirmed"}, edited(at, "7", 0))
	if s.Pending != nil || len(s.Readings) != 1 {
		t.Errorf("%+v", s)
	}
}

// breath is the ends of a ring in one proposal.
func breath(r1, rn, r2 string) Event {
	q := func(text string) reading.Quantity {
		q, err := reading.ParseQuantity(text, reading.Ohm)
		if err != nil {
			panic(err)
		}
		return q
	}
	first := q(r1)
	ring := func(test reading.Test) Slot { return Slot{Board: 2, Way: 1, Test: test} }
	at, v := ring(reading.RingR1), check.Verdict{Result: check.Pass, Reason: "r", Source: "s"}
	return Event{Kind: Proposed, Slot: &at, Quantity: &first, Verdict: &v, HeardID: 2, Then: []Further{
		{ring(reading.RingRn), q(rn), v, 2}, {ring(reading.RingR2), q(r2), v, 4},
	}}
}

// Readings of one breath are stored by one event, each by itself, and nothing of
// them before it.
func TestOneBreath(t *testing.T) {
	events := log(opened(), breath("0.31", "0.31", "0.52"), Event{Kind: Dropped}, breath("0.31", "0.32", "0.52"), Event{Kind: Confirmed},
		breath("0.30", "0.30", "0.50"), Event{Kind: Confirmed}, Event{Kind: Withdrawn, Slot: &Slot{Board: 2, Way: 1, Test: reading.RingRn}})
	data, err := json.Marshal(events)
	if err != nil {
		t.Fatal(err)
	}
	var back []Event
	if err := json.Unmarshal(data, &back); err != nil {
		t.Fatal(err)
	}
	for n, want := range []int{0, 0, 0, 0, 0, 3, 3, 6, 6} {
		s, err := Fold(back[:n])
		if err != nil {
			t.Fatal(err)
		}
		if len(s.Readings) != want || (s.Pending != nil) != (n == 2 || n == 4 || n == 6) {
			t.Errorf("after %d events: %d readings, pending %+v", n, len(s.Readings), s.Pending)
		}
		if s.Pending != nil && len(s.Pending.Each()) != 3 {
			t.Errorf("after %d events %d readings wait", n, len(s.Pending.Each()))
		}
	}
	s, _ := Fold(back)
	var got []string
	for _, r := range s.Readings {
		got = append(got, fmt.Sprintf("%s %s %s %d", r.Slot.Test, r.Quantity.Figure(), r.Standing, r.HeardID))
		if len(r.Then) > 0 || r.ConfirmedID == 0 {
			t.Errorf("%+v", r)
		}
	}
	want := []string{"r1 0.31 replaced 2", "rn 0.32 replaced 2", "r2 0.52 replaced 4", "r1 0.30  2", "rn 0.30 withdrawn 2", "r2 0.50  4"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// What was left out and taken back is as though it had not been.
func TestTakenBack(t *testing.T) {
	s := fold(t, opened(),
		Event{Kind: Skipped, Slot: slot(1, reading.LN, 0), Answer: Waived, Reason: "r"},
		Event{Kind: Skipped, Slot: slot(1, reading.LN, 0), Answer: TakenBack})
	if _, ok := s.LeftOut(*slot(1, reading.LN, 0)); ok || len(s.Skips) != 1 || s.Skips[0].Ended != 3 {
		t.Errorf("%+v", s.Skips)
	}
}

func with(e Event, change func(*Event)) Event {
	change(&e)
	return e
}

func TestApplyRefuses(t *testing.T) {
	p := proposed(slot(1, reading.LNE, 0), "200", 0)
	none := p
	none.Quantity = nil
	ohm := p
	ohm.Quantity = &reading.Quantity{Value: 1, Bound: reading.Exactly, Unit: reading.Ohm}
	verdict := p
	verdict.Verdict = &check.Verdict{Result: "safe"}
	other := job()
	other.Reference = "T2"
	twice, elsewhere, volts, unjudged := breath("1", "1", "1"), breath("1", "1", "1"), breath("1", "1", "1"), breath("1", "1", "1")
	twice.Then[1].Slot.Test = reading.RingR1
	elsewhere.Then[1].Slot = *slot(1, reading.R2, 0)
	volts.Then[0].Quantity.Unit = reading.Volt
	unjudged.Then[0].Verdict.Result = ""
	habit := opened()
	habit.Habit = Agreed
	doubted, failing := p, p
	doubted.Doubted = true
	failing.Verdict = &check.Verdict{Result: check.Fail}
	implied := Event{Kind: Confirmed, Answer: Accepted}
	fifteen := reading.Quantity{Value: 15, Bound: reading.Exactly, Unit: reading.Megohm}
	ways := proposed(slot(1, reading.LNE, 0), ">999", 0)
	ways.Then = []Further{{Slot: *slot(2, reading.LNE, 1), Quantity: *p.Quantity, Verdict: *p.Verdict}}
	figures := p
	figures.Then = ways.Then
	for name, events := range map[string][]Event{
		"not opened":                  {p},
		"opened without a job":        {{Kind: Opened}},
		"another job":                 {opened(), {Kind: Opened, Job: other}},
		"confirmed nothing":           {opened(), {Kind: Confirmed}},
		"confirmed twice":             {opened(), p, {Kind: Confirmed}, {Kind: Confirmed}},
		"dropped nothing":             {opened(), {Kind: Dropped}},
		"proposed twice":              {opened(), p, p},
		"no quantity":                 {opened(), none},
		"ohms":                        {opened(), ohm},
		"unknown verdict":             {opened(), verdict},
		"way that is not there":       {opened(), proposed(slot(9, reading.LNE, 0), "200", 0)},
		"spare way":                   {opened(), proposed(slot(3, reading.LNE, 0), "200", 0)},
		"no such position":            {opened(), proposed(slot(1, reading.LNE, 2), "200", 0)},
		"unknown test":                {opened(), proposed(slot(1, "LNE", 0), "200", 0)},
		"withdrawn nothing":           {opened(), {Kind: Withdrawn, Slot: slot(1, reading.LNE, 0)}},
		"skipped without answer":      {opened(), {Kind: Skipped, Slot: slot(1, reading.LNE, 0)}},
		"skipped while pending":       {opened(), p, {Kind: Skipped, Slot: slot(1, reading.LN, 0), Answer: NotMade}},
		"moved nowhere":               {opened(), {Kind: Moved}},
		"prepared nothing":            {opened(), {Kind: Prepared, Board: 1, Answer: Done}},
		"prepared without answer":     {opened(), {Kind: Prepared, Board: 1, Step: "x"}},
		"took back nothing":           {opened(), {Kind: Prepared, Board: 1, Step: "x", Answer: TakenBack}},
		"carried on without a pause":  {opened(), {Kind: CarriedOn}},
		"worked in a pause":           {opened(), {Kind: Paused}, p},
		"paused twice":                {opened(), {Kind: Paused}, {Kind: Paused}},
		"worked after the end":        {opened(), {Kind: Finished}, p},
		"finished with a pending":     {opened(), p, {Kind: Finished}},
		"no board":                    {opened(), proposed(&Slot{Way: 1, Test: reading.LNE}, "200", 0)},
		"board that is not there":     {opened(), proposed(&Slot{Board: 3, Way: 1, Test: reading.LNE}, "200", 0)},
		"moved to no board":           {opened(), {Kind: Moved, Slot: &Slot{}}},
		"moved to a way without test": {opened(), {Kind: Moved, Slot: &Slot{Board: 1, Way: 1}}},
		"retest of a missing way":     {opened(), {Kind: Retest, Slot: &Slot{Board: 2, Way: 2}}},
		"prepared no board":           {opened(), {Kind: Prepared, Step: "x", Answer: Done}},
		"took back on another board":  {opened(), {Kind: Prepared, Board: 1, Step: "x", Answer: Done}, {Kind: Prepared, Board: 2, Step: "x", Answer: TakenBack}},
		"waived without a reason":     {opened(), {Kind: Skipped, Slot: slot(1, reading.LN, 0), Answer: Waived}},
		"waived a live test":          {opened(), {Kind: Skipped, Slot: slot(1, reading.Zs, 0), Answer: Waived, Reason: "r"}},
		"waived a step":               {opened(), {Kind: Prepared, Board: 1, Step: "x", Answer: Waived, Reason: "r"}},
		"a value for a judgement":     {opened(), judged(slot(1, reading.Polarity, 0), reading.Quantity{Value: 3, Bound: reading.Exactly})},
		"opened without boards":       {{Kind: Opened, Job: &board.Job{Reference: "T1"}}},
		"a test twice in a breath":    {opened(), twice},
		"two ways in a breath":        {opened(), elsewhere},
		"volts in a breath":           {opened(), volts},
		"no verdict in a breath":      {opened(), unjudged},
		"took back no skip":           {opened(), {Kind: Skipped, Slot: slot(1, reading.LN, 0), Answer: TakenBack}},
		"implied without the habit":   {opened(), p, implied},
		"implied though doubted":      {habit, doubted, implied},
		"implied though it fails":     {habit, failing, implied},
		"confirmed by a limitation":   {habit, p, {Kind: Confirmed, Answer: Limitation}},
		"unknown habit":               {{Kind: Opened, Job: job(), Habit: "some"}},
		"a bound and a figure":        {opened(), ways},
		"figures of two ways":         {opened(), figures},
		"leads without a verdict":     {opened(), {Kind: Prepared, Board: 1, Step: "x", Answer: Done, Quantity: &fifteen}},
		"leads of an unknown verdict": {opened(), {Kind: Prepared, Board: 1, Step: "x", Answer: Done, Quantity: &fifteen, Verdict: &check.Verdict{Result: "good"}}},
		"edited what another did":     {opened(), p, {Kind: Confirmed}, edited(slot(1, reading.LNE, 0), "1", 0)},
		"edited what is not there":    {opened(), edited(slot(1, reading.LNE, 0), "1", 1)},
		"edited by nobody":            {opened(), with(edited(slot(1, reading.LNE, 0), "1", 0), func(e *Event) { e.By = "" })},
		"edited without a reason":     {opened(), with(edited(slot(1, reading.LNE, 0), "1", 0), func(e *Event) { e.Reason = "" })},
		"edited without a value":      {opened(), with(edited(slot(1, reading.LNE, 0), "1", 0), func(e *Event) { e.Quantity = nil })},
		"edited in ohms":              {opened(), with(edited(slot(1, reading.LNE, 0), "1", 0), func(e *Event) { e.Quantity = ohm.Quantity })},
		"edited without a verdict":    {opened(), with(edited(slot(1, reading.LNE, 0), "1", 0), func(e *Event) { e.Verdict.Result = "safe" })},
		"edited a spare way":          {opened(), edited(slot(3, reading.LNE, 0), "1", 0)},
		"edited what waits":           {opened(), p, edited(slot(1, reading.LNE, 0), "1", 0)},
		"edited before the first":     {edited(slot(1, reading.LNE, 0), "1", 0)},
		"edited nowhere":              {opened(), edited(nil, "1", 0)},
		"settled what is not there":   {opened(), settled(slot(1, reading.LNE, 0), 1)},
		"settled an old one":          {opened(), p, {Kind: Confirmed}, p, {Kind: Confirmed}, settled(slot(1, reading.LNE, 0), 3)},
		"settled what waits":          {opened(), p, settled(slot(1, reading.LNE, 0), 0)},
		"withdrew what another did":   {opened(), p, {Kind: Confirmed}, {Kind: Withdrawn, Slot: p.Slot, By: "CD", Reason: "r", Replaces: 1}},
		"reviewer dropped nothing":    {opened(), {Kind: Dropped, By: "CD", Reason: "r"}},
		"reviewer finished twice":     {opened(), {Kind: Finished}, {Kind: Finished, By: "CD"}},
		"reviewer skipped":            {opened(), {Kind: Skipped, Slot: p.Slot, Answer: NotMade, By: "CD", Reason: "r"}},
		"signed twice":                {opened(), signed(), signed()},
		"signed with no name":         {opened(), with(signed(), func(e *Event) { e.Text = " " })},
		"signed with no sum":          {opened(), with(signed(), func(e *Event) { e.Sum = "ab" })},
		"signed with a pending":       {opened(), p, signed()},
		"signed nothing":              {signed()},
		"unknown kind":                {opened(), {Kind: "hummed", Slot: slot(1, reading.LNE, 0)}},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Fold(log(events...))
			if err == nil || !strings.HasPrefix(err.Error(), "event ") {
				t.Errorf("error %v", err)
			}
		})
	}
	gap := log(opened(), Event{Kind: Said, Text: "x"})
	gap[1].ID = 3
	if _, err := Fold(gap); err == nil || !strings.Contains(err.Error(), "event 3 (said)") {
		t.Errorf("a gap: %v", err)
	}
}

// What is done on one board leaves the other as it is.
func TestBoardsAreApart(t *testing.T) {
	two := func(way int, test reading.Test) *Slot { return &Slot{Board: 2, Way: way, Test: test} }
	s := fold(t, opened(),
		Event{Kind: Prepared, Board: 1, Step: "proved dead", Answer: Done},
		proposed(slot(1, reading.LNE, 0), "200", 0), Event{Kind: Confirmed})
	if s.Board != 1 || s.Way != 1 {
		t.Errorf("in hand: board %d, way %d", s.Board, s.Way)
	}
	s = fold(t, opened(),
		Event{Kind: Prepared, Board: 1, Step: "proved dead", Answer: Done},
		proposed(slot(1, reading.LNE, 0), "200", 0), Event{Kind: Confirmed},
		Event{Kind: Moved, Slot: &Slot{Board: 2}})
	if _, ok := s.Answered(2, "proved dead"); ok || s.Board != 2 || s.Way != 0 || s.Aim != nil {
		t.Errorf("in hand: board %d, way %d, aim %v", s.Board, s.Way, s.Aim)
	}
	s = fold(t, opened(),
		Event{Kind: Prepared, Board: 1, Step: "proved dead", Answer: Done},
		Event{Kind: Prepared, Board: 2, Step: "proved dead", Answer: Limitation, Reason: "r"},
		proposed(slot(1, reading.LNE, 0), "200", 0), Event{Kind: Confirmed},
		proposed(two(1, reading.LNE), "300", 0), Event{Kind: Confirmed},
		proposed(two(0, reading.LNE), "100", 0), Event{Kind: Confirmed},
		judged(slot(1, reading.Polarity, 0), reading.Correct), Event{Kind: Confirmed},
		Event{Kind: Skipped, Slot: two(1, reading.R1R2), Answer: Waived, Reason: "no long lead"},
		Event{Kind: Skipped, Slot: slot(1, reading.LN, 0), Answer: NotMade, Reason: "r"},
		Event{Kind: Retest, Slot: &Slot{Board: 2, Way: 1}},
		Event{Kind: Prepared, Board: 1, Step: "proved dead", Answer: TakenBack},
	)
	if _, ok := s.Answered(1, "proved dead"); ok {
		t.Error("an answer that was taken back stands")
	}
	if a, ok := s.Answered(2, "proved dead"); !ok || a.Board != 2 || a.How != Limitation {
		t.Errorf("the other board's answer: %+v", a)
	}
	for sl, want := range map[Slot]bool{*slot(1, reading.LNE, 0): true, *two(1, reading.LNE): false, *two(0, reading.LNE): true, *slot(1, reading.Polarity, 0): true} {
		if _, ok := s.Latest(sl); ok != want {
			t.Errorf("%+v stands: %v", sl, ok)
		}
	}
	if _, ok := s.LeftOut(*two(1, reading.R1R2)); ok {
		t.Error("a waiver outlives the work on its way")
	}
	// The board itself is tested again without its ways.
	s, err := s.Apply(Event{ID: s.LastID + 1, At: s.LastAt, Kind: Retest, Slot: &Slot{Board: 2}})
	if err != nil {
		t.Fatal(err)
	}
	for sl, want := range map[Slot]bool{*slot(1, reading.LNE, 0): true, *two(0, reading.LNE): false, *slot(1, reading.Polarity, 0): true} {
		if _, ok := s.Latest(sl); ok != want {
			t.Errorf("after the board was tested again, %+v stands: %v", sl, ok)
		}
	}
	if _, ok := s.LeftOut(*slot(1, reading.LN, 0)); !ok {
		t.Error("work on board 2 ended what was left out on board 1")
	}
}

// The board in hand is at first the one that is tested first.
func TestFirstBoardInHand(t *testing.T) {
	j := job()
	j.Boards[0].Supply.OnlyIsolated = true
	if s := fold(t, Event{Kind: Opened, Job: j}); s.Board != 2 {
		t.Errorf("board %d is in hand", s.Board)
	}
}

// In the second habit a reading that passes is stored when the next one begins,
// and the same bound may be given for several ways; both are known for what they
// are.
func TestImplied(t *testing.T) {
	habit := opened()
	habit.Habit = Agreed
	ways := proposed(slot(1, reading.LNE, 0), ">999", 0)
	ways.Then = []Further{{Slot: *slot(2, reading.LNE, 1), Quantity: *ways.Quantity, Verdict: *ways.Verdict}}
	ways.Doubted = true
	s := fold(t, habit, proposed(slot(1, reading.LN, 0), "200", 0), Event{Kind: Confirmed, Answer: Accepted}, ways, Event{Kind: Confirmed})
	buttons := proposed(slot(1, reading.RCDButton, 0), "1", 0)
	buttons.Quantity = &reading.Quantity{Value: 1, Bound: reading.Exactly}
	buttons.Then = []Further{{Slot: *slot(2, reading.RCDButton, 0), Quantity: *buttons.Quantity, Verdict: *buttons.Verdict}}
	if s := fold(t, opened(), buttons, Event{Kind: Confirmed}); len(s.Readings) != 2 {
		t.Errorf("two test buttons give %+v", s.Readings)
	}
	if len(s.Readings) != 3 || !s.Readings[0].Implied || s.Readings[1].Implied || s.Readings[2].Slot.Way != 2 || !s.Readings[2].Doubted {
		t.Errorf("%+v", s.Readings)
	}
	ohms, good := reading.Quantity{Value: 0.1, Places: 1, Bound: reading.Exactly, Unit: reading.Ohm}, check.Verdict{Result: check.Pass}
	s = fold(t, opened(), Event{Kind: Prepared, Board: 1, Step: "leads joined", Answer: Done, Quantity: &ohms, Verdict: &good})
	if a, ok := s.Answered(1, "leads joined"); !ok || a.Quantity != ohms || a.Verdict.Result != check.Pass {
		t.Errorf("%+v", a)
	}
}

// anyEvent draws an event that may or may not be possible.
func anyEvent(t *rapid.T) Event {
	s := rapid.SampledFrom([]*Slot{slot(1, reading.LNE, 0), slot(1, reading.LN, 0), slot(2, reading.LNE, 1), slot(2, reading.LNE, 2), slot(3, reading.LNE, 0), {Board: 2, Way: 1, Test: reading.LNE}, {Board: 2, Test: reading.LNE}, nil}).Draw(t, "slot")
	about := rapid.Int64Range(0, 20).Draw(t, "about")
	kind := rapid.SampledFrom([]Kind{Opened, Heard, Tapped, Said, Prepared, Proposed, Proposed, Confirmed, Confirmed, Dropped, Withdrawn, Skipped, Moved, Retest, Paused, CarriedOn, Finished, Edited, Settled, Signed}).Draw(t, "kind")
	switch kind {
	case Opened:
		return opened()
	case Proposed:
		if rapid.IntRange(0, 3).Draw(t, "breath") == 0 {
			return breath(rapid.SampledFrom([]string{"0.31", "0.4"}).Draw(t, "r1"), "0.31", "0.52")
		}
		return proposed(s, rapid.SampledFrom([]string{"200", ">999", "0.4"}).Draw(t, "value"), 1)
	}
	switch kind {
	case Edited:
		return edited(s, rapid.SampledFrom([]string{"200", ">999", "0.4"}).Draw(t, "value"), about)
	case Settled:
		return settled(s, about)
	case Signed:
		return signed()
	case Withdrawn, Dropped, Finished:
		if rapid.Bool().Draw(t, "review") {
			return Event{Kind: kind, Slot: s, By: "CD", Reason: "r", Replaces: about}
		}
	}
	return Event{Kind: kind, Board: rapid.IntRange(0, 2).Draw(t, "board"), Slot: s, Text: "t", Step: rapid.SampledFrom([]string{"a", "b"}).Draw(t, "step"),
		Answer: rapid.SampledFrom([]How{Done, Limitation, NotMade, TakenBack, Waived}).Draw(t, "answer")}
}

// Whatever happens: a state is never changed by the next event, no reading
// disappears or changes its value, at most one stands in each slot, every
// confirmed reading was proposed, and the log read back from its stored form
// gives the same state.
func TestStateProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var s State
		var written []Event
		var confirmed []Proposal
		for range rapid.IntRange(1, 60).Draw(t, "n") {
			e := anyEvent(t)
			e.ID, e.At = s.LastID+1, start
			if e.ofReview() && e.Slot != nil && rapid.IntRange(0, 3).Draw(t, "knows") > 0 {
				r, _ := s.Latest(*e.Slot)
				e.Replaces = r.ConfirmedID
			}
			before, _ := json.Marshal(s)
			next, err := s.Apply(e)
			if after, _ := json.Marshal(s); string(after) != string(before) {
				t.Fatalf("%s changed the state before it\n%s\n%s", e.Kind, before, after)
			}
			if err != nil {
				if next.LastID != s.LastID {
					t.Fatalf("refused %s moved the state", e.Kind)
				}
				continue
			}
			switch e.Kind {
			case Confirmed:
				confirmed = append(confirmed, s.Pending.Each()...)
			case Edited:
				confirmed = append(confirmed, Proposal{Slot: *e.Slot, Quantity: *e.Quantity, Verdict: *e.Verdict, EventID: e.ID, HeardID: e.HeardID, At: e.At})
			}
			if e.ofReview() && (next.Board != s.Board || next.Way != s.Way || !cmp.Equal(next.Pending, s.Pending) && e.Kind != Dropped) {
				t.Fatalf("a review moved the session: %+v to %+v", s, next)
			}
			if next.Signed != nil && e.Kind != Signed && e.Kind != Heard && e.Kind != Tapped && e.Kind != Said {
				t.Fatalf("signed off after %s", e.Kind)
			}
			for _, x := range next.Settlements {
				r, ok := next.Latest(x.Slot)
				if x.Ended == 0 && (ok && r.ConfirmedID != x.Of || !ok && x.Of != 0) {
					t.Fatalf("settled is another reading than stands: %+v, %+v", x, r)
				}
			}
			written, s = append(written, e), next
			if len(s.Readings) != len(confirmed) {
				t.Fatalf("%d readings of %d confirmed", len(s.Readings), len(confirmed))
			}
			standing := map[Slot]bool{}
			for i, r := range s.Readings {
				if !cmp.Equal(r.Proposal, confirmed[i]) {
					t.Fatalf("reading %d changed: %+v, was %+v", i, r.Proposal, confirmed[i])
				}
				if r.Standing == Stands && standing[r.Slot] || (r.Standing == Stands) != (r.Ended == 0) {
					t.Fatalf("standings are wrong: %+v", s.Readings)
				}
				standing[r.Slot] = standing[r.Slot] || r.Standing == Stands
			}
		}
		data, err := json.Marshal(written)
		if err != nil {
			t.Fatal(err)
		}
		var back []Event
		if err := json.Unmarshal(data, &back); err != nil {
			t.Fatal(err)
		}
		again, err := Fold(back)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(s, again); diff != "" {
			t.Fatal(diff)
		}
		// What was folded is shared by all that goes on from it.
		e := anyEvent(t)
		e.ID, e.At = again.LastID+1, start
		one, err := again.Apply(e)
		kept, _ := json.Marshal(one)
		for range 3 {
			other := anyEvent(t)
			other.ID, other.At = again.LastID+1, start
			again.Apply(other)
			one.Apply(Event{ID: one.LastID + 1, At: start, Kind: Retest, Slot: &Slot{Board: 1, Way: 1}})
		}
		if now, _ := json.Marshal(one); err == nil && string(now) != string(kept) {
			t.Fatalf("a state changed by what another became\n%s\n%s", kept, now)
		}
		if diff := cmp.Diff(s, again); diff != "" {
			t.Fatal(diff)
		}
	})
}

func FuzzFold(f *testing.F) {
	data, _ := json.Marshal(log(opened(), proposed(slot(1, reading.LNE, 0), "200", 0), Event{Kind: Confirmed}))
	f.Add(data)
	data, _ = json.Marshal(log(opened(), proposed(slot(1, reading.LNE, 0), "200", 0), Event{Kind: Confirmed}, edited(slot(1, reading.LNE, 0), "1", 3), settled(slot(1, reading.LNE, 0), 4), signed()))
	f.Add(data)
	f.Fuzz(func(t *testing.T, data []byte) {
		var events []Event
		if json.Unmarshal(data, &events) != nil {
			return
		}
		s, err := Fold(events)
		if err != nil && !strings.HasPrefix(err.Error(), "event ") {
			t.Fatalf("error %v names no event", err)
		}
		for _, r := range s.Readings {
			if r.Quantity.Check() != nil {
				t.Fatalf("an impossible quantity stands: %+v", r)
			}
		}
	})
}

// What passed before work went on says nothing about pace, so it is known where
// that was.
func TestResumed(t *testing.T) {
	s := fold(t, opened(), Event{Kind: Paused}, Event{Kind: CarriedOn}, Event{Kind: Moved, Slot: slot(1, reading.LNE, 0)}, Event{Kind: CarriedOn}, opened(), Event{Kind: Finished}, opened())
	if diff := cmp.Diff([]int64{3, 6, 8}, s.Resumed); diff != "" {
		t.Error(diff)
	}
}

// The board in hand at first is one that is not fed from another that is tested.
func TestFirstBoardFeedsOthers(t *testing.T) {
	j := job()
	j.Boards[0].Supply = board.Supply{From: 2, FromWay: 1}
	if s := fold(t, Event{Kind: Opened, Job: j}); s.Board != 2 {
		t.Errorf("board %d is in hand", s.Board)
	}
}

// 5,000 readings on 400 places, each taking the place of one before.
func BenchmarkFold(b *testing.B) {
	j := job()
	j.Boards = nil
	for n := range 4 {
		one := board.Board{Number: n + 1, Voltage: 230}
		for way := range 99 {
			one.Ways = append(one.Ways, board.Way{Number: way + 1})
		}
		j.Boards = append(j.Boards, one)
	}
	events := []Event{{Kind: Opened, Job: j}}
	for i := range 5000 {
		events = append(events, Event{Kind: Heard, Phrase: &Phrase{}}, proposed(&Slot{Board: i/99%4 + 1, Way: i%99 + 1, Test: reading.LNE}, "200", 0), Event{Kind: Confirmed})
	}
	log(events...)
	for b.Loop() {
		if _, err := Fold(events); err != nil {
			b.Fatal(err)
		}
	}
}
