package ledger

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
)

// Format is the form of a file of an audit.
type Format string

// The formats. In both a line has an entry, its leaf as it was stored, and the body as it was recorded.
const (
	NDJSON Format = "ndjson" // a JSON object a line; the members of the entry, leaf, body
	CSV    Format = "csv"    // RFC 4180 with a line of names; the body as its JSON text
)

// Line is a line of an audit.
type Line struct {
	Record
	Leaf Hash // as it was stored; it need not be trusted
}

// columns are the names in CSV, and of the members in NDJSON.
var columns = []string{"seq", "recorded_at", "kind", "entity_id", "version", "by", "body_sha256", "leaf", "body"}

// maxLine bounds a line of an audit: a body and what stands beside it.
const maxLine = 32 << 20

// AppendHead appends what an audit begins with.
func AppendHead(b []byte, f Format) []byte {
	if f == CSV {
		b = append(b, strings.Join(columns, ",")...)
		b = append(b, "\r\n"...)
	}
	return b
}

// AppendLine appends a line. The same line has the same bytes. In NDJSON a body that has a line break, or space around it,
// stands as a string in body_text, because its bytes are what body_sha256 is of. A body that is nil is left out.
func AppendLine(b []byte, f Format, l Line) []byte {
	fields := []string{
		strconv.FormatInt(l.Seq, 10), l.RecordedAt.UTC().Format(timeLayout), l.Kind, l.EntityID.String(), strconv.Itoa(l.Version), l.By, l.BodySHA256,
		l.Leaf.String(),
	}
	if f == CSV {
		for _, field := range fields {
			b = append(appendQuoted(b, field), ',')
		}
		return append(appendQuoted(b, csvBody(l.Body)), "\r\n"...)
	}
	b = append(b, '{')
	for i, field := range fields {
		b = append(b, '"')
		b = append(b, columns[i]...)
		b = append(b, `":`...)
		if columns[i] != "seq" && columns[i] != "version" {
			field = jsonText(field)
		}
		b = append(append(b, field...), ',')
	}
	switch {
	case l.Body == nil:
		b = b[:len(b)-1]
	case bytes.ContainsAny(l.Body, "\r\n") || len(bytes.TrimSpace(l.Body)) < len(l.Body) || !json.Valid(l.Body):
		b = append(append(b, `"body_text":`...), jsonText(string(l.Body))...)
	default:
		b = append(append(b, `"body":`...), l.Body...)
	}
	return append(b, "}\n"...)
}

// csvBody is a body as it stands in CSV: as a JSON string where readers of CSV might alter it, or take it for one; nothing where
// it is not given.
func csvBody(body []byte) string {
	if body != nil && (len(body) == 0 || body[0] == '"' || bytes.ContainsRune(body, '\r')) {
		return jsonText(string(body))
	}
	return string(body)
}

func jsonText(s string) string {
	text, _ := json.Marshal(s) // a string can be encoded
	return string(text)
}

// appendQuoted quotes a field of CSV where it must be.
func appendQuoted(b []byte, s string) []byte {
	if !strings.ContainsAny(s, ",\"\r\n") {
		return append(b, s...)
	}
	b = append(b, '"')
	b = append(b, strings.ReplaceAll(s, `"`, `""`)...)
	return append(b, '"')
}

// Lines reads an audit of an organisation. It yields ErrMalformed for a line that cannot be read and goes on with the next;
// any other error is the reader's and the last.
func Lines(r io.Reader, f Format, org uuid.UUID) iter.Seq2[Line, error] {
	if f == CSV {
		return csvLines(r, org)
	}
	return jsonLines(r, org)
}

func jsonLines(r io.Reader, org uuid.UUID) iter.Seq2[Line, error] {
	return func(yield func(Line, error) bool) {
		lines := bufio.NewScanner(r)
		lines.Buffer(make([]byte, readAhead), maxLine)
		for lines.Scan() {
			if !yield(jsonLine(lines.Bytes(), org)) {
				return
			}
		}
		if err := lines.Err(); err != nil {
			yield(Line{}, fmt.Errorf("read lines: %w", err))
		}
	}
}

func jsonLine(text []byte, org uuid.UUID) (Line, error) {
	var m struct {
		Seq        int64           `json:"seq"`
		RecordedAt string          `json:"recorded_at"`
		Kind       string          `json:"kind"`
		EntityID   string          `json:"entity_id"`
		Version    int             `json:"version"`
		By         string          `json:"by"`
		BodySHA256 string          `json:"body_sha256"`
		Leaf       string          `json:"leaf"`
		Body       json.RawMessage `json:"body"`
		BodyText   *string         `json:"body_text"`
	}
	if err := json.Unmarshal(text, &m); err != nil {
		return Line{}, fmt.Errorf("%w: %w", ErrMalformed, err)
	}
	body := []byte(m.Body)
	if m.BodyText != nil {
		body = []byte(*m.BodyText)
	}
	return lineOf(org, []string{strconv.FormatInt(m.Seq, 10), m.RecordedAt, m.Kind, m.EntityID, strconv.Itoa(m.Version), m.By, m.BodySHA256, m.Leaf}, body)
}

func csvLines(r io.Reader, org uuid.UUID) iter.Seq2[Line, error] {
	return func(yield func(Line, error) bool) {
		lines := csv.NewReader(bufio.NewReaderSize(r, readAhead))
		lines.FieldsPerRecord, lines.ReuseRecord = -1, true
		for first := true; ; first = false {
			fields, err := lines.Read()
			var wrong *csv.ParseError
			switch {
			case errors.Is(err, io.EOF):
				return
			case errors.As(err, &wrong):
				err = fmt.Errorf("%w: %w", ErrMalformed, err)
			case err != nil:
				yield(Line{}, fmt.Errorf("read lines: %w", err))
				return
			case first && strings.Join(fields, ",") == strings.Join(columns, ","):
				continue
			}
			line := Line{}
			if err == nil && len(fields) != len(columns) {
				err = fmt.Errorf("%w: a line of %d fields, not %d", ErrMalformed, len(fields), len(columns))
			}
			if err == nil {
				line, err = csvLine(org, fields)
			}
			if !yield(line, err) {
				return
			}
		}
	}
}

func csvLine(org uuid.UUID, f []string) (Line, error) {
	last := len(f) - 1
	var body []byte
	switch text := f[last]; {
	case strings.HasPrefix(text, `"`):
		var whole string
		if err := json.Unmarshal([]byte(text), &whole); err != nil {
			return Line{}, fmt.Errorf("%w: body: %w", ErrMalformed, err)
		}
		body = []byte(whole)
	case text != "":
		body = []byte(text)
	}
	return lineOf(org, f[:last], body)
}

// lineOf reads the fields of a line, the body aside, in the order of the columns.
func lineOf(org uuid.UUID, f []string, body []byte) (Line, error) {
	l := Line{Record: Record{Entry: Entry{OrgID: org, Kind: f[2], By: f[5], BodySHA256: f[6]}, Body: body}}
	var errs [5]error
	l.Seq, errs[0] = strconv.ParseInt(f[0], 10, 64)
	l.RecordedAt, errs[1] = time.Parse(timeLayout, f[1])
	l.EntityID, errs[2] = uuid.Parse(f[3])
	l.Version, errs[3] = strconv.Atoi(f[4])
	l.Leaf, errs[4] = parseHash([]byte(f[7]))
	if err := errors.Join(errs[:]...); err != nil {
		return Line{}, fmt.Errorf("%w: %w", ErrMalformed, err)
	}
	return l, l.Check()
}
