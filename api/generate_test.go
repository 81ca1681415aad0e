package api_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
)

// generator makes values out of schemas of the contract, and spoils them. The same chance makes the same values.
type generator struct {
	*rand.Rand
	id func(about string) string // an id that may be of something; about is the name of what wants it
}

// raw is text that is written into a body as it is, JSON or not.
type raw string

func (g *generator) chance(share float64) bool { return g.Float64() < share }

func oneOf[T any](g *generator, of []T) T { return of[g.IntN(len(of))] }

// value is one the schema allows, as far as a schema can be followed without knowing what it is about: what of several fields
// must fit together, and patterns nobody thought of, come out wrong.
func (g *generator) value(s *openapi3.Schema, about string, depth int) any {
	for _, more := range [][]*openapi3.SchemaRef{s.OneOf, s.AnyOf, s.AllOf} {
		if len(more) > 0 {
			return g.value(oneOf(g, more).Value, about, depth)
		}
	}
	switch {
	case s.Example != nil && g.chance(0.4):
		return s.Example
	case len(s.Enum) > 0:
		return oneOf(g, s.Enum)
	case s.Type == nil:
		return nil
	}
	switch kind := oneOf(g, s.Type.Slice()); kind {
	case openapi3.TypeObject:
		return g.object(s, depth)
	case openapi3.TypeArray:
		least, most := int(s.MinItems), int(s.MinItems)+3
		if s.MaxItems != nil {
			most = min(most, int(*s.MaxItems))
		}
		if depth > 8 || s.Items == nil {
			most = least
		}
		items := []any{}
		for range least + g.IntN(most-least+1) {
			if s.Items == nil {
				items = append(items, oneOf(g, odd))
				continue
			}
			items = append(items, g.value(s.Items.Value, about, depth+1))
		}
		return items
	case openapi3.TypeBoolean:
		return g.chance(0.5)
	case openapi3.TypeNumber, openapi3.TypeInteger:
		return g.number(s, kind == openapi3.TypeInteger)
	case openapi3.TypeString:
		return g.text(s, about)
	}
	return nil
}

func (g *generator) object(s *openapi3.Schema, depth int) any {
	members := map[string]any{}
	for _, name := range slices.Sorted(maps.Keys(s.Properties)) {
		p := s.Properties[name].Value
		wanted := slices.Contains(s.Required, name) || depth < 8 && g.chance(0.3)
		if wanted && !p.ReadOnly {
			members[name] = g.value(p, name, depth+1)
		}
	}
	return members
}

func (g *generator) number(s *openapi3.Schema, whole bool) any {
	least, most := -1000.0, 1000.0
	if s.Min != nil {
		least = *s.Min
	}
	if s.Max != nil {
		most = *s.Max
	}
	switch n := g.Float64(); {
	case n < 0.15:
		return least
	case n < 0.3:
		return most
	case whole:
		return least + float64(g.Int64N(int64(min(most-least, 1e15))+1))
	default:
		return least + (most-least)*g.Float64()
	}
}

// texts are tried where a schema asks for text of some form.
var texts = []string{
	"Tern of Hamna", "231000000", "9074729", "https://pictures.example/1.jpg", "rideout.vessel.changed", "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "12", "RDHM", "wind_speed",
	strings.Repeat("9f86d081", 8), strings.Repeat("a", 43) + "=", "Ünïcödé 船", "mate", "\u202egnp.exe", "a\u0085b", "a\u2028b", "💥🚢", "e\u0301\u0301\u0301", "\ufeffx", "\uffff", "'; DROP TABLE plans; --", `\"</script><b>&amp;`, "%s%n%00", "=1+1", "-", "__proto__",
}

func (g *generator) text(s *openapi3.Schema, about string) any {
	switch s.Format {
	case "date-time":
		return g.time()
	case "date":
		return g.time()[:10]
	case "uuid":
		return g.id(about)
	}
	fitting := slices.DeleteFunc(slices.Clone(texts), func(text string) bool {
		fits := s.Pattern == "" || regexp.MustCompile(s.Pattern).MatchString(text)
		return !fits || s.MaxLength != nil && uint64(len(text)) > *s.MaxLength || uint64(len(text)) < s.MinLength
	})
	if len(fitting) == 0 {
		return "no text fits"
	}
	text := oneOf(g, fitting)
	if s.MaxLength != nil && s.Pattern == "" && g.chance(0.1) {
		return strings.Repeat("x", int(*s.MaxLength))
	}
	return text
}

