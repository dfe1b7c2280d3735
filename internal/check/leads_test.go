package check

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"waycall/internal/limits"
	"waycall/internal/reading"
)

func TestLeads(t *testing.T) {
	for _, c := range []struct {
		judge func(reading.Quantity) Verdict
		unit  reading.Unit
		value string
		want  Result
		words string
	}{
		{LeadsJoined, reading.Ohm, "0", Pass, "nought point five ohms"},
		{LeadsJoined, reading.Ohm, "0.5", Pass, ""},
		{LeadsJoined, reading.Ohm, "<0.1", Pass, ""},
		{LeadsJoined, reading.Ohm, "0.51", Investigate, "More than the nought point five ohms"},
		{LeadsJoined, reading.Ohm, "5", Investigate, ""},
		{LeadsJoined, reading.Ohm, "<1", Investigate, ""},
		{LeadsJoined, reading.Ohm, ">0.2", CannotSay, "leaves open"},
		{LeadsJoined, reading.Ohm, "5.1", Fail, "not joined"},
		{LeadsJoined, reading.Ohm, ">5", Fail, ""},
		{LeadsJoined, reading.Ohm, ">1999", Fail, ""},
		{LeadsApart, reading.Megohm, ">999", Pass, ""},
		{LeadsApart, reading.Megohm, ">99", Pass, ""},
		{LeadsApart, reading.Megohm, "99", Pass, ""},
		{LeadsApart, reading.Megohm, "98.9", Investigate, "ninety nine megohms"},
		{LeadsApart, reading.Megohm, ">50", Investigate, ""},
		{LeadsApart, reading.Megohm, "1", Investigate, ""},
		{LeadsApart, reading.Megohm, "<2", Investigate, ""},
		{LeadsApart, reading.Megohm, "<1", Fail, ""},
		{LeadsApart, reading.Megohm, "0.99", Fail, "touch"},
		{LeadsApart, reading.Megohm, "0", Fail, ""},
	} {
		q, err := reading.ParseQuantity(c.value, c.unit)
		if err != nil {
			t.Fatal(err)
		}
		v := c.judge(q)
		if v.Result != c.want || !strings.Contains(v.Reason, c.words) || v.Source != limits.Practice || (v.Next == "") != (v.Result == Pass) {
			t.Errorf("%s: %+v, want %s", q, v, c.want)
		}
	}
}

// Worse leads are never judged better.
func TestLeadsAreInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0, 2000).Draw(t, "a")
		b := rapid.Float64Range(a, 2000).Draw(t, "b")
		q := func(x float64) reading.Quantity { return reading.Quantity{Value: x, Bound: reading.Exactly} }
		if LeadsJoined(q(a)).Result.Severity() > LeadsJoined(q(b)).Result.Severity() {
			t.Fatalf("joined: %v is worse than %v", a, b)
		}
		if LeadsApart(q(b)).Result.Severity() > LeadsApart(q(a)).Result.Severity() {
			t.Fatalf("apart: %v is worse than %v", b, a)
		}
	})
}
