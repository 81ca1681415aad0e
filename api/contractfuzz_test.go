package api_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"

	"rideout/api"
	"rideout/service"
	"rideout/service/planner"
)

// Whatever is sent to the routes of the contract, the answer is one the contract has: a status and a media type that are
// documented, a body that fits its schema, the headers that must be there, no failure of the service, nothing of another
// organisation, and no key in the log. The server is a real one on a socket over a real Postgres; calls are made of the
// contract itself and of what the other tests send, and then spoiled. The calculation is that of the other tests but for a
// share that goes to the engine, because that takes a second of a processor. There are no limits of requests.
//
// What is no HTTP at all does not come as far as our code: net/http refuses it in a line of plain text.
//
// RIDEOUT_FUZZ_CALLS says how many calls, RIDEOUT_FUZZ_SEED where chance begins. The same seed makes the same calls, but for
// the ids of organisations and the keys.
func TestEveryAnswerIsTheContracts(t *testing.T) {
	calls, seed := fromEnvironment(t, "RIDEOUT_FUZZ_CALLS", 2_000), uint64(fromEnvironment(t, "RIDEOUT_FUZZ_SEED", 1))
	f := newContractFuzz(t, seed)
	begun := time.Now()
	for n := range calls {
		f.call(n)
		if n%10_000 == 9_999 {
			t.Logf("%d calls in %.0f s", n+1, time.Since(begun).Seconds())
		}
		if len(f.faults) > 40 {
			t.Errorf("stopped after %d calls", n)
			break
		}
	}
	f.report(time.Since(begun))
}

