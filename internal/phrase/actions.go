package phrase

import (
	"fmt"
	"strconv"
	"strings"

	"waycall/internal/reading"
)

// The tags of the grammar are small actions, carried out in the order in which
// the phrase passes them. Numbers are built in a register and then moved to
// the way or to the value:
//
//	+ N          add N                            (twenty {+ 20})
//	hundred      multiply what was added by 100
//	thousand     multiply what was added by 1000
//	d N          append the digit N
//	twice        the next digit is said for two
//	thrice       the next digit is said for three
//	point        digits from here on are decimal places
//	way          the number that follows is a way
//	to way       it ends here
//	last         the number that follows is the last of several ways
//	to last      it ends here
//	board        the number that follows is a board
//	to board     it ends here
//	then         what follows is a further reading of the same way
//	to value     the number ends here and is the value
//	bound B      = > or <
//	over range   beyond the end of the instrument's scale
//	test T       an identity of package reading
//	unit U       a unit of package reading
//	say C        a Command
//	reason R     why something is skipped
//	code C       a classification code

// checkTag reports whether t is one of the actions above.
func checkTag(t string) error {
	verb, arg, _ := strings.Cut(t, " ")
	switch verb {
	case "+", "d":
		if n, err := strconv.Atoi(arg); err == nil && n >= 0 && n <= 99 {
			return nil
		}
		return fmt.Errorf("tag {%s} needs a number from 0 to 99", t)
	case "hundred", "thousand", "twice", "thrice", "point", "way", "last", "board", "then":
		if arg == "" {
			return nil
		}
	case "to":
		if arg == "way" || arg == "last" || arg == "board" || arg == "value" {
			return nil
		}
	case "over":
		if arg == "range" {
			return nil
		}
	case "bound":
		if arg == "=" || arg == ">" || arg == "<" {
			return nil
		}
	case "test":
		if _, err := reading.ParseTest(arg); err == nil {
			return nil
		}
	case "unit":
		switch reading.Unit(arg) {
		case reading.Megohm, reading.Ohm, reading.Millisec, reading.Kiloamp, reading.Milliamp:
			return nil
		}
	case "say", "reason", "code":
		if arg != "" {
			return nil
		}
	}
	return fmt.Errorf("tag {%s} is not an action; see internal/phrase/actions.go for the list", t)
}

// machine carries out the actions of one phrase.
type machine struct {
	m         Meaning
	thousands int
	n         int
	decimals  string
	point     bool
	times     int
	then      int // how many further readings have begun
}

// reading returns where the test and the quantity now go.
func (x *machine) reading() (*reading.Test, *reading.Quantity) {
	if x.then == 0 {
		return &x.m.Test, &x.m.Quantity
	}
	p := &x.m.Then[x.then-1]
	return &p.Test, &p.Quantity
}

func (x *machine) do(tags []tag) {
	for _, t := range tags {
		verb, arg, _ := strings.Cut(string(t), " ")
		switch verb {
		case "+":
			k, _ := strconv.Atoi(arg)
			x.n += k
		case "d":
			for range max(1, x.times) {
				if x.point {
					x.decimals += arg
				} else {
					k, _ := strconv.Atoi(arg)
					x.n = x.n*10 + k
				}
			}
			x.times = 0
		case "hundred":
			x.n *= 100
		case "thousand":
			x.thousands, x.n = x.n*1000, 0
		case "twice":
			x.times = 2
		case "thrice":
			x.times = 3
		case "point":
			x.point = true
		case "to":
			switch arg {
			case "way":
				x.m.Way = x.thousands + x.n
			case "last":
				x.m.Last = x.thousands + x.n
			case "board":
				x.m.Board = x.thousands + x.n
			default:
				x.value()
			}
			x.thousands, x.n, x.decimals, x.point = 0, 0, "", false
		case "bound":
			_, q := x.reading()
			q.Bound = reading.Bound(arg)
		case "then":
			x.then = min(x.then+1, len(x.m.Then))
		case "over":
			x.m.OverRange = true
		case "test":
			t, _ := x.reading()
			*t = reading.Test(arg)
		case "unit":
			x.m.Quantity.Unit = reading.Unit(arg)
		case "say":
			x.m.Command = Command(arg)
		case "reason":
			x.m.Reason = arg
		case "code":
			x.m.Code = arg
		}
	}
}

func (x *machine) value() {
	text := strconv.Itoa(x.thousands + x.n)
	if x.point {
		text += "." + x.decimals
	}
	_, q := x.reading()
	// A bound is said before its number, a unit after it.
	if q.Bound == "" {
		q.Bound = reading.Exactly
	}
	q.Value, _ = strconv.ParseFloat(text, 64)
	q.Places = len(x.decimals)
}

// meaning returns what the phrase said once it has ended.
func (x *machine) meaning() Meaning {
	if x.m.Test != "" {
		x.m.Quantity.Unit = x.m.Test.Unit()
	}
	for i := range x.m.Then {
		if p := &x.m.Then[i]; p.Test != "" {
			p.Quantity.Unit = p.Test.Unit()
		}
	}
	return x.m
}
