package newjob

import "testing"

// What is typed at set-up is read by the rule of reading.ParseFigure.
func TestFigureIsStrict(t *testing.T) {
	for _, text := range []string{"1,000", "2 10", "1.0.0", ".5", "5.", "007", "1e3", "", "-1", "１"} {
		if x, err := figure(text); err == nil {
			t.Errorf("%q is taken for %v", text, x)
		}
	}
	if x, err := figure(" 2.5 "); err != nil || x != 2.5 {
		t.Error(x, err)
	}
}