func fromEnvironment(t *testing.T, name string, otherwise int) int {
	t.Helper()
	text := os.Getenv(name)
	if text == "" {
		return otherwise
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return n
}

// engineEvery is which of the calculations asked for the engine makes.
const engineEvery = 3

type contractFuzz struct {
	*generator
	t      *testing.T
	w      *world
	base   string
	client *http.Client
	seed   uint64

	operations []*fuzzed
	parties    []*party
	sent       []string // Idempotency-Keys
	cursors    []string
	tags       []string

	asked, engine int // calculations
	faults        map[string]bool
	statuses      map[int]int
}

// fuzzed is an operation and what is known of it.
type fuzzed struct {
	method, path string
	op           *openapi3.Operation
	parameters   openapi3.Parameters
	schema       *openapi3.Schema // of the body; nil: it takes none
	kind         string           // the body's media type
	weight       int
	count        int
	good         int
}

// party is an organisation: its keys, and what it has by the first words of paths.
type party struct {
	keys map[string]string // by what they may do
	ids  map[string][]string
}

func newContractFuzz(t *testing.T, seed uint64) *contractFuzz {
	t.Helper()
	w, _, _ := newStoredWorld(t)
	f := &contractFuzz{
		t: t, w: w, seed: seed, faults: map[string]bool{}, statuses: map[int]int{},
		generator: &generator{Rand: rand.New(rand.NewPCG(seed, 0))},
		client: &http.Client{
			Transport:     &http.Transport{DisableCompression: true},
			CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		},
	}
	f.generator.id = func(about string) string { return f.pickID(f.parties[0], kindOf(about)) }
	w.compute = f.compute
	ids := w.things()
	for _, key := range []string{w.key, w.other, w.lender} {
		f.parties = append(f.parties, &party{keys: map[string]string{"all": key}, ids: map[string][]string{}})
	}
	for kind, id := range ids {
		if !strings.Contains(kind, "/") && kind != "lent" {
			f.parties[0].ids[kind] = []string{id}
		}
	}
	f.parties[2].ids["emergency-access"] = []string{ids["/v1/emergency-access/{id}/review"], ids["emergency-access"]}
	f.parties[2].ids["vessels"] = []string{ids["lent"]}
	for i, scope := range []service.Scope{"plans:read", "audit:read", "registers:write"} {
		f.parties[0].keys[fmt.Sprint("scope", i)] = f.narrow(scope)
	}
	w.plans.Budget = time.Minute
	f.list()
	f.serve()
	return f
}

// compute is the calculation of the other tests, and of some the engine's, on one sea. A busy machine is no fault.
func (f *contractFuzz) compute(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
	if f.asked++; f.asked%engineEvery == 0 {
		f.engine++
		r.Assume.Seeds = new(1)
		return planner.Compute(ctx, r)
	}
	plan, steps, err := samplePlan(ctx, r)
	if plan.Calibration != nil {
		plan.Calibration.Outliers[0].ObservationID = ada
	}
	return plan, steps, err
}

// narrow makes a key of the first organisation with one scope.
func (f *contractFuzz) narrow(scope service.Scope) string {
	answer := f.w.do(http.MethodPost, "/v1/keys", fmt.Sprintf(`{"label": "narrow", "scopes": [%q]}`, scope), "Idempotency-Key", "narrow-"+string(scope))
	var made struct{ Key string }
	if err := json.Unmarshal([]byte(text(f.t, answer)), &made); err != nil || made.Key == "" {
		f.t.Fatalf("a key with %s: %d %v", scope, answer.StatusCode, err)
	}
	return made.Key
}

func (f *contractFuzz) serve() {
	listener, err := (&net.ListenConfig{}).Listen(f.t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		f.t.Fatal(err)
	}
	server := api.NewServer(f.w.api)
	go func() { _ = server.Serve(listener) }()
	f.t.Cleanup(func() { _ = server.Close() })
	f.base = listener.Addr().String()
}

// list lists the operations. What takes long is called less often.
func (f *contractFuzz) list() {
	doc := theContract()
	for _, path := range slices.Sorted(maps.Keys(doc.Paths.Map())) {
		item := doc.Paths.Value(path)
		for _, method := range slices.Sorted(maps.Keys(item.Operations())) {
			op := item.GetOperation(method)
			o := &fuzzed{method: method, path: path, op: op, parameters: slices.Concat(item.Parameters, op.Parameters), weight: 6}
			switch path {
			case "/v1/events/stream", "/v1/exports/audit", "/v1/exports/manifest", "/docs", "/docs/{guide}", "/openapi.json", "/livez", "/readyz":
				o.weight = 1
			case "/v1/readiness", "/v1/readiness/summary", "/v1/calibration":
				o.weight = 3
			case "/v1/calculations", "/v1/plans", "/v1/emergency-access":
				o.weight = 12
			}
			if method == http.MethodDelete {
				o.weight = 2
			}
			if op.RequestBody != nil {
				for kind, media := range op.RequestBody.Value.Content {
					o.kind, o.schema = kind, media.Schema.Value
				}
				// What a patch may hold is what comes of it.
				if method == http.MethodPatch {
					o.schema = op.Responses.Value("200").Value.Content["application/json"].Schema.Value
				}
			}
			f.operations = append(f.operations, o)
		}
	}
}

// kindOf tells of what kind the ids are that a member or parameter names.
func kindOf(about string) string {
	switch about {
	case "from", "supersedes", "plan_id":
		return "plans"
	case "person_id":
		return "people"
	case "gear_id", "canopy_id", "rode_id":
		return "gear"
	}
	return strings.TrimSuffix(about, "_id") + "s"
}

// pickID is an id that party may mean, mostly.
func (f *contractFuzz) pickID(p *party, kind string) string {
	own := p.ids[kind]
	switch n := f.Float64(); {
	case n < 0.8 && len(own) > 0:
		return own[max(0, len(own)-1-f.IntN(30))] // of late, which is still there
	case n < 0.87:
		other := oneOf(f.generator, f.parties).ids
		if kinds := slices.Sorted(maps.Keys(other)); len(kinds) > 0 {
			return oneOf(f.generator, other[oneOf(f.generator, kinds)])
		}
	case n < 0.93:
		return oneOf(f.generator, []string{
			"00000000-0000-0000-0000-000000000000", "ffffffff-ffff-ffff-ffff-ffffffffffff", "x", "..", "a/b", "%00", "\x00", "\xff\xfe", " ", "{id}", "null", strings.Repeat("9", 36), strings.Repeat("a", 3_000),
			"00000000-0000-7000-8000-00000000000g", "00000000-0000-7000-8000-0000000000011", "'or''='", "٠٠٠٠٠٠٠٠-0000-7000-8000-000000000001",
		})
	case n < 0.96 && len(own) > 0:
		return strings.ToUpper(own[0])
	}
	return fmt.Sprintf("00000000-0000-7000-8000-%012x", f.Int64N(1<<40))
}

// sending is one call.
type sending struct {
	o       *fuzzed
	method  string
	target  *url.URL
	header  http.Header
	body    string
	who     *party // nil: nobody whose key is known
	foreign bool   // the id in the path is another's
	full    bool   // the key has every scope
}

func (f *contractFuzz) call(n int) {
	f.w.pass(time.Duration(f.IntN(200)) * time.Millisecond)
	s := f.compose(n)
	ctx, cancel := context.WithTimeout(f.t.Context(), time.Minute)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, s.method, "http://"+f.base+"/", strings.NewReader(s.body))
	if err != nil {
		f.t.Fatal(err)
	}
	r.URL, r.Header = s.target, s.header
	if f.chance(0.03) && s.body != "" {
		r.ContentLength = -1 // in chunks
	}
	answer, err := f.client.Do(r)
	if err != nil {
		f.wrong(n, s, fmt.Sprintf("no answer: %v", err))
		return
	}
	defer answer.Body.Close()
	if strings.HasPrefix(answer.Header.Get("Content-Type"), "text/event-stream") {
		cancel() // it goes on until somebody leaves
	}
	body, err := io.ReadAll(answer.Body)
	if err != nil && ctx.Err() == nil {
		f.wrong(n, s, fmt.Sprintf("the answer broke off: %v", err))
		return
	}
	s.o.count++
	f.statuses[answer.StatusCode]++
	if answer.Header.Get("Content-Encoding") == "gzip" {
		zipped, err := gzip.NewReader(bytes.NewReader(body))
		if err == nil && len(body) > 0 {
			body, err = io.ReadAll(zipped)
		}
		if err != nil && s.method != http.MethodHead {
			f.wrong(n, s, fmt.Sprintf("what is said to be gzip is not: %v", err))
		}
	}
	for _, fault := range f.judge(s, answer, body) {
		f.wrong(n, s, fault+"\n"+clipped(string(body), 1_500))
	}
	if answer.StatusCode < 300 {
		s.o.good++
		f.learn(s, answer, body)
	}
}

