package report

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/review"
)

// reviewed is the workshop after a review: one reading corrected, one taken off
// and another put in its place, doubts let stand, what is missing let be missing,
// and all of it signed off.
func reviewed(t testing.TB) record.State {
	t.Helper()
	s := draftReview(t)
	w := &work{t: t, s: s}
	for i := 0; ; i++ {
		q := review.Queue(w.s, nil)
		if len(q) == 0 {
			break
		}
		if q[0].Kind == review.Unfinished {
			w.all(review.Finish(w.s, "CD", nine))
			continue
		}
		reason := "as found, the client knows"
		if q[0].Kind == review.Missing || q[0].Kind == review.LeftOut {
			reason = fmt.Sprintf("not to be had on visit %d", 1+i%2)
		}
		w.all(review.Settle(w.s, review.Change{Slot: q[0].Slot, Replaces: q[0].Of(), Reason: reason, By: "CD", At: nine}))
	}
	w.all(review.SignOff(w.s, nil, review.Signature{Name: "Carys Dummy-Example", By: "CD", Sum: someSum, At: nine}))
	return w.s
}

// draftReview is the workshop in the midst of a review.
func draftReview(t testing.TB) record.State {
	t.Helper()
	w := &work{t: t, s: workshop(t)}
	change := func(board, way int, test reading.Test, text, reason string) review.Change {
		c := review.Change{Slot: record.Slot{Board: board, Way: way, Test: test}, Reason: reason, By: "CD", At: nine}
		if r, ok := w.s.Latest(c.Slot); ok {
			c.Replaces = r.ConfirmedID
		}
		if text != "" {
			q, err := reading.ParseQuantity(text, test.Unit())
			if err != nil {
				t.Fatal(err)
			}
			c.Quantity = q
		}
		return c
	}
	w.all(review.Edit(w.s, change(2, 5, reading.Polarity, "correct", "a lead was on the wrong terminal, read again")))
	w.all(review.Withdraw(w.s, change(3, 2, reading.R1R2, "", "the point slipped")))
	w.all(review.Edit(w.s, change(3, 2, reading.R1R2, "0.74", "from the instrument's own memory")))
	w.all(review.Edit(w.s, change(3, 2, reading.R1R2, "0.75", "misread from it")))
	return w.s
}

func (w *work) all(events []record.Event, err error) {
	w.t.Helper()
	if err != nil {
		w.t.Fatal(err)
	}
	for _, e := range events {
		w.do(e)
	}
}

// observed gives a schedule observations and a note.
func observed(s Schedule) Schedule {
	s.Observations = []Observation{
		{Board: 2, Way: 0, Code: "C2", Text: "A blank is missing at way 9.", At: nine, Event: 12, Heard: 11},
		{Board: 3, Way: 1, Code: "FI", Text: "=The neutral runs warm", At: nine.Add(time.Minute), Event: 14},
	}
	s.Notes = []Note{{Board: 2, Way: 3, Text: "+The socket behind the dresser was not reached", At: nine, Event: 18, Heard: 17}}
	return s
}

