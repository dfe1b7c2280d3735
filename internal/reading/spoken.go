package reading

import (
	"strconv"
	"strings"
)

var (
	small = [...]string{"nought", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
		"eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"}
	tens = [...]string{"", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"}
)

// unitWords are the singular and the plural of each unit as spoken.
var unitWords = map[Unit][2]string{
	Megohm: {"megohm", "megohms"}, Ohm: {"ohm", "ohms"}, Millisec: {"millisecond", "milliseconds"},
	Kiloamp: {"kiloamp", "kiloamps"}, Milliamp: {"milliamp", "milliamps"}, Volt: {"volt", "volts"},
}

// Cardinal returns n in words as said in Britain, without hyphens or commas:
// "nought", "two hundred and six", "one thousand and fifty". It serves every
// whole number that a Quantity may have, 0 to MaxValue; others come back as
// figures.
func Cardinal(n int) string {
	switch {
	case n < 0 || n > MaxValue:
		return strconv.Itoa(n)
	case n < 20:
		return small[n]
	case n < 100:
		return words(tens[n/10], "", n%10)
	case n < 1000:
		return words(small[n/100]+" hundred", "and ", n%100)
	}
	link := ""
	if n%1000 < 100 {
		link = "and "
	}
	return words(Cardinal(n/1000)+" thousand", link, n%1000)
}

func words(head, link string, rest int) string {
	if rest == 0 {
		return head
	}
	return head + " " + link + Cardinal(rest)
}

// Digits returns the digits of s one by one, each followed by sep but the
// last: Digits("486", ", ") is "four, eight, six". Characters other than
// digits are left out.
func Digits(s, sep string) string {
	var out []string
	for _, c := range s {
		if c >= '0' && c <= '9' {
			out = append(out, small[c-'0'])
		}
	}
	return strings.Join(out, sep)
}

// Spoken returns q as an electrician says it: "greater than nine nine nine
// megohms", "nought point four seven ohms", "two hundred and six megohms",
// "three point one nought". Three equal figures are said one by one, the way
// they stand on a display. Correct and Wrong are said by these words, and the
// zero Quantity gives "no reading".
func (q Quantity) Spoken() string {
	if q.Bound == "" {
		return "no reading"
	}
	if word := q.judgement(); word != "" {
		return word
	}
	return boundWords(q.Bound) + figureWords(q.Figure()) + q.unitWord()
}

// Number returns x in words, with no more decimal places than it has, for a
// limit or a length that is spoken without its unit: "nought point five". A
// number that no Quantity can have comes back as figures.
func Number(x float64) string {
	s := strconv.FormatFloat(x, 'f', -1, 64)
	if _, err := ParseQuantity(s, Ohm); err != nil {
		return strconv.FormatFloat(x, 'g', -1, 64)
	}
	return figureWords(s)
}

func figureWords(figure string) string {
	whole, places, point := strings.Cut(figure, ".")
	n, _ := strconv.Atoi(whole)
	s := Cardinal(n)
	if len(whole) == 3 && whole[0] == whole[1] && whole[1] == whole[2] {
		s = Digits(whole, " ")
	}
	if point {
		s += " point " + Digits(places, " ")
	}
	return s
}

// Grouped returns q digit by digit without its unit, for when two readings
// that sound alike are offered: "four, eight, six", "nought point four, seven".
func (q Quantity) Grouped() string {
	if q.Bound == "" {
		return "no reading"
	}
	if word := q.judgement(); word != "" {
		return word
	}
	whole, places, point := strings.Cut(q.Figure(), ".")
	s := Digits(whole, ", ")
	if point {
		s += " point " + Digits(places, ", ")
	}
	return boundWords(q.Bound) + s
}

func boundWords(b Bound) string {
	switch b {
	case GreaterThan:
		return "greater than "
	case LessThan:
		return "less than "
	}
	return ""
}

func (q Quantity) unitWord() string {
	w, ok := unitWords[q.Unit]
	if !ok {
		return ""
	}
	if q.Value == 1 && q.Places == 0 {
		return " " + w[0]
	}
	return " " + w[1]
}