// compose makes a call.
func (f *contractFuzz) compose(n int) sending {
	o := f.choose()
	s := sending{o: o, method: o.method, header: http.Header{}, who: f.parties[0], full: true}
	key := f.parties[0].keys["all"]
	switch n := f.Float64(); {
	case n < 0.5 && o.op.OperationID == "reviewEmergencyAccess": // is the owner's
		s.who = f.parties[2]
		key = s.who.keys["all"]
	case n < 0.06:
		s.who = f.parties[1+f.IntN(2)]
		key = s.who.keys["all"]
	case n < 0.10:
		key, s.full = f.parties[0].keys[fmt.Sprint("scope", f.IntN(3))], false
	case n < 0.13:
		s.who = nil
		key = oneOf(f.generator, []string{"", otherKey, key[:len(key)-1], "ro_", key + "x", strings.ToUpper(key), "eyJhbGciOiJub25lIn0.e30.", strings.Repeat("k", 4_000), "\xff"})
	}
	if key != "" {
		s.header.Set("Authorization", oneOf(f.generator, []string{"Bearer ", "Bearer ", "Bearer ", "bearer "})+key)
	}
	if s.who == nil && f.chance(0.3) {
		s.header.Set("Authorization", oneOf(f.generator, []string{"Basic cm86cm8=", "Bearer", "Bearer  ", "", "bearer ro_x ro_y", "Digest username=x"}))
	}
	owner := s.who
	if owner == nil {
		owner = f.parties[0]
	}
	f.address(&s, owner)
	f.headers(&s)
	if o.schema != nil {
		s.body = f.body(o, owner)
	} else if f.chance(0.02) {
		s.body = `{"a": 1}`
	}
	if f.chance(0.02) {
		s.method = oneOf(f.generator, []string{"HEAD", "OPTIONS", "DELETE", "PUT", "PATCH", "POST", "GET", "TRACE", "BREW"})
	} else if s.method == http.MethodGet && f.chance(0.03) {
		s.method = http.MethodHead
	}
	return s
}

func (f *contractFuzz) choose() *fuzzed {
	all := 0
	for _, o := range f.operations {
		all += o.weight
	}
	at := f.IntN(all)
	for _, o := range f.operations {
		if at -= o.weight; at < 0 {
			return o
		}
	}
	panic("weights do not add up")
}

