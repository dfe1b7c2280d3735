package limits

import (
	"testing"

	"pgregory.net/rapid"
)

func TestWholeBoardProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ways := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Interval { return intervals(t, "way") }), 1, 8).Draw(t, "ways")
		whole := WholeBoard(ways)
		if other := WholeBoard(rapid.Permutation(ways).Draw(t, "order")); other != whole {
			t.Fatalf("%v in another order gives %v, not %v", ways, other, whole)
		}
		if more := WholeBoard(append(ways[:len(ways):len(ways)], intervals(t, "more"))); more.High > whole.High*(1+1e-12) {
			t.Fatalf("one more way raised %v to %v", whole, more)
		}
		if len(ways) > 1 && ways[0].Low > 0 {
			rest := WholeBoard(ways[1:])
			if r := Rest(whole, ways[0]); r.Low > rest.High || r.High < rest.Low {
				t.Fatalf("rest of %v without %v is %v, not about %v", whole, ways[0], r, rest)
			}
		}
	})
}