// What a review did is said of each reading: what it was, what it is, why and by
// whom; and a result is never better for it.
func TestReviewedSchedule(t *testing.T) {
	s := Build(reviewed(t))
	if s.Signed == nil || s.Signed.Name != "Carys Dummy-Example" || s.Signed.Sum != someSum || len(s.ToDo) != 0 || !s.Record.Complete {
		t.Errorf("%+v, left to do %q", s.Signed, s.ToDo)
	}
	line := func(board, way int) Line {
		for _, l := range s.Lines {
			if l.Board == board && l.Way == way {
				return l
			}
		}
		t.Fatal("no line")
		return Line{}
	}
	for _, c := range []struct {
		board, way int
		remark     string
	}{
		{2, 5, "polarity: wrong, fail, was corrected to correct by CD in review. A lead was on the wrong terminal, read again."},
		{3, 2, "was taken off by CD in review. The point slipped."},
		{3, 2, "R1+R2: 0.74 ohm, pass, was corrected to 0.75 ohm by CD in review. Misread from it."},
	} {
		if l := line(c.board, c.way); !slices.ContainsFunc(l.Remarks, func(r string) bool { return strings.Contains(r, c.remark) }) {
			t.Errorf("board %d, way %d: %q is not in %q", c.board, c.way, c.remark, l.Remarks)
		}
	}
	// What failed and was let stand fails.
	l := line(2, 3)
	rn := l.cell(reading.RingRn)
	if rn == nil || rn.Result != "fail" || rn.Settled == nil || rn.Settled.By != "CD" || l.outcome() != "fail" || !strings.Contains(strings.Join(l.Remarks, " "), "rn: looked at by CD, who lets it stand: As found, the client knows.") {
		t.Errorf("%+v, %q", rn, l.Remarks)
	}
	missing := 0
	for _, l := range s.Lines {
		for _, c := range l.Cells {
			if c.Status == ToDo || c.Status == Waiting {
				t.Errorf("board %d, way %d, %s is %s", l.Board, l.Way, c.Test, c.Status)
			}
			if c.Status == Accepted {
				missing++
				if c.text() != "missing" || c.Reason == "" || c.Settled == nil || l.outcome() == "pass" {
					t.Errorf("%+v: %s", c, l.outcome())
				}
			}
		}
	}
	if missing == 0 {
		t.Error("nothing is missing, so nothing was tested")
	}
	var got []string
	for _, c := range s.corrections() {
		got = append(got, fmt.Sprintf("%d/%d %s: %q to %q, %s, %q by %s", c.Board, c.Way, c.Test, c.From, c.To, c.What, c.Why, c.By))
	}
	for _, want := range []string{
		`2/5 polarity: "wrong" to "correct", corrected, "a lead was on the wrong terminal, read again" by CD`,
		`3/2 R1+R2: "" to "0.74 ohm", added, "from the instrument's own memory" by CD`,
		`3/2 R1+R2: "0.74 ohm" to "0.75 ohm", corrected, "misread from it" by CD`,
	} {
		if !slices.Contains(got, want) {
			t.Errorf("%s is not in\n%s", want, strings.Join(got, "\n"))
		}
	}
}

// Any later fact makes the schedule a draft again, in every form.
func TestDraftAgain(t *testing.T) {
	w := &work{t: t, s: reviewed(t)}
	forms := func() map[string]string {
		s := Build(w.s)
		return map[string]string{"text": write(t, s.Text), "csv": write(t, s.CSV), "json": write(t, s.JSON)}
	}
	for name, out := range forms() {
		if !strings.Contains(out, "Carys Dummy-Example") || !strings.Contains(out, someSum) || strings.Contains(strings.ToLower(out), "not signed") {
			t.Errorf("%s does not say who signed: %.300s", name, out)
		}
	}
	w.do(record.Event{Kind: record.Opened, Job: &w.s.Job})
	for name, out := range forms() {
		if strings.Contains(out, "Carys") {
			t.Errorf("%s is signed after work went on", name)
		}
	}
}

func TestObservations(t *testing.T) {
	s := observed(Build(workshop(t)))
	text := strings.Join(strings.Fields(write(t, s.Text)), " ")
	for _, want := range []string{"- Board 2, the board itself, C2: A blank is missing at way 9. (09:00 UTC)", "- Board 2, way 3: +The socket behind the dresser was not reached (09:00 UTC)", "- Board 3, way 1, FI: =The neutral runs warm", "C1: Danger present"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in the text", want)
		}
	}
	if out := write(t, s.CSV); !strings.Contains(out, "observation,") || !strings.Contains(out, ",FI,") || !strings.Contains(out, "'=The neutral") || !strings.Contains(out, "note,") || !strings.Contains(out, "'+The socket") {
		t.Error("they are not in the CSV as they should be")
	}
}