// address fills in the path and the query.
func (f *contractFuzz) address(s *sending, owner *party) {
	query := url.Values{}
	path := s.o.path
	for _, p := range s.o.parameters {
		p := p.Value
		switch p.In {
		case openapi3.ParameterInPath:
			given := ""
			if p.Name == "id" {
				given = f.pickID(owner, strings.Split(path, "/")[2])
				s.foreign = f.ofAnother(owner, given)
			} else {
				given = oneOf(f.generator, []string{"rig.svg", "peak.svg", "hours.svg", "drift.svg", "skipper", "rescue", "rig.png", "..", "\x00", "a/b", strings.Repeat("d", 300)})
			}
			path = strings.ReplaceAll(path, "{"+p.Name+"}", url.PathEscape(given))
		case openapi3.ParameterInQuery:
			if p.Required && f.chance(0.95) || f.chance(0.25) {
				query.Add(p.Name, f.parameter(p))
			}
			if f.chance(0.01) {
				query.Add(p.Name, f.parameter(p))
			}
		}
	}
	if f.chance(0.02) {
		query.Add(oneOf(f.generator, []string{"unknown", "", "Limit", "limit[]", "\xff", "id"}), "1")
	}
	plain, _ := url.PathUnescape(path)
	s.target = &url.URL{Scheme: "http", Host: f.base, Path: plain, RawPath: path, RawQuery: query.Encode()}
	if f.chance(0.01) {
		s.target.RawQuery += oneOf(f.generator, []string{"&a=%zz", ";b=1", "&%", "&limit=1&limit=2", "&=", "&&&", "&at=2026-01-12T12:00:00+01:00"})
	}
}

// ofAnother tells whether an id is of something that another organisation has and this one must not see. An emergency access
// is seen from both sides.
func (f *contractFuzz) ofAnother(p *party, id string) bool {
	found := false
	for _, other := range f.parties {
		for kind, ids := range other.ids {
			if kind == "people" || !slices.ContainsFunc(ids, func(theirs string) bool { return strings.EqualFold(theirs, id) }) {
				continue
			}
			if other == p || kind == "emergency-access" {
				return false
			}
			found = true
		}
	}
	return found
}

func (f *contractFuzz) parameter(p *openapi3.Parameter) string {
	switch {
	case p.Name == "cursor" && len(f.cursors) > 0 && f.chance(0.8):
		cursor := oneOf(f.generator, f.cursors)
		if f.chance(0.2) {
			cursor = clipped(f.scramble(cursor), 3_000)
		}
		return cursor
	case p.Example != nil && f.chance(0.3):
		return fmt.Sprint(p.Example)
	case f.chance(0.75):
		return f.plain(f.value(p.Schema.Value, p.Name, 0))
	}
	return f.plain(oneOf(f.generator, odd))
}

// plain is a value as a parameter has it. Addresses are not as long as bodies.
func (f *contractFuzz) plain(value any) string {
	if text, ok := value.(string); ok {
		return clipped(text, 3_000)
	}
	var b strings.Builder
	f.write(&b, value, false)
	return clipped(b.String(), 3_000)
}

func clipped(text string, most int) string { return text[:min(len(text), most)] }

var controls = regexp.MustCompile(`[\x00-\x08\x0a-\x1f\x7f]`)

