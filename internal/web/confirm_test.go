package web

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/web/scale"
)

var hiddenField = regexp.MustCompile(`<input type="hidden" name="([a-z]+)" value="([^"]*)">`)

// correct sends a correction and confirms what is shown of it, as a person does.
func (c *client) correct(job string, form url.Values) (int, string) {
	c.t.Helper()
	code, page := c.post(job+"/edit", form)
	if code != http.StatusOK {
		return code, page
	}
	return c.post(job+"/edit", shownForm(page))
}

// shownForm is the form that confirms a figure which is shown.
func shownForm(page string) url.Values {
	again := url.Values{}
	_, page, _ = strings.Cut(page, `data-confirm`)
	page, _, _ = strings.Cut(page, "</form>")
	for _, m := range hiddenField.FindAllStringSubmatch(page, -1) {
		again.Set(m[1], html.UnescapeString(m[2]))
	}
	return again
}

// A figure that may be meant in two ways is not stored, and the page says what to type.
func TestAmbiguousFigures(t *testing.T) {
	c, job, _ := reviewSmall(t)
	old, _ := snapshot(c, job).State.Latest(zs)
	before := events(c, job)
	for figure, want := range map[string]string{
		"1,000": "type 1000 or 1.000", "0,46": "type 0.46", "2 10": "type 210 or 2.10", "1.000.0": "one point only", ">0": "says nothing",
		"１": "digits 0 to 9", "1e3": "digits 0 to 9", "OL": "where the scale ends is not known", "470 mΩ": "type the figure in ohm", ".46": "type the nought",
	} {
		for range 2 { // nor is it when it is sent again
			code, page := c.post(job+"/edit", formFor(zs, old.ConfirmedID, "value", figure))
			if code != http.StatusUnprocessableEntity || !strings.Contains(strings.ToLower(text(page)), strings.ToLower(want)) {
				t.Errorf("%q: %d, %s; want %s", figure, code, text(page), want)
			}
		}
	}
	if n := events(c, job); n != before {
		t.Errorf("%d events were stored", n-before)
	}
}

// A figure is shown as it was read, with its verdict and limit, before it is stored.
func TestFigureIsShownFirst(t *testing.T) {
	c, job, _ := reviewSmall(t)
	old, _ := snapshot(c, job).State.Latest(zs)
	before := events(c, job)
	code, page := c.post(job+"/edit", formFor(zs, old.ConfirmedID, "value", " 0.460 Ω", "n", "1"))
	if code != http.StatusOK || events(c, job) != before {
		t.Fatalf("%d, %d events more: %s", code, events(c, job)-before, text(page))
	}
	for _, want := range []string{"Nothing is stored yet", "0.460 Ω", "nought point four six nought ohms", "Pass", "at most, cold", "4.60 Ω"} {
		if !strings.Contains(page, want) && !strings.Contains(text(page), want) {
			t.Errorf("the page does not say %q: %s", want, text(page))
		}
	}
	confirm := shownForm(page)
	// What was confirmed is what is stored: another figure in its place is shown anew.
	other := url.Values{}
	for k, v := range confirm {
		other[k] = v
	}
	other.Set("value", "4.61")
	if code, page := c.post(job+"/edit", other); code != http.StatusOK || events(c, job) != before || !strings.Contains(text(page), "4.61 Ω") {
		t.Errorf("another figure: %d: %s", code, text(page))
	}
	a := c.do(c.request("POST", job+"/edit", confirm))
	if a.Code != http.StatusSeeOther || events(c, job) != before+1 {
		t.Fatalf("confirming gave %d: %s", a.Code, text(a.Body.String()))
	}
	now, _ := snapshot(c, job).State.Latest(zs)
	if now.Quantity.String() != "0.460 ohm" || now.By != "QX" {
		t.Errorf("there is %v now", now)
	}
	// The next page says what was done.
	if page := text(c.get(a.Header().Get("Location"))); !strings.Contains(page, "Stored: way 2, Zs 0.460 Ω, pass. It takes the place of 4.60 Ω.") {
		t.Errorf("it is not said: %s", page)
	}
	if page := text(c.get(job + "/queue?stored=4")); strings.Contains(page, "Stored:") {
		t.Errorf("an event that no reviewer made is said to be stored: %s", page)
	}
}

