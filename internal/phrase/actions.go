package phrase

import (
	"fmt"
	"strconv"
	"strings"

	"waycall/internal/reading"
	"waycall/internal/waymark"
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
//	pair         two figures more follow, which are said as one number
//	half         a half is added
//	near         the number, or the command, might have been meant otherwise
//	sure         it was said so that it might not
//	more         it is that or more, unless a bound was said
//	kilo         the value was said in thousands of its unit
//	milli        the value was said in thousandths of its unit
//	way          the number that follows is a way
//	on line      what follows is the line of the way, which exists so marked
//	line N       the way is line N of the place just said
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
//	service S    what a bonding conductor goes to
//	named W      a board, by a word of its name
//	due T        said only where that test is due
//	judged       said only where a test answered by right or wrong is due
//	in U         a unit, that the words imply; unlike unit, it is behind no word of its own
//	unit U       a unit of package reading
//	say C        a Command
//	reason R     why something is skipped
//	code C       a classification code

// verb is what an action does.
type verb int

const (
	doAdd verb = iota
	doHundred
	doThousand
	doDigit
	doTwice
	doThrice
	doPoint
	doWay
	doLast
	doBoard
	doThen
	doOnLine
	doLine
	doPair
	doHalf
	doNear
	doSure
	doMore
	doKilo
	doMilli
	doService
	doNamed
	doDue
	doJudged
	doIn
	doToWay
	doToLast
	doToBoard
	doToValue
	doBound
	doOverRange
	doTest
	doUnit
	doSay
	doReason
	doCode
)

// action is a tag of the grammar, parsed.
type action struct {
	verb verb
	n    int    // of add, digit and line
	arg  string // of bound, test, unit, say, reason and code
}

// ends reports whether the action ends a number.
func (a action) ends() bool { return a.verb >= doToWay && a.verb <= doToValue }

// plain are the tags that are always the same.
var plain = map[string]verb{
	"pair": doPair, "half": doHalf, "near": doNear, "sure": doSure, "more": doMore, "kilo": doKilo, "milli": doMilli, "judged": doJudged,
	"hundred": doHundred, "thousand": doThousand, "twice": doTwice, "thrice": doThrice, "point": doPoint,
	"way": doWay, "last": doLast, "board": doBoard, "then": doThen,
	"on line": doOnLine, "to way": doToWay, "to last": doToLast, "to board": doToBoard, "to value": doToValue,
	"over range": doOverRange,
}

// texts are those that any text may follow.
var texts = map[string]verb{"say": doSay, "reason": doReason, "code": doCode, "service": doService, "named": doNamed}

// identified are those that an identity of package reading follows.
var identified = map[string]verb{"test": doTest, "due": doDue, "unit": doUnit, "in": doIn}

// parseAction reads a tag as one of the actions above.
func parseAction(t string) (action, error) {
	if v, ok := plain[t]; ok {
		return action{verb: v}, nil
	}
	name, arg, _ := strings.Cut(t, " ")
	switch name {
	case "+", "d":
		n, err := strconv.Atoi(arg)
		if err != nil || n < 0 || n > 99 {
			return action{}, fmt.Errorf("tag {%s} needs a number from 0 to 99", t)
		}
		if name == "+" {
			return action{verb: doAdd, n: n}, nil
		}
		return action{verb: doDigit, n: n}, nil
	case "line":
		if n, err := strconv.Atoi(arg); err == nil && n >= 1 && n <= waymark.Lines {
			return action{verb: doLine, n: n}, nil
		}
	case "bound":
		if arg == "=" || arg == ">" || arg == "<" {
			return action{verb: doBound, arg: arg}, nil
		}
	case "test", "due":
		if _, err := reading.ParseTest(arg); err == nil {
			return action{verb: identified[name], arg: arg}, nil
		}
	case "unit", "in":
		switch reading.Unit(arg) {
		case reading.Megohm, reading.Ohm, reading.Millisec, reading.Kiloamp, reading.Milliamp:
			return action{verb: identified[name], arg: arg}, nil
		}
	case "say", "reason", "code", "service", "named":
		if arg != "" {
			return action{verb: texts[name], arg: arg}, nil
		}
	}
	return action{}, fmt.Errorf("tag {%s} is not an action; see internal/phrase/actions.go for the list", t)
}

// machine carries out the actions of one phrase.
type machine struct {
	m         Meaning
	thousands int
	n         int
	decimals  string
	point     bool
	sure      bool // nothing else can be meant by the number
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

func (x *machine) do(actions []action) {
	for _, a := range actions {
		switch a.verb {
		case doAdd:
			x.n += a.n
		case doDigit:
			for range max(1, x.times) {
				if x.point {
					x.decimals += strconv.Itoa(a.n)
				} else {
					x.n = x.n*10 + a.n
				}
			}
			x.times = 0
		case doLine:
			x.n = waymark.Of(x.n, a.n)
		case doHundred, doPair:
			x.n *= 100
		case doThousand:
			x.thousands, x.n = x.n*1000, 0
		case doHalf:
			x.point, x.decimals = true, "5"
		case doNear:
			x.m.Near = x.m.Near || !x.sure
		case doSure:
			x.sure = true
		case doMore:
			if _, q := x.reading(); q.Bound == reading.Exactly {
				q.Bound = reading.GreaterThan
			}
		case doKilo, doMilli:
			_, q := x.reading()
			*q = scaled(*q, a.verb == doKilo)
		case doService:
			x.m.Service = a.arg
		case doNamed:
			x.m.Named = a.arg
		case doTwice:
			x.times = 2
		case doThrice:
			x.times = 3
		case doPoint:
			x.point = true
		case doToWay, doToLast, doToBoard, doToValue:
			x.to(a.verb)
		case doBound:
			_, q := x.reading()
			q.Bound = reading.Bound(a.arg)
		case doThen:
			x.then = min(x.then+1, len(x.m.Then))
		case doOverRange:
			x.m.OverRange = true
		case doTest:
			t, _ := x.reading()
			*t = reading.Test(a.arg)
		case doUnit, doIn:
			x.m.Quantity.Unit = reading.Unit(a.arg)
		case doSay:
			x.m.Command = Command(a.arg)
		case doReason:
			x.m.Reason = a.arg
		case doCode:
			x.m.Code = a.arg
		}
	}
}

// to ends a number and moves it to where it belongs.
func (x *machine) to(v verb) {
	switch n := x.thousands + x.n; v {
	case doToWay:
		x.m.Way = n
	case doToLast:
		x.m.Last = n
	case doToBoard:
		x.m.Board = n
	default:
		x.value()
	}
	x.thousands, x.n, x.decimals, x.point, x.sure = 0, 0, "", false, false
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

// scaled is a quantity given in thousands of its unit, or in thousandths.
func scaled(q reading.Quantity, kilo bool) reading.Quantity {
	exponent := "e-3"
	if kilo {
		exponent = "e3"
	}
	q.Value, _ = strconv.ParseFloat(strconv.FormatFloat(q.Value, 'f', -1, 64)+exponent, 64)
	_, places, _ := strings.Cut(strconv.FormatFloat(q.Value, 'f', -1, 64), ".")
	q.Places = len(places)
	return q
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