// headers fills in the headers.
func (f *contractFuzz) headers(s *sending) {
	set := func(name, value string) { s.header.Set(name, controls.ReplaceAllString(clipped(value, 3_000), "")) }
	for _, p := range s.o.parameters {
		p := p.Value
		if p.In != openapi3.ParameterInHeader {
			continue
		}
		value := ""
		switch n := f.Float64(); {
		case n < 0.04:
			continue // left out
		case n < 0.12:
			value = f.plain(oneOf(f.generator, odd))
		case p.Name == "Idempotency-Key" && len(f.sent) > 0 && n < 0.2:
			value = oneOf(f.generator, f.sent)
		case p.Name == "Idempotency-Key":
			value = fmt.Sprintf("sent-%d-%d", f.seed, len(f.sent))
			f.sent = append(f.sent, value)
		case p.Name == "If-Match" && len(f.tags) > 0 && n < 0.3:
			value = oneOf(f.generator, f.tags)
		case p.Name == "If-Match" && n < 0.4:
			value = oneOf(f.generator, []string{`"x"`, `W/"x"`, `"`, "x", `"a", "b"`, ",", `"a" "b"`, `"*"`, "*, *"})
		case p.Name == "If-Match":
			value = "*"
		default:
			value = f.plain(f.value(p.Schema.Value, p.Name, 0))
		}
		set(p.Name, value)
		if f.chance(0.02) {
			s.header.Add(p.Name, "another")
		}
	}
	if s.o.kind != "" && f.chance(0.97) {
		set("Content-Type", s.o.kind)
	} else if f.chance(0.5) {
		set("Content-Type", oneOf(f.generator, []string{"", "text/plain", "application/json; charset=utf-8", "application/json; charset=latin1", "application/JSON", "application/merge-patch+json", "multipart/form-data", "application/json;", ";", "\xff", "application/json, text/plain"}))
	}
	if f.chance(0.15) {
		set("Accept", oneOf(f.generator, []string{"*/*", "application/json", "text/html", "application/pdf", "text/plain", "image/svg+xml", "text/*;q=0.5, */*;q=0.1", "*/*;q=0", "application/json;q=NaN", "nonsense", ",,;q=", "text/event-stream", "application/x-ndjson", "text/csv", strings.Repeat("a/b,", 700)}))
	}
	if f.chance(0.15) {
		set("Accept-Encoding", oneOf(f.generator, []string{"gzip", "gzip, br", "*", "identity;q=0", "gzip;q=0", "*;q=0", "gzip;q=nan", "deflate"}))
	}
	if f.chance(0.1) {
		tag := oneOf(f.generator, []string{"*", `"x"`, `W/"x"`, "", ",", `"`, "x"})
		if len(f.tags) > 0 && f.chance(0.6) {
			tag = oneOf(f.generator, f.tags)
		}
		set("If-None-Match", tag)
	}
	if f.chance(0.02) {
		set("Content-Encoding", oneOf(f.generator, []string{"gzip", "identity", "br", "x"}))
	}
	if f.chance(0.02) {
		set(oneOf(f.generator, []string{"X-Request-Id", "X-Forwarded-For", "X-HTTP-Method-Override", "Range", "If-Modified-Since", "If-Range", "Origin", "Cookie", "X-Forwarded-Proto", "Last-Event-ID"}), f.plain(oneOf(f.generator, odd)))
	}
}

// body makes what is sent: what other tests send, or an example, or anything the schema allows; as it is, or spoiled.
func (f *contractFuzz) body(o *fuzzed, owner *party) string {
	var tree any
	l, known := letters[o.method+" "+o.path]
	switch n := f.Float64(); {
	case known && n < 0.7:
		decoder := json.NewDecoder(strings.NewReader(l.whole(f.t)))
		decoder.UseNumber()
		if err := decoder.Decode(&tree); err != nil {
			f.t.Fatal(err)
		}
		f.freshen(o, tree, owner)
	case o.method == http.MethodPatch:
		members, _ := f.object(o.schema, 6).(map[string]any)
		for _, name := range slices.Sorted(maps.Keys(members)) {
			if f.chance(0.7) {
				delete(members, name)
			}
		}
		tree = members
	default:
		tree = f.value(o.schema, "", 0)
	}
	tree = copied(tree)
	for range oneOf(f.generator, []int{0, 0, 1, 1, 1, 2, 4}) {
		tree = copied(f.spoil(o.schema, tree))
	}
	var b strings.Builder
	f.write(&b, tree, f.chance(0.03))
	body := b.String()
	if f.chance(0.04) {
		body = f.scramble(body)
	}
	if len(body) > 400_000 {
		body = body[:400_000]
	}
	return body
}

// freshen lets a good body be about what is there.
func (f *contractFuzz) freshen(o *fuzzed, tree any, owner *party) {
	members, _ := tree.(map[string]any)
	if (o.path == "/v1/plans" || o.path == "/v1/calculations") && f.chance(0.5) {
		delete(members, "vessel")
		members["vessel_id"] = f.pickID(owner, "vessels")
	}
	if _, ok := members["mmsi"]; ok && f.chance(0.15) {
		members["mmsi"] = fmt.Sprintf("231%06d", f.IntN(300))
	}
}

// copied gives a tree whose objects are its own: an example belongs to the contract, and what is odd to all bodies.
func copied(tree any) any {
	switch v := tree.(type) {
	case map[string]any:
		own := map[string]any{}
		for name, value := range v {
			own[name] = copied(value)
		}
		return own
	case []any:
		own := make([]any, len(v))
		for i := range v {
			own[i] = copied(v[i])
		}
		return own
	}
	return tree
}