// time is near the world's noon, mostly, and in some zone.
func (g *generator) time() string {
	if g.chance(0.04) {
		return oneOf(g, []string{
			"0001-01-01T00:00:00Z", "9999-12-31T23:59:59.999999999Z", "1677-09-21T00:12:43Z", "2262-04-11T23:47:17Z", "1970-01-01T00:00:00Z", "2000-02-29T23:59:59.999999999+14:00", "1583-10-15T00:00:00-12:00", "3000-01-01T00:00:00Z",
		})
	}
	at := noon.Add(time.Duration(g.IntN(2*96*60)-96*60) * time.Minute)
	if g.chance(0.05) {
		at = at.Add(time.Duration(g.IntN(1_000_000_000)))
	}
	zone := oneOf(g, []int{0, 0, 0, 3600, -12 * 3600, 14 * 3600, 20700})
	return at.In(time.FixedZone("", zone)).Format(time.RFC3339Nano)
}

// odd has what is seldom meant, of every type.
var odd = func() []any {
	values := []any{
		nil, true, false,
		[]any{},
		map[string]any{},
		"", " ", "\t", "0", "-1", "null", "NaN", "Infinity", "-Infinity", "1e999", "true", "\x00", "a\x00b", "\u202egnp.exe", "💥", "e\u0301", "\ufeff",
		"'; DROP TABLE plans; --", "../../../etc/passwd", "%s%n%00", "<script>alert(1)</script>", "{{7*7}}", "line\r\nSet-Cookie: a=b", "${jndi:ldap://127.0.0.1/a}", "https://127.0.0.1/", "whsec_AAAA",
		strings.Repeat("x", 300), strings.Repeat("x", 70_000), strings.Repeat("é", 2_001), ourKey, "00000000-0000-0000-0000-000000000000", "{00000000-0000-7000-8000-000000000001}",
		"urn:uuid:00000000-0000-7000-8000-000000000001", "00000000000070008000000000000001", "2026-02-30T00:00:00Z", "2026-01-12", "12:00", "2026-01-12T12:00:00", "2026-01-12T12:00:60Z", "2026-01-12T24:00:00Z",
		"0000-01-01T00:00:00Z", "0001-01-01T00:00:00Z", "9999-12-31T23:59:59.999999999Z", "9999-12-31T23:59:59-23:59", "0000-01-01T00:00:00+23:59", "2026-01-12T12:00:00,5Z", "2026-01-12T12:00:00.0000000001+00:00",
		"2026-01-12t12:00:00z", "-0001-01-01T00:00:00Z", "+12026-01-12T12:00:00Z", "1677-09-21T00:12:43Z", "2262-04-11T23:47:17Z", "4714-11-24T00:00:00Z", "294277-01-01T00:00:00Z",
		raw("0"), raw("-0"), raw("-0.0"), raw("-1"), raw("1.5"), raw("1e308"), raw("-1e308"), raw("1e309"), raw("1e400"), raw("5e-324"), raw("1e-400"), raw("9007199254740993"), raw("9223372036854775807"),
		raw("9223372036854775808"), raw("-9223372036854775809"), raw("1e18"), raw("1E2"), raw("2147483648"), raw("999999999999999999999999999999"), raw("0.1"), raw("0x10"), raw("01"), raw("+1"), raw(".5"), raw("1."), raw("NaN"), raw("Infinity"), raw("undefined"),
		raw(`"\ud800"`), raw(`"\udc00\ud800"`), raw("\"\xff\xfe\""), raw("\"\xc0\xaf\""), raw(`"\u0000"`), raw(`"\x"`), raw("\"\n\""), raw(`'single'`), raw(""), raw("[1,]"), raw("{,}"), raw("/* */ 1"),
		raw(strings.Repeat("9", 5_000)), raw("1." + strings.Repeat("0", 5_000) + "1"), raw("1e" + strings.Repeat("9", 400)),
		raw(nested("[", "]", 20)), raw(nested("[", "]", 40)), raw(nested("[", "]", 50_000)), raw(strings.Repeat("[", 100_000)), raw(nested(`{"a":`, "}", 33)), raw(nested(`{"a":`, "}", 10_000)),
	}
	many := []any{}
	for range 20_000 {
		many = append(many, 1)
	}
	return append(values, many)
}()

// nested is a thing in a thing in a thing.
func nested(opens, closes string, times int) string {
	return strings.Repeat(opens, times) + "1" + strings.Repeat(closes, times)
}

// place is somewhere in a body, and how something else is put there.
type place struct {
	name   string
	schema *openapi3.Schema // nil: the contract does not know
	value  any
	put    func(any)
	drop   func() // nil: it is not a member
}

// places lists the places of a body in an order that is always the same.
func places(name string, s *openapi3.Schema, value any, put func(any), drop func()) []place {
	all := []place{{name, s, value, put, drop}}
	switch v := value.(type) {
	case map[string]any:
		for _, member := range slices.Sorted(maps.Keys(v)) {
			all = append(all, places(member, memberSchema(s, member), v[member], func(other any) { v[member] = other }, func() { delete(v, member) })...)
		}
	case []any:
		var of *openapi3.Schema
		if s != nil && s.Items != nil {
			of = s.Items.Value
		}
		for i := range v {
			all = append(all, places(name, of, v[i], func(other any) { v[i] = other }, nil)...)
		}
	}
	return all
}

