package jobfile

import (
	"bytes"
	"encoding/json"
	"fmt"
	"time"

	"waycall/internal/record"
)

// timeLayout is RFC 3339 in UTC with every digit kept, so that the text has one
// width and sorts as time does.
const timeLayout = "2006-01-02T15:04:05.000000000Z"

// Encode returns the columns of e, and leaves in e what Decode will give back.
// NaN and infinity have no JSON, so they cannot get in anywhere.
func Encode(e *record.Event) (at, data string, err error) {
	whole, err := marshal(e)
	if err != nil {
		return "", "", err
	}
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(whole, &fields); err != nil {
		return "", "", err
	}
	for _, column := range []string{"id", "at", "kind"} {
		delete(fields, column)
	}
	rest, err := marshal(fields)
	if err != nil {
		return "", "", err
	}
	at, data = e.At.UTC().Format(timeLayout), string(rest)
	*e, err = Decode(e.ID, at, string(e.Kind), data)
	return at, data, err
}

func marshal(v any) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false) // >999 stays readable in the file
	if err := enc.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}

// Decode makes an event from its columns. A field that this program does not
// know is an error: to pass over it would lose part of the record.
func Decode(id int64, at, kind, data string) (record.Event, error) {
	if err := checkSize(kind, data); err != nil {
		return record.Event{}, err
	}
	var e record.Event
	dec := json.NewDecoder(bytes.NewReader([]byte(data)))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&e); err != nil {
		return record.Event{}, err
	}
	t, err := time.Parse(timeLayout, at)
	if err != nil {
		return record.Event{}, err
	}
	e.ID, e.At, e.Kind = id, t.UTC(), record.Kind(kind)
	if !e.Kind.Known() {
		return record.Event{}, fmt.Errorf("unknown kind of event %q", kind)
	}
	return e, nil
}