// judge tells what is wrong with an answer.
func (f *contractFuzz) judge(s sending, answer *http.Response, body []byte) (faults []string) {
	say := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	status := answer.StatusCode
	if status >= 500 {
		say("status %d: %s", status, f.lastLine())
	}
	if s.foreign && status < 300 && s.method != http.MethodOptions {
		say("status %d for a thing of another organisation", status)
	}
	if s.who == nil && status < 400 && s.method != http.MethodOptions && s.o.op.Extensions["x-scope"] != "none" {
		say("status %d without a key", status)
	}
	if answer.Header.Get("X-Request-Id") == "" || answer.Header.Get("X-Content-Type-Options") != "nosniff" {
		say("status %d without the headers every answer has", status)
	}
	if at := answer.Header.Get("Access-Control-Allow-Origin"); at != "" {
		say("status %d shared with %q", status, at)
	}
	kind, _, _ := strings.Cut(answer.Header.Get("Content-Type"), ";")
	if status >= 400 && kind != "application/problem+json" {
		say("status %d as %q", status, kind)
	}
	if kind == "application/problem+json" && s.method != http.MethodHead {
		faults = append(faults, problemFaults(answer, body)...)
	}
	if asked := theContract().Paths.Value(s.o.path).GetOperation(inPlaceOf(s.method, http.MethodHead, http.MethodGet)); asked != s.o.op {
		allowed := status == http.StatusMethodNotAllowed || status == http.StatusNotFound || status == http.StatusNoContent && s.method == http.MethodOptions
		if asked == nil && !allowed {
			say("status %d for a method the route has not", status)
		}
		return faults
	}
	if status == http.StatusNotFound && strings.Contains(string(body), "there is no such route") {
		return faults // an id with a slash makes another address
	}
	documented := s.o.op.Responses.Status(status)
	if documented == nil {
		say("status %d is not documented", status)
		return faults
	}
	for _, name := range slices.Sorted(maps.Keys(documented.Value.Headers)) {
		h, sent := documented.Value.Headers[name].Value, answer.Header.Get(name)
		if sent == "" && h.Required {
			say("status %d without %s", status, name)
		} else if sent != "" {
			var value any = sent
			if h.Schema.Value.Type.Is(openapi3.TypeInteger) {
				value, _ = strconv.ParseFloat(sent, 64)
			}
			if err := h.Schema.Value.VisitJSON(value, answerOptions...); err != nil {
				say("status %d with %s %q: %v", status, name, sent, brief(err))
			}
		}
	}
	media := documented.Value.Content[kind]
	switch {
	case len(documented.Value.Content) == 0:
		if len(body) > 0 {
			say("status %d with a body the contract has not", status)
		}
	case media == nil:
		say("status %d as %q, which is not documented", status, kind)
	case isJSON(kind) && s.method != http.MethodHead:
		var tree any
		if err := json.Unmarshal(body, &tree); err != nil {
			say("status %d with what is no JSON: %v", status, err)
		} else if err := media.Schema.Value.VisitJSON(tree, answerOptions...); err != nil {
			say("status %d with a body outside its schema: %s", status, brief(err))
		}
	}
	return faults
}

func brief(err error) string {
	if one := (*openapi3.SchemaError)(nil); errors.As(err, &one) {
		return fmt.Sprintf("/%s: %s", strings.Join(one.JSONPointer(), "/"), one.Reason)
	}
	return clipped(err.Error(), 300)
}

// answerOptions hold times, days and ids to their forms as their standards have them (RFC 3339, RFC 9562).
var answerOptions = []openapi3.SchemaValidationOption{
	openapi3.VisitAsResponse(),
	openapi3.WithStringFormatValidator("date-time", openapi3.NewRegexpFormatValidator(`^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)$`)),
	openapi3.WithStringFormatValidator("date", openapi3.NewRegexpFormatValidator(`^\d{4}-\d\d-\d\d$`)),
	openapi3.WithStringFormatValidator("uuid", openapi3.NewRegexpFormatValidator(`^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$`)),
	openapi3.WithStringFormatValidator("uri-reference", openapi3.NewCallbackValidator(func(text string) error {
		_, err := url.Parse(text)
		return err
	})),
}