// memberSchema finds a member in a schema or the alternatives it has.
func memberSchema(s *openapi3.Schema, name string) *openapi3.Schema {
	if s == nil {
		return nil
	}
	if p := s.Properties[name]; p != nil {
		return p.Value
	}
	for _, more := range slices.Concat(s.OneOf, s.AllOf, s.AnyOf) {
		if found := memberSchema(more.Value, name); found != nil {
			return found
		}
	}
	return nil
}

// spoil changes a body somewhere and gives what it is then.
func (g *generator) spoil(s *openapi3.Schema, body any) any {
	p := oneOf(g, places("", s, body, func(other any) { body = other }, nil))
	switch n := g.Float64(); {
	case n < 0.4 && p.schema != nil:
		p.put(g.value(p.schema, p.name, 3))
	case n < 0.5 && p.schema != nil && (p.schema.Min != nil || p.schema.Max != nil):
		p.put(g.beyond(p.schema))
	case n < 0.6 && p.drop != nil:
		p.drop()
	case n < 0.75:
		g.enlarge(p)
	default:
		p.put(oneOf(g, odd))
	}
	return body
}

// beyond is a number just within or just outside what the schema allows.
func (g *generator) beyond(s *openapi3.Schema) any {
	edge := 0.0
	if s.Min != nil {
		edge = *s.Min
	}
	if s.Max != nil && (s.Min == nil || g.chance(0.5)) {
		edge = *s.Max
	}
	return edge + oneOf(g, []float64{0, 1e-9, -1e-9, 1, -1, 0.5, edge * 1e-15, -edge * 1e-15, edge, 1e6})
}

// enlarge puts another member into an object, and another item into a list.
func (g *generator) enlarge(p place) {
	switch v := p.value.(type) {
	case map[string]any:
		name := oneOf(g, []string{"unknown", "__proto__", "", "id", "version", "links", "org_id", "a\x00b", "ID", strings.Repeat("n", 5_000)})
		if p.schema != nil && len(p.schema.Properties) > 0 && g.chance(0.8) {
			name = oneOf(g, slices.Sorted(maps.Keys(p.schema.Properties)))
		}
		if s := memberSchema(p.schema, name); s != nil {
			v[name] = g.value(s, name, 3)
		} else {
			v[name] = oneOf(g, odd)
		}
	case []any:
		if len(v) > 0 {
			more := slices.Clone(v)
			for range 1 + g.IntN(oneOf(g, []int{1, 3, 60, 400})) {
				more = append(more, oneOf(g, v))
			}
			p.put(more)
		}
	}
}

// write writes a body. twice writes the members of some object twice.
func (g *generator) write(b *strings.Builder, value any, twice bool) {
	switch v := value.(type) {
	case raw:
		b.WriteString(string(v))
	case map[string]any:
		b.WriteByte('{')
		for i, name := range slices.Sorted(maps.Keys(v)) {
			if i > 0 {
				b.WriteByte(',')
			}
			again := 1
			if twice && g.chance(0.1) {
				again = 2
			}
			for j := range again {
				if j > 0 {
					b.WriteByte(',')
				}
				quoted, _ := json.Marshal(name)
				b.Write(quoted)
				b.WriteByte(':')
				g.write(b, v[name], twice)
			}
		}
		b.WriteByte('}')
	case []any:
		b.WriteByte('[')
		for i, item := range v {
			if i > 0 {
				b.WriteByte(',')
			}
			g.write(b, item, twice)
		}
		b.WriteByte(']')
	case float64:
		b.WriteString(strconv.FormatFloat(v, 'g', -1, 64))
	default:
		encoded, err := json.Marshal(v)
		if err != nil {
			panic(fmt.Sprintf("write %T: %v", v, err))
		}
		b.Write(encoded)
	}
}

// scramble spoils bytes.
func (g *generator) scramble(body string) string {
	if body == "" {
		return oneOf(g, []string{"x", "\xff", "null"})
	}
	at := g.IntN(len(body))
	switch g.IntN(6) {
	case 0:
		return body[:at]
	case 1:
		return body[:at] + string(rune(g.IntN(256))) + body[at:]
	case 2:
		return body[:at] + string([]byte{byte(g.IntN(256))}) + body[at+1:]
	case 3:
		return body + oneOf(g, []string{"}", " {}", "\x00", "null", ",", "\xff", "\n\n\n"})
	case 4:
		return oneOf(g, []string{"\ufeff", " \t\r\n", "\x1f\x8b", ")]}'"}) + body
	default:
		return oneOf(g, []string{"null", "[]", "{}", `""`, "0", " ", "{", "\xff", "true", "[{}]", strings.Repeat(" ", 300_000), body + strings.Repeat(" ", 262_144)})
	}
}
