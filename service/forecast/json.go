package forecast

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// maxDepth is far beyond what a coverage needs (about 8) and keeps the reader's stack small.
const maxDepth = 64

// object and array are the two containers of a JSON document; the leaves are string, json.Number,
// bool and nil.
type (
	object map[string]any
	array  []any
)

// node is a value with the JSON pointer it stands at.
type node struct {
	value any
	at    string
}

// readJSON reads one strict JSON document: a single value, UTF-8, no member named twice. The package
// encoding/json alone would take the last of two members without a word.
func readJSON(doc []byte) (node, *Problem) {
	if !utf8.Valid(doc) {
		return node{}, &Problem{"", "the document is not UTF-8", "send JSON encoded in UTF-8"}
	}
	var whole json.RawMessage
	if err := json.Unmarshal(doc, &whole); err != nil {
		return node{}, &Problem{"", "the document is not JSON: " + err.Error(), "send one complete JSON object and nothing after it"}
	}
	d := json.NewDecoder(bytes.NewReader(doc))
	d.UseNumber()
	v, err := treeReader{d}.value("", 0)
	if err == nil {
		return node{value: v}, nil
	}
	if bad, ok := errors.AsType[*structureError](err); ok {
		return node{}, &Problem{bad.at, bad.message, bad.fix}
	}
	return node{}, &Problem{"", "the document is not JSON: " + err.Error(), "send one complete JSON object"}
}

// structureError is a document that is JSON by grammar and still can't be read safely.
type structureError struct{ at, message, fix string }

func (e *structureError) Error() string { return e.message }

type treeReader struct{ tokens *json.Decoder }

func (r treeReader) value(at string, depth int) (any, error) {
	if depth > maxDepth {
		return nil, &structureError{at, fmt.Sprintf("nested more than %d deep", maxDepth), "send a plain coverage"}
	}
	t, err := r.tokens.Token()
	if err != nil {
		return nil, err
	}
	switch t {
	case json.Delim('{'):
		return r.object(at, depth)
	case json.Delim('['):
		return r.array(at, depth)
	}
	return t, nil
}

func (r treeReader) object(at string, depth int) (any, error) {
	members := object{}
	for r.tokens.More() {
		t, err := r.tokens.Token()
		if err != nil {
			return nil, err
		}
		name := t.(string) // the decoder gives nothing else before a colon
		if _, twice := members[name]; twice {
			return nil, &structureError{join(at, name), "the member is named twice", "keep one of the two"}
		}
		if members[name], err = r.value(join(at, name), depth+1); err != nil {
			return nil, err
		}
	}
	_, err := r.tokens.Token()
	return members, err
}

func (r treeReader) array(at string, depth int) (any, error) {
	items := array{}
	for r.tokens.More() {
		v, err := r.value(at+"/"+strconv.Itoa(len(items)), depth+1)
		if err != nil {
			return nil, err
		}
		items = append(items, v)
	}
	_, err := r.tokens.Token()
	return items, err
}

var pointerEscapes = strings.NewReplacer("~", "~0", "/", "~1")

// join adds a member's name to a JSON pointer.
func join(at, name string) string { return at + "/" + pointerEscapes.Replace(name) }

// member gives a member of an object; ok is false where there is none or n is no object.
func (n node) member(name string) (m node, ok bool) {
	o, _ := n.value.(object)
	v, ok := o[name]
	return node{v, join(n.at, name)}, ok
}

// names gives the names of an object's members in alphabetical order, none for another value.
func (n node) names() []string {
	o, _ := n.value.(object)
	return slices.Sorted(maps.Keys(o))
}

// items gives the items of an array, none for another value.
func (n node) items() []node {
	a, _ := n.value.(array)
	items := make([]node, len(a))
	for i, v := range a {
		items[i] = node{v, n.at + "/" + strconv.Itoa(i)}
	}
	return items
}

func (n node) text() (string, bool) {
	s, ok := n.value.(string)
	return s, ok
}

// number gives a finite number; 1e400 is JSON and no number of ours.
func (n node) number() (float64, bool) {
	literal, ok := n.value.(json.Number)
	if !ok {
		return 0, false
	}
	v, err := literal.Float64()
	return v, err == nil && !math.IsInf(v, 0)
}

func (n node) isNull() bool { return n.value == nil }