// problemFaults is what is wrong with a problem document.
func problemFaults(answer *http.Response, body []byte) (faults []string) {
	var p struct {
		Status    int
		RequestID string `json:"request_id"`
		Errors    []struct{ Pointer, Parameter, Header *string }
	}
	if err := json.Unmarshal(body, &p); err != nil {
		return []string{"a problem is no JSON: " + err.Error()}
	}
	if p.Status != answer.StatusCode || p.RequestID != answer.Header.Get("X-Request-Id") {
		faults = append(faults, "a problem differs from its answer in status or request id")
	}
	for _, e := range p.Errors {
		if e.Pointer == nil && e.Parameter == nil && e.Header == nil {
			faults = append(faults, "a problem's error names no place")
			break
		}
	}
	return faults
}

// learn keeps what later calls are made of.
func (f *contractFuzz) learn(s sending, answer *http.Response, body []byte) {
	if tag := answer.Header.Get("ETag"); tag != "" {
		f.tags = recent(append(f.tags, tag))
	}
	if parts := strings.Split(answer.Header.Get("Location"), "/"); len(parts) >= 4 && s.who != nil {
		s.who.ids[parts[2]] = append(s.who.ids[parts[2]], parts[3])
	}
	var page struct{ Next, Prev *string }
	if strings.HasPrefix(answer.Header.Get("Content-Type"), "application/json") && json.Unmarshal(body, &page) == nil {
		for _, cursor := range []*string{page.Next, page.Prev} {
			if cursor != nil {
				f.cursors = recent(append(f.cursors, *cursor))
			}
		}
	}
}

// inPlaceOf gives the other in place of a value that is odd.
func inPlaceOf(value, odd, other string) string {
	if value == odd {
		return other
	}
	return value
}

func recent(of []string) []string { return of[max(0, len(of)-200):] }

// lastLine is the log's line on a call that failed.
func (f *contractFuzz) lastLine() string {
	lines := strings.Split(strings.TrimSpace(f.w.log.String()), "\n")
	return clipped(lines[len(lines)-1], 3_000)
}

var changing = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f-]{27}|"[^"]*"|\d+`)

// wrong tells of a fault, once of each kind, with the call as a command.
func (f *contractFuzz) wrong(n int, s sending, fault string) {
	first, _, _ := strings.Cut(fault, "\n")
	kind := s.o.method + " " + s.o.path + " " + changing.ReplaceAllString(clipped(first, 120), "")
	if f.faults[kind] {
		return
	}
	f.faults[kind] = true
	f.t.Errorf("call %d of seed %d, %s %s: %s\n%s\n", n, f.seed, s.method, s.o.path, fault, f.curl(s))
}

// curl is a call as it is made by hand.
func (f *contractFuzz) curl(s sending) string {
	var b strings.Builder
	fmt.Fprintf(&b, "curl -i -X %s %s", s.method, shellQuoted(strings.Replace(s.target.String(), f.base, "127.0.0.1:8080", 1)))
	for _, name := range slices.Sorted(maps.Keys(s.header)) {
		for _, value := range s.header[name] {
			if name == "Authorization" && s.who != nil {
				value = "Bearer KEY"
			}
			fmt.Fprintf(&b, " -H %s", shellQuoted(name+": "+value))
		}
	}
	switch {
	case len(s.body) > 3_000:
		file, err := os.CreateTemp("", "rideout-fuzz-*.body")
		if err == nil {
			_, _ = file.WriteString(s.body)
			_ = file.Close()
			fmt.Fprintf(&b, " --data-binary @%s", file.Name())
		}
	case s.body != "":
		fmt.Fprintf(&b, " --data-binary %s", shellQuoted(s.body))
	}
	return b.String()
}

// shellQuoted quotes bytes for bash.
func shellQuoted(text string) string {
	var b strings.Builder
	b.WriteString("$'")
	for i := range len(text) {
		switch c := text[i]; {
		case c == '\'' || c == '\\':
			b.WriteByte('\\')
			b.WriteByte(c)
		case c < 0x20 || c >= 0x7f:
			fmt.Fprintf(&b, `\x%02x`, c)
		default:
			b.WriteByte(c)
		}
	}
	b.WriteString("'")
	return b.String()
}

