package board

import (
	"bytes"
	"fmt"
	"io"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"waycall/internal/printable"
	"waycall/internal/waymark"
)

// Write writes the description of a job as a board file that Read gives back as it
// is. A job that Read would refuse is an error, the one that Read gives, and nothing
// is written then.
func Write(w io.Writer, job Job) error {
	text, err := file(job)
	if err != nil {
		return err
	}
	_, err = w.Write(text)
	return err
}

// Check says what Read would not take in a job, as Read would say it of its board
// file, or nil.
func Check(job Job) error {
	_, err := file(job)
	return err
}

func file(job Job) ([]byte, error) {
	job.Edition = job.JudgedBy()
	var b bytes.Buffer
	writeStruct(&b, reflect.ValueOf(job), "")
	back, err := Read(bytes.NewReader(b.Bytes()), "to be written")
	if err != nil {
		return nil, err
	}
	if !reflect.DeepEqual(back, job) {
		return nil, fmt.Errorf("board file to be written: it does not say what the job is; this is a mistake in waycall, please report it with this job")
	}
	return b.Bytes(), nil
}

// writeStruct writes the fields of v, one a line, below each other at an indent. What
// a file may leave out, as the tags for JSON have it, is left out where it is zero.
func writeStruct(b *bytes.Buffer, v reflect.Value, indent string) {
	spare := v.Type() == reflect.TypeFor[Way]() && v.FieldByName("Spare").Bool() // such a way has next to nothing
	for i := range v.NumField() {
		field, tag := v.Field(i), v.Type().Field(i).Tag
		if field.IsZero() && (spare || mayLack(field.Kind()) || strings.Contains(tag.Get("json"), ",omit")) {
			continue
		}
		b.WriteString(indent + tag.Get("yaml") + ":")
		if isWay(tag.Get("yaml")) {
			b.WriteString(" " + waymark.Print(int(field.Int())) + "\n")
			continue
		}
		writeValue(b, field, indent)
	}
}

// mayLack reports whether a field of that kind means "unknown" where it is zero: a
// figure, a text, a group of them.
func mayLack(k reflect.Kind) bool {
	return k == reflect.Float64 || k == reflect.String || k == reflect.Struct
}

func writeValue(b *bytes.Buffer, v reflect.Value, indent string) {
	switch v.Kind() {
	case reflect.Pointer:
		writeValue(b, v.Elem(), indent)
	case reflect.Struct:
		b.WriteString("\n")
		writeStruct(b, v, indent+"  ")
	case reflect.Slice:
		b.WriteString("\n")
		for i := range v.Len() {
			if v.Index(i).Kind() != reflect.Struct {
				b.WriteString(indent + "  - " + scalarOf(v.Index(i)) + "\n")
				continue
			}
			var item bytes.Buffer
			writeStruct(&item, v.Index(i), indent+"    ")
			b.WriteString(indent + "  - " + strings.TrimPrefix(item.String(), indent+"    "))
		}
	default:
		b.WriteString(" " + scalarOf(v) + "\n")
	}
}

// plainText is text that YAML takes for text without quotes, unless it is one of
// notText.
var plainText = regexp.MustCompile(`^[A-Z][A-Za-z0-9]*([ -][A-Za-z0-9]+)*$`)

var notText = []string{"true", "false", "yes", "no", "on", "off", "y", "n", "null", "nan", "inf"}

func scalarOf(v reflect.Value) string {
	switch v.Kind() {
	case reflect.Bool:
		return strconv.FormatBool(v.Bool())
	case reflect.Int:
		return strconv.FormatInt(v.Int(), 10)
	case reflect.Float64:
		return strconv.FormatFloat(v.Float(), 'f', -1, 64)
	}
	return Quote(v.String())
}

// Quote returns a text as YAML that Read takes for that text, whatever it holds.
func Quote(s string) string {
	if plainText.MatchString(s) && !slices.Contains(notText, strings.ToLower(s)) {
		return s
	}
	var b strings.Builder
	b.WriteByte('"')
	for len(s) > 0 {
		r, size := utf8.DecodeRuneInString(s)
		switch {
		case r == '\\' || r == '"':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == ' ' || !printable.Hidden(r) && !unicode.IsSpace(r):
			b.WriteString(s[:size])
		default: // as itself, YAML may take it for another: an end of line becomes a blank
			fmt.Fprintf(&b, `\U%08X`, r)
		}
		s = s[size:]
	}
	b.WriteByte('"')
	return b.String()
}