// What became of the record since the figure was shown is shown before it is stored.
func TestVerdictChangesMeanwhile(t *testing.T) {
	c, job, _ := reviewSmall(t)
	r1r2 := record.Slot{Board: 1, Way: 2, Test: reading.R1R2}
	old, _ := snapshot(c, job).State.Latest(zs)
	_, page := c.post(job+"/edit", formFor(zs, old.ConfirmedID, "value", "0.90"))
	if !strings.Contains(text(page), "Investigate") {
		t.Errorf("it is not odd at first: %s", text(page))
	}
	confirm := shownForm(page)
	r, _ := snapshot(c, job).State.Latest(r1r2)
	if code, page := c.correct(job, formFor(r1r2, r.ConfirmedID, "value", "0.55")); code != http.StatusSeeOther {
		t.Fatalf("correcting R1+R2 gave %d: %s", code, text(page))
	}
	before := events(c, job)
	code, page := c.post(job+"/edit", confirm)
	if code != http.StatusOK || events(c, job) != before || !strings.Contains(text(page), "verdict has changed") {
		t.Errorf("%d: %s", code, text(page))
	}
	if code, _ := c.post(job+"/edit", shownForm(page)); code != http.StatusSeeOther || events(c, job) != before+1 {
		t.Errorf("confirming it anew gave %d", code)
	}
}

// Over range is a figure only where the end of the scale is known, which the job says
// of 500 V.
func TestOverRangeTyped(t *testing.T) {
	c, job, _ := office(t)
	slot := record.Slot{Board: 2, Way: 3, Test: reading.LNE, Position: 0}
	s := snapshot(c, job)
	r, ok := s.State.Latest(slot)
	if !ok {
		for at := range s.Latest() {
			if at.Test.Insulation() && s.placeView(at).Volts == 500 {
				slot, r = at, s.Latest()[at]
			}
		}
	}
	code, page := c.post(job+"/edit", formFor(slot, r.ConfirmedID, "value", "over range"))
	if code != http.StatusOK || !strings.Contains(text(page), "&gt;"+scale.Figure(s.State.Job.Instrument.OverRange)+" MΩ") {
		t.Errorf("%v: %d: %s", slot, code, text(page))
	}
}

// What the signer is shown and ticks is what the record keeps.
func TestWhatIsSignedIsKept(t *testing.T) {
	c, job, _ := reviewSmall(t)
	old, _ := snapshot(c, job).State.Latest(zs)
	if code, page := c.correct(job, formFor(zs, old.ConfirmedID, "value", "4.70")); code != http.StatusSeeOther {
		t.Fatalf("%d: %s", code, text(page))
	}
	for range snapshot(c, job).Queue() {
		it := snapshot(c, job).Queue()[0]
		c.post(job+"/settle", formFor(it.Slot, it.Of(), "reason", "Seen on site"))
	}
	page := text(c.get(job + "/sign"))
	code, answer := c.post(job+"/sign", url.Values{"name": {"A. Reviewer"}, "by": {"ar"}, "agree": {"yes"}, "sum": {snapshot(c, job).Head}})
	if code != http.StatusSeeOther {
		t.Fatalf("%d: %s", code, text(answer))
	}
	kept := snapshot(c, job).State.Signed.Statement
	if !strings.Contains(kept, "Fails and stands:\n- board 1, way 2, Zs: 4.70 ohm; let stand by QX: Seen on site") || !strings.Contains(kept, "4.60 ohm, replaced by QX") {
		t.Errorf("kept is %s", kept)
	}
	for line := range strings.SplitSeq(kept, "\n") {
		if line = strings.TrimSuffix(strings.TrimPrefix(line, "- "), ":"); !strings.Contains(html.UnescapeString(page), line) {
			t.Errorf("the signer was not shown %q: %s", line, page)
		}
	}
}

// A way of a limited job passes in what was asked for, and the page says no more.
func TestLimitedPass(t *testing.T) {
	c, job, _ := reviewSmall(t) // continuity and live
	page := text(c.get(job))
	if !strings.Contains(page, "Continuity, live: pass 1 way") {
		t.Errorf("the boards say %s", page)
	}
	if mark := passOf(""); mark.Word != "Pass" {
		t.Errorf("a whole job says %q", mark.Word)
	}
}