// report prints what was called and holds that it was enough.
func (f *contractFuzz) report(took time.Duration) {
	calls, classes := 0, map[int]int{}
	for status, n := range f.statuses {
		calls += n
		classes[status/100] += n
	}
	least, best := f.operations[0], 0
	var never []string
	for _, o := range f.operations {
		if o.count < least.count {
			least = o
		}
		if o.good > 0 {
			best++
		} else {
			never = append(never, o.method+" "+o.path)
		}
	}
	f.t.Logf("seed %d: %d calls of %d operations in %.0f s; 2xx %d, 3xx %d, 4xx %d, 5xx %d; by status %v", f.seed, calls, len(f.operations), took.Seconds(), classes[2], classes[3], classes[4], classes[5], f.statuses)
	f.t.Logf("least called: %s %s, %d times; %d operations answered 2xx, never: %v; calculations %d, of these %d by the engine", least.method, least.path, least.count, best, never, f.asked, f.engine)
	for _, p := range f.parties {
		for _, name := range slices.Sorted(maps.Keys(p.keys)) {
			if strings.Contains(f.w.log.String(), p.keys[name]) {
				f.t.Error("a key is in the log")
			}
		}
	}
	if calls >= 20_000 && (len(never) > 0 || least.count < calls/2_000) {
		f.t.Errorf("some operations were hardly called: least %d, never answered 2xx: %v", least.count, never)
	}
}

// The fuzz finds what it is to find: a good answer with one thing wrong in it.
func TestFaultyAnswersAreFound(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	f := &contractFuzz{t: t, w: w}
	f.list()
	const path = "/v1/vessels/{id}"
	o := f.operations[slices.IndexFunc(f.operations, func(o *fuzzed) bool { return o.method == http.MethodGet && o.path == path })]
	vessel := w.add("/v1/vessels", ternBody)
	for name, c := range map[string]struct {
		spoil func(*sending, *http.Response, *string)
		finds string
	}{
		"nothing":        {func(*sending, *http.Response, *string) {}, ""},
		"a failure":      {func(_ *sending, a *http.Response, _ *string) { a.StatusCode = 500 }, "status 500"},
		"another status": {func(_ *sending, a *http.Response, _ *string) { a.StatusCode = 206 }, "status 206 is not documented"},
		"a refusal as HTML": {func(_ *sending, a *http.Response, _ *string) {
			a.StatusCode = 404
			a.Header.Set("Content-Type", "text/html")
		}, `status 404 as "text/html"`},
		"another media type":  {func(_ *sending, a *http.Response, _ *string) { a.Header.Set("Content-Type", "text/csv") }, "which is not documented"},
		"no ETag":             {func(_ *sending, a *http.Response, _ *string) { a.Header.Del("ETag") }, "without ETag"},
		"a time that is none": {func(_ *sending, a *http.Response, _ *string) { a.Header.Set("Valid-At", "10000-01-01T00:00:00Z") }, "Valid-At"},
		"no JSON":             {func(_ *sending, _ *http.Response, b *string) { *b = (*b)[:20] }, "no JSON"},
		"a member too many":   {func(_ *sending, _ *http.Response, b *string) { *b = strings.Replace(*b, `{"id"`, `{"key":"x","id"`, 1) }, "outside its schema"},
		"a member of no type": {func(_ *sending, _ *http.Response, b *string) {
			*b = strings.Replace(*b, `"version":1`, `"version":"1"`, 1)
		}, "outside its schema"},
		"another's": {func(s *sending, _ *http.Response, _ *string) { s.foreign = true }, "another organisation"},
		"nobody's":  {func(s *sending, _ *http.Response, _ *string) { s.who = nil }, "without a key"},
		"shared":    {func(_ *sending, a *http.Response, _ *string) { a.Header.Set("Access-Control-Allow-Origin", "*") }, "shared"},
		"a method":  {func(s *sending, _ *http.Response, _ *string) { s.method = http.MethodDelete }, "a method the route has not"},
	} {
		answer := w.do(http.MethodGet, vessel, "")
		s, body := sending{o: o, method: http.MethodGet, who: &party{}}, text(t, answer)
		c.spoil(&s, answer, &body)
		found := strings.Join(f.judge(s, answer, []byte(body)), "; ")
		if c.finds == "" && found != "" || !strings.Contains(found, c.finds) {
			t.Errorf("%s: found %q, want %q", name, found, c.finds)
		}
	}
}
