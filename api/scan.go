package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"rideout/service"
)

const maxDepth = 32

// scanner reads a JSON body more strictly than encoding/json does: no member twice, nothing after the
// value, bounded depth, no number beyond float64, valid UTF-8, no control characters. It knows at
// every moment where in the body it is.
type scanner struct {
	tokens   *json.Decoder
	body     []byte
	path     []string
	problems []service.FieldError
}

// scan reads a body into maps, slices, strings, float64s, booleans and nil. With false the body is
// no JSON and the tree is of no use; otherwise the problems found leave the rest of it readable. A
// number beyond float64 becomes nil.
func scan(body []byte) (any, []service.FieldError, bool) {
	s := &scanner{body: body}
	switch {
	case len(bytes.TrimSpace(body)) == 0:
		s.add("the body is empty", "send a JSON object")
		return nil, s.problems, false
	case !utf8.Valid(body):
		s.add("the body is not valid UTF-8", "encode the body as UTF-8")
		return nil, s.problems, false
	}
	s.tokens = json.NewDecoder(bytes.NewReader(body))
	s.tokens.UseNumber()
	tree, ok := s.value()
	if !ok {
		return nil, s.problems, false
	}
	end := s.tokens.InputOffset()
	if _, err := s.tokens.Token(); !errors.Is(err, io.EOF) {
		s.add(fmt.Sprintf("there is something after the JSON value, from byte %d on", end), "send one JSON object and nothing after it")
		return nil, s.problems, false
	}
	return tree, s.problems, true
}

func (s *scanner) value() (any, bool) {
	token, err := s.tokens.Token()
	if err != nil {
		return nil, s.malformed(err)
	}
	switch t := token.(type) {
	case json.Delim:
		if len(s.path) >= maxDepth {
			s.add(fmt.Sprintf("the body is nested deeper than %d levels", maxDepth), "send the contract's form; it needs fewer levels")
			return nil, false
		}
		if t == '{' {
			return s.object()
		}
		return s.array()
	case json.Number:
		return s.number(t), true
	case string:
		s.text(t)
		return t, true
	}
	return token, true // a boolean or null
}

func (s *scanner) object() (any, bool) {
	members := map[string]any{}
	for s.tokens.More() {
		token, err := s.tokens.Token()
		if err != nil {
			return nil, s.malformed(err)
		}
		name, _ := token.(string)
		s.path = append(s.path, name)
		s.text(name)
		value, ok := s.value()
		if !ok {
			return nil, false
		}
		if _, twice := members[name]; twice {
			s.add("is given twice", "send it once")
		} else {
			members[name] = value
		}
		s.path = s.path[:len(s.path)-1]
	}
	return members, s.closed()
}

func (s *scanner) array() (any, bool) {
	items := []any{}
	for s.tokens.More() {
		s.path = append(s.path, strconv.Itoa(len(items)))
		value, ok := s.value()
		if !ok {
			return nil, false
		}
		items = append(items, value)
		s.path = s.path[:len(s.path)-1]
	}
	return items, s.closed()
}

func (s *scanner) closed() bool {
	if _, err := s.tokens.Token(); err != nil {
		return s.malformed(err)
	}
	return true
}

func (s *scanner) number(n json.Number) any {
	f, err := n.Float64()
	if err != nil {
		s.add("the number is beyond what a 64-bit float holds", "send a number within the field's range")
		return nil
	}
	return f
}

// text refuses control characters other than line breaks and tabs; a store cannot keep NUL.
func (s *scanner) text(t string) {
	bad := func(r rune) bool { return r < ' ' && r != '\n' && r != '\r' && r != '\t' }
	if strings.ContainsFunc(t, bad) {
		s.add("holds a control character", "send printable text")
	}
}

// malformed tells of a syntax error where it stands, and gives false.
func (s *scanner) malformed(err error) bool {
	at := s.tokens.InputOffset()
	rest := bytes.TrimLeft(s.body[at:], " \t\r\n:,")
	for _, word := range []string{"NaN", "Infinity", "-Infinity", "+Infinity", "-NaN", "nan", "inf"} {
		if bytes.HasPrefix(rest, []byte(word)) {
			s.add(word+" is not a JSON number", "send a number, or leave the field out when the value is missing")
			return false
		}
	}
	message := strings.TrimPrefix(err.Error(), "json: ")
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		message = "it ends early"
	}
	s.add(fmt.Sprintf("the body is not JSON after byte %d: %s", at, message), "send well-formed JSON (RFC 8259)")
	return false
}

func (s *scanner) add(message, fix string) {
	s.problems = append(s.problems, service.FieldError{Pointer: pointer(s.path...), Message: message, Fix: fix})
}

// pointer writes a JSON pointer (RFC 6901).
func pointer(path ...string) string {
	var b strings.Builder
	for _, token := range path {
		b.WriteByte('/')
		b.WriteString(strings.ReplaceAll(strings.ReplaceAll(token, "~", "~0"), "/", "~1"))
	}
	return b.String()
}
