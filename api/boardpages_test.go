package api_test

import (
	"encoding/json"
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/api"
	"rideout/service"
)

// browser is who uses the pages: it keeps cookies and sends forms as a browser does.
type browser struct {
	*world
	cookies map[string]*http.Cookie
}

func (w *world) browser() *browser { return &browser{w, map[string]*http.Cookie{}} }

func (b *browser) visit(method, target string, form url.Values, headers ...string) *http.Response {
	b.t.Helper()
	r := httptest.NewRequest(method, target, strings.NewReader(form.Encode()))
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Sec-Fetch-Site", "same-origin")
	}
	for _, c := range b.cookies {
		r.AddCookie(c)
	}
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	recorder := httptest.NewRecorder()
	b.api.ServeHTTP(recorder, r)
	answer := recorder.Result()
	for _, c := range answer.Cookies() {
		if b.cookies[c.Name] = c; c.MaxAge < 0 {
			delete(b.cookies, c.Name)
		}
	}
	return answer
}

func (b *browser) get(target string) *http.Response { return b.visit(http.MethodGet, target, nil) }

var hidden = regexp.MustCompile(`type="hidden" name="([a-z_]+)" value="([^"]*)"`)

// form reads a page and gives the hidden fields of its last form that is sent, with others put in.
func (b *browser) form(target string, fields ...string) url.Values {
	b.t.Helper()
	page := text(b.t, b.get(target))
	if i := strings.LastIndex(page, `method="post"`); i > 0 {
		page, _, _ = strings.Cut(page[i:], "</form>")
	}
	form := url.Values{}
	for _, found := range hidden.FindAllStringSubmatch(page, -1) {
		form.Set(found[1], found[2])
	}
	for i := 0; i < len(fields); i += 2 {
		form.Set(fields[i], fields[i+1])
	}
	return form
}

func (b *browser) signIn(key string) *http.Response {
	b.t.Helper()
	return b.visit(http.MethodPost, "/board/sign-in", b.form("/board/sign-in?next=%2Fboard%2Foutcomes", "key", key))
}

const (
	sessionName = "rideout_session"
	formName    = "rideout_form"
)

func TestSignInGivesASealedSession(t *testing.T) {
	t.Parallel()
	b := newWorld(t).browser()
	answer := b.signIn(b.key)
	if answer.StatusCode != http.StatusSeeOther || answer.Header.Get("Location") != "/board/outcomes" {
		t.Fatalf("signed in: %d to %q, want 303 to the page asked for", answer.StatusCode, answer.Header.Get("Location"))
	}
	c := b.cookies[sessionName]
	if c == nil || !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/board" || c.Domain != "" || c.Secure {
		t.Errorf("session cookie %+v, want HttpOnly, SameSite=Strict, for /board of this host", c)
	}
	if secret := b.key[len("ro_91m3hrxe_"):]; strings.Contains(c.Value, secret) || strings.Contains(b.log.String(), secret) {
		t.Error("the key is in the cookie or the log")
	}
	if b.cookies[formName] != nil {
		t.Error("the cookie of the sign-in form is left")
	}
	page := b.get("/board")
	if page.StatusCode != http.StatusOK || !strings.Contains(text(t, page), "Key ro_91m3hrxe<") {
		t.Errorf("signed in, the board is %d", page.StatusCode)
	}
	for name, want := range map[string]string{"Content-Security-Policy": "default-src 'none'; style-src 'self'; script-src 'self'", "X-Frame-Options": "DENY", "Referrer-Policy": "same-origin", "Cache-Control": "private, no-cache"} {
		if got := page.Header.Get(name); !strings.HasPrefix(got, want) {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
	if got := b.visit(http.MethodGet, "/v1/plans", nil).StatusCode; got != http.StatusUnauthorized {
		t.Errorf("the API takes the cookie: %d, want 401", got)
	}
}

// Over TLS, or behind what ends it, the cookie goes nowhere else.
func TestCookiesAreSecureOverTLS(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	r := httptest.NewRequest(http.MethodGet, "https://example.com/board/sign-in", nil)
	recorder := httptest.NewRecorder()
	w.api.ServeHTTP(recorder, r)
	cookies := recorder.Result().Cookies()
	if len(cookies) != 1 || !cookies[0].Secure || cookies[0].Name != "__Secure-"+formName {
		t.Errorf("over TLS: %+v, want one that is Secure by name", cookies)
	}
}

func TestWrongKeysOpenNothing(t *testing.T) {
	t.Parallel()
	b := newWorld(t).browser()
	for _, c := range []struct {
		key, says string
		status    int
	}{
		{"", "mistyped or cut", http.StatusUnprocessableEntity},
		{b.key[:50], "mistyped or cut", http.StatusUnprocessableEntity},
		{service.NewKey().Reveal(), "unknown or revoked", http.StatusForbidden},
	} {
		answer := b.signIn(c.key)
		page := text(t, answer)
		if answer.StatusCode != c.status || !strings.Contains(page, c.says) || b.cookies[sessionName] != nil {
			t.Errorf("key %q: %d, session %v, want %d and %q", c.key, answer.StatusCode, b.cookies[sessionName], c.status, c.says)
		}
		if c.key != "" && strings.Contains(page, c.key) {
			t.Errorf("the page writes the key %q back", c.key)
		}
	}
	b.keyErr = service.ErrUnavailable
	if answer := b.signIn(b.key); answer.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("store away: %d, want 503", answer.StatusCode)
	}
}

func TestSignInLeadsNowhereElse(t *testing.T) {
	t.Parallel()
	for next, want := range map[string]string{
		"/board/vessels/1?x=2": "/board/vessels/1?x=2", "/board": "/board", "": "/board", "https://example.com/board": "/board", "//example.com/board": "/board",
		"/boards": "/board", "/v1/plans": "/board", "javascript:alert(1)": "/board", "/board/%zz": "/board", `/\example.com/board`: "/board",
	} {
		b := newWorld(t).browser()
		form := b.form("/board/sign-in", "key", b.key, "next", next)
		if got := b.visit(http.MethodPost, "/board/sign-in", form).Header.Get("Location"); got != want {
			t.Errorf("next %q leads to %q, want %q", next, got, want)
		}
	}
}

// Every page with a scope sends a reader to sign in, and refuses a form; none is told what is there.
func TestPagesAskForASession(t *testing.T) {
	t.Parallel()
	b := newWorld(t).browser()
	for _, p := range b.api.Pages() {
		if p.Open() {
			continue
		}
		path := strings.NewReplacer("{id}", "00000000-0000-7000-8000-000000000001", "{drawing}", "rig.svg").Replace(p.Path)
		want := http.StatusSeeOther
		switch {
		case p.Method == http.MethodPost:
			want = http.StatusForbidden
		case p.Path == "/board/events":
			want = http.StatusUnauthorized
		}
		answer := b.visit(p.Method, path, nil)
		if answer.StatusCode != want {
			t.Errorf("%s %s without a session: %d, want %d", p.Method, path, answer.StatusCode, want)
		}
		if to := answer.Header.Get("Location"); want == http.StatusSeeOther && to != "/board/sign-in?next="+url.QueryEscape(path) {
			t.Errorf("%s leads to %q", path, to)
		}
	}
}

// A session ends when it is changed, too old, its key revoked, or another secret is in force; and by signing out.
func TestSessionsEnd(t *testing.T) {
	t.Parallel()
	signedIn := func(b *browser) bool { return b.get("/board").StatusCode == http.StatusOK }
	for name, end := range map[string]func(*browser){
		"changed": func(b *browser) {
			value := []byte(b.cookies[sessionName].Value)
			value[20] ^= 1
			b.cookies[sessionName].Value = string(value)
		},
		"cut":      func(b *browser) { b.cookies[sessionName].Value = "x" },
		"too old":  func(b *browser) { b.pass(12 * time.Hour) },
		"revoked":  func(b *browser) { b.holders = nil; b.pass(5 * time.Second) },
		"left":     func(b *browser) { b.visit(http.MethodPost, "/board/sign-out", b.form("/board")) },
		"a secret": func(b *browser) { b.api = newWorld(b.t).api },
	} {
		b := newWorld(t).browser()
		b.signIn(b.key)
		if !signedIn(b) {
			t.Fatalf("%s: not signed in to begin with", name)
		}
		if end(b); signedIn(b) {
			t.Errorf("%s: the session goes on", name)
		}
	}
}

// Who has copied the cookie is signed out with whoever signs out, at every replica; another session of the same key goes on.
func TestSigningOutEndsEveryCopy(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	var config api.Config
	newWorldWith(t, func(c *api.Config) { config = *c })
	config.Keyring, config.Sessions, config.Clock, config.SessionSecret = w, w.history, w.clock, []byte(strings.Repeat("s", api.SessionSecretBytes))
	replica := func() *api.API {
		made, err := api.New(config)
		if err != nil {
			t.Fatal(err)
		}
		return made
	}
	here, there := replica(), replica()
	w.api = here
	b, another := w.browser(), w.browser()
	b.signIn(w.key)
	another.signIn(w.key)
	thief := w.browser()
	thief.cookies = maps.Clone(b.cookies)
	server := httptest.NewServer(there)
	defer server.Close()
	defer there.Drain()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, server.URL+"/board/events", http.NoBody)
	if err != nil {
		t.Fatal(err)
	}
	r.AddCookie(thief.cookies[sessionName])
	stream, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer stream.Body.Close()
	if stream.StatusCode != http.StatusOK {
		t.Fatalf("the copy's stream: %d, want 200", stream.StatusCode)
	}
	b.visit(http.MethodPost, "/board/sign-out", b.form("/board"))
	ended := make(chan error, 1)
	go func() { _, err := io.Copy(io.Discard, stream.Body); ended <- err }()
	select {
	case err := <-ended:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(30 * time.Second):
		t.Error("the copy's stream goes on")
	}
	for _, at := range []*api.API{here, there} {
		w.api = at
		if got := thief.get("/board").StatusCode; got != http.StatusSeeOther {
			t.Errorf("the copy: %d, want 303 to the sign-in", got)
		}
		if got := another.get("/board").StatusCode; got != http.StatusOK {
			t.Errorf("another session of the key: %d, want 200", got)
		}
	}
}

// Whoever signs in again has another session, and the one before is over.
func TestSigningInAgainEndsTheSessionBefore(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b, before := w.browser(), w.browser()
	b.signIn(w.key)
	before.cookies = maps.Clone(b.cookies)
	b.signIn(w.key)
	if got := b.get("/board").StatusCode; got != http.StatusOK || b.cookies[sessionName].Value == before.cookies[sessionName].Value {
		t.Errorf("signed in again: %d, want 200 and another session", got)
	}
	if got := before.get("/board").StatusCode; got != http.StatusSeeOther {
		t.Errorf("the session before: %d, want 303 to the sign-in", got)
	}
}

// Where it cannot be noted that somebody signed out, that is said, and the cookie goes all the same.
func TestSigningOutSaysWhenItCannotBeNoted(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.browser()
	b.signIn(w.key)
	form := b.form("/board")
	w.history.Err = service.ErrUnavailable
	if got := b.visit(http.MethodPost, "/board/sign-out", form).StatusCode; got != http.StatusServiceUnavailable || b.cookies[sessionName] != nil {
		t.Errorf("%d, cookie %v, want 503 and no cookie", got, b.cookies[sessionName])
	}
}

// Replicas with one secret know each other's sessions.
func TestSessionsAreOfTheSecret(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	var config api.Config
	newWorldWith(t, func(c *api.Config) { config = *c })
	replica := func(secret string) *api.API {
		t.Helper()
		its := config
		its.Keyring, its.Clock, its.SessionSecret, its.SecureCookies = w, w.clock, []byte(secret), true
		made, err := api.New(its)
		if err != nil {
			t.Fatal(err)
		}
		return made
	}
	secret := strings.Repeat("s", api.SessionSecretBytes)
	b := w.browser()
	b.api = replica(secret)
	b.signIn(b.key)
	if c := b.cookies["__Secure-"+sessionName]; c == nil || !c.Secure {
		t.Errorf("cookies %v, want a Secure one", b.cookies)
	}
	for other, want := range map[string]int{secret: http.StatusOK, strings.ToUpper(secret): http.StatusSeeOther} {
		b.api = replica(other)
		if got := b.get("/board").StatusCode; got != want {
			t.Errorf("another replica with %.3s...: %d, want %d", other, got, want)
		}
	}
	config.SessionSecret = []byte("short")
	if _, err := api.New(config); err == nil || !strings.Contains(err.Error(), "5 bytes") {
		t.Errorf("a short secret: %v, want refused", err)
	}
}

// A form that another page made is refused and does nothing.
func TestForgedFormsAreRefused(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel := w.add("/v1/vessels", ternBody)
	path := strings.Replace(vessel, "/v1", "/board", 1) + "/incident"
	fields := []string{"occurred_at", "2026-01-12T10:00", "kind", "rode_chafed", "severity", "minor", "what_happened", "It chafed."}
	b := w.browser()
	b.signIn(b.key)
	other := w.browser()
	other.signIn(w.other)
	for name, c := range map[string]struct {
		change  func(url.Values)
		headers []string
	}{
		"no token":           {func(f url.Values) { f.Del("form_token") }, nil},
		"a wrong token":      {func(f url.Values) { f.Set("form_token", "x") }, nil},
		"another's token":    {func(f url.Values) { f.Set("form_token", other.form("/board").Get("form_token")) }, nil},
		"from another site":  {func(url.Values) {}, []string{"Sec-Fetch-Site", "cross-site"}},
		"from a neighbour":   {func(url.Values) {}, []string{"Sec-Fetch-Site", "same-site"}},
		"of another origin":  {func(url.Values) {}, []string{"Sec-Fetch-Site", "", "Origin", "https://elsewhere.example"}},
		"longer than a form": {func(f url.Values) { f.Set("what_was_learned", strings.Repeat("x", 70_000)) }, nil},
	} {
		form := b.form(path, fields...)
		c.change(form)
		want := http.StatusForbidden
		if strings.HasPrefix(name, "longer") {
			want = http.StatusRequestEntityTooLarge
		}
		if answer := b.visit(http.MethodPost, path, form, c.headers...); answer.StatusCode != want {
			t.Errorf("%s: %d, want %d", name, answer.StatusCode, want)
		}
	}
	if got := w.members("/v1/incidents")["items"]; len(got.([]any)) != 0 {
		t.Errorf("a forged form recorded %v", got)
	}
	form := b.form("/board")
	form.Del("form_token")
	if b.visit(http.MethodPost, "/board/sign-out", form); b.get("/board").StatusCode != http.StatusOK {
		t.Error("a forged form signs out")
	}
}

func TestIncidentFormRecordsOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel := w.add("/v1/vessels", ternBody)
	path := strings.Replace(vessel, "/v1", "/board", 1) + "/incident"
	b := w.browser()
	b.signIn(b.key)

	wrong := b.form(path, "occurred_at", "2027-01-12T10:00", "kind", "injury", "severity", "near_miss", "injured", "x", "what_happened", `<"mast">`)
	answer := b.visit(http.MethodPost, path, wrong)
	page := text(t, answer)
	if answer.StatusCode != http.StatusUnprocessableEntity {
		t.Fatalf("a wrong form: %d, want 422", answer.StatusCode)
	}
	for _, want := range []string{
		`id="occurred_at-fault">Lies in the future.`, `id="injured-fault">Give a whole number`, `value="x" aria-invalid="true" aria-describedby="injured-fault"`,
		`&lt;&#34;mast&#34;&gt;</textarea>`, `value="2027-01-12T10:00"`, `<option value="injury" selected>`, `name="idempotency_key" value="` + wrong.Get("idempotency_key"),
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the form does not hold %q", want)
		}
	}

	right := b.form(path, "occurred_at", "2026-01-12T10:00", "kind", "rode_chafed", "severity", "minor", "injured", "2", "what_happened", "It chafed.\r\nThen it held.", "grounds_vessel", "true")
	var to []string
	for range 2 {
		answer := b.visit(http.MethodPost, path, right)
		if answer.StatusCode != http.StatusSeeOther {
			t.Fatalf("a right form: %d %s, want 303", answer.StatusCode, text(t, answer))
		}
		to = append(to, answer.Header.Get("Location"))
	}
	if to[0] != to[1] {
		t.Errorf("sent twice the form leads to %v, want one note", to)
	}
	var list struct{ Items []map[string]any }
	if err := json.Unmarshal([]byte(text(t, w.do(http.MethodGet, "/v1/incidents", ""))), &list); err != nil || len(list.Items) != 1 {
		t.Fatalf("%d notes, want 1 (%v)", len(list.Items), err)
	}
	note := list.Items[0]
	for name, want := range map[string]any{"vessel_id": idIn(vessel), "occurred_at": "2026-01-12T10:00:00Z", "injured": 2.0, "what_happened": "It chafed.\nThen it held.", "grounds_vessel": true, "recorded_by": "ro_91m3hrxe"} {
		if note[name] != want {
			t.Errorf("%s: %v, want %v", name, note[name], want)
		}
	}
	right.Set("what_happened", "Otherwise.")
	if answer := b.visit(http.MethodPost, path, right); answer.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(text(t, answer), "recorded already") {
		t.Errorf("the same form with other words: %d, want 422 and why", answer.StatusCode)
	}
	at, _, _ := strings.Cut(to[0], "#")
	if page := text(t, b.get(at)); !strings.Contains(page, "The incident note is recorded") || !strings.Contains(page, "open, keeps her in port") {
		t.Error("the vessel's page does not show the note")
	}
}

func TestBoardIsNarrowed(t *testing.T) {
	t.Parallel()
	w := newMixed(t)
	b := w.browser()
	b.signIn(b.key)
	for query, want := range map[string][]string{
		"":                                    {"Curlew", "Dunlin", "Brent", "Auk"}, // worst first
		"?state=ready":                        {"Auk"},
		"?state=ready_with_reservations":      {"Brent"},
		"?rule=incident_grounds":              {"Curlew"},
		"?text=LAID":                          {"Dunlin"},
		"?text=no+such":                       nil,
		"?days=365&rule=drill_overdue":        {"Brent", "Auk"}, // falls due
		"?days=30&rule=drill_overdue":         nil,
		"?valid_at=2024-01-01T00:00":          nil,
		"?state=not_ready&text=curlew":        {"Curlew"},
		"?state=ready&text=curlew":            nil,
		"?state=not_ready&rule=no_such_rule":  nil,
		"?valid_at=2026-01-12T13:00&text=Auk": {"Auk"},
	} {
		answer := b.get("/board" + query)
		if got := listed(text(t, answer)); answer.StatusCode != http.StatusOK || !slices.Equal(got, want) {
			t.Errorf("/board%s: %d %v, want %v", query, answer.StatusCode, got, want)
		}
	}
	page := text(t, b.get("/board?state=ready&days=365"))
	for _, want := range []string{"<b>2</b> Not ready", "<b>1</b> Ready with reservations", "<b>1</b> Ready", "<b>4</b> vessels", "Falls due in the fleet within 365 days"} {
		if !strings.Contains(page, want) {
			t.Errorf("the board does not hold %q", want)
		}
	}
	answer := b.get("/board?valid_at=yesterday")
	if page := text(t, answer); answer.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(page, `id="valid_at-fault"`) {
		t.Errorf("a wrong time: %d, want 422 and the fault beside the field", answer.StatusCode)
	}
	if got := b.get("/board?cursor=x").StatusCode; got != http.StatusBadRequest {
		t.Errorf("a wrong cursor: %d, want 400", got)
	}
}

var vesselHead = regexp.MustCompile(`<h3 id="v-[^"]+"><a href="[^"]+">(\w+) of`)

// listed lists the vessels of a board by their first names.
func listed(page string) (names []string) {
	for _, found := range vesselHead.FindAllStringSubmatch(page, -1) {
		names = append(names, found[1])
	}
	return names
}

// A long list comes in pages that lead on and back.
func TestBoardIsPaged(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for range 60 {
		w.add("/v1/vessels", ternBody)
	}
	b := w.browser()
	b.signIn(b.key)
	link := regexp.MustCompile(`rel="(next|prev)" href="([^"]+)"`)
	page := text(t, b.get("/board?state=not_ready"))
	found := link.FindAllStringSubmatch(page, -1)
	if len(listed(page)) != 50 || len(found) != 1 || found[0][1] != "next" {
		t.Fatalf("the first page has %d vessels and %v", len(listed(page)), found)
	}
	page = text(t, b.get(strings.ReplaceAll(found[0][2], "&amp;", "&")))
	found = link.FindAllStringSubmatch(page, -1)
	if len(listed(page)) != 10 || len(found) != 1 || found[0][1] != "prev" {
		t.Fatalf("the second page has %d vessels and %v", len(listed(page)), found)
	}
	if page = text(t, b.get(strings.ReplaceAll(found[0][2], "&amp;", "&"))); len(listed(page)) != 50 {
		t.Errorf("back on the first page are %d vessels", len(listed(page)))
	}
}

// The board of another organisation shows nothing of this one's.
func TestPagesAreOfOneOrganisation(t *testing.T) {
	t.Parallel()
	w := newMixed(t)
	plan := w.create("a")
	b := w.browser()
	b.signIn(w.other)
	if page := text(t, b.get("/board")); strings.Contains(page, "Auk") || !strings.Contains(page, "No vessel is registered") {
		t.Error("another organisation's board shows our vessels")
	}
	for _, path := range []string{w.auk, w.auk + "/incident", plan + "/sheet", plan + "/sheet.pdf", plan + "/drawings/rig.svg"} {
		path = strings.Replace(path, "/v1", "/board", 1)
		if got := b.get(path).StatusCode; got != http.StatusNotFound {
			t.Errorf("%s of another organisation: %d, want 404", path, got)
		}
	}
}

func TestPlansAreShownToWhoSignedIn(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	plan := w.create("a")
	b := w.browser()
	b.signIn(b.key)
	page := strings.Replace(plan, "/v1", "/board", 1)
	if got, want := text(t, b.get(page+"/sheet")), text(t, w.do(http.MethodGet, plan+"/sheet", "", "Accept", "text/html")); got != want {
		t.Error("the sheet on the board is another than the API's")
	}
	for path, kind := range map[string]string{"/sheet.pdf": "application/pdf", "/sheet.pdf?paper=letter": "application/pdf", "/drawings/drift.svg": "image/svg+xml", "/sheet?units=trade": "text/html; charset=utf-8"} {
		if answer := b.get(page + path); answer.StatusCode != http.StatusOK || answer.Header.Get("Content-Type") != kind {
			t.Errorf("%s: %d %s, want 200 %s", path, answer.StatusCode, answer.Header.Get("Content-Type"), kind)
		}
	}
	for _, path := range []string{page + "/drawings/none.svg", "/board/plans/x/sheet", "/board/no/such", "/board/vessels/x"} {
		answer := b.get(path)
		if answer.StatusCode != http.StatusNotFound || !strings.Contains(text(t, answer), "<h1>Not found</h1>") {
			t.Errorf("%s: %d, want 404 as a page", path, answer.StatusCode)
		}
	}
}

// Observed drift and load stand beside what the plan had; what is no test of it is counted with the reason.
func TestOutcomesSetPairs(t *testing.T) {
	t.Parallel()
	w, _, _, _, plan := borne(t)
	w.pass(time.Hour)
	deployment := w.add(plan+"/deployments", `{"deployed_at": "2026-01-09T13:00:00Z"}`)
	seen := func(at, toward, more string) {
		w.add(deployment+"/observations", `{"observed_at": "2026-01-09T`+at+`:00:00Z", "from_fix": {"time": "2026-01-09T`+at+`:00:00Z", "latitude_deg": 61, "longitude_deg": -6}, "to_fix": {"time": "2026-01-09T`+at+`:59:00Z", "latitude_deg": `+toward+`, "longitude_deg": -6}`+more+`}`)
	}
	seen("14", "61.0165", `, "load_n": 2500, "load_over_min": 20`)
	seen("15", "61.1", "")
	seen("16", "61.02", `, "wind_speed_kt": 119`)
	b := w.browser()
	b.signIn(b.key)
	page := text(t, b.get("/board/outcomes"))
	for _, want := range []string{
		"<b>1 of 2</b> inside the band.", // 1.0 and 6.1 kt, where the plan has 1.0
		"<b>1 of 1</b> inside the band.", // the plan's own 2,500 N
		"Observed, but not compared", "the wind was 119 kt and the forecast had", `id="agreement-drift-title"`, "Tern of",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not hold %q but %q", want, regexp.MustCompile(`<p class="sum">.*|<td class="number".*`).FindAllString(page, -1))
		}
	}
}

// The board's stream tells that something changed, and not what.
func TestBoardsStreamIsQuiet(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.browser()
	b.signIn(b.key)
	server := httptest.NewServer(w.api)
	defer server.Close()
	defer w.api.Drain()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, server.URL+"/board/events", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.AddCookie(b.cookies[sessionName])
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		t.Fatalf("the stream: %d", answer.StatusCode)
	}
	w.add("/v1/vessels", ternBody)
	var told strings.Builder
	for piece := make([]byte, 512); !strings.Contains(told.String(), "data: "); {
		n, err := answer.Body.Read(piece)
		if err != nil {
			t.Fatalf("after %q: %v", told.String(), err)
		}
		told.Write(piece[:n])
	}
	if !strings.Contains(told.String(), "id: 1\ndata: {}\n\n") {
		t.Errorf("the stream tells %q, want no more than that something happened", told.String())
	}
}

// Each page opens to a key that has its scope, and to no other; so does each form.
func TestPagesAskForTheirScopes(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel := w.add("/v1/vessels", ternBody)
	plan := w.create("a")
	for _, scope := range service.AllScopes() {
		b := w.browser()
		b.signIn(w.issue(uuid.UUID{1}, scope).Reveal())
		for _, p := range b.api.Pages() {
			if p.Open() || p.Path == "/board/events" && p.Scope == scope { // a stream does not end by itself
				continue
			}
			id := idIn(vessel)
			if strings.HasPrefix(p.Path, "/board/plans") {
				id = idIn(plan)
			}
			path := strings.NewReplacer("{id}", id, "{drawing}", "rig.svg").Replace(p.Path)
			var form url.Values
			want := http.StatusOK
			if p.Method == http.MethodPost {
				form = b.form("/board/sign-in")
				form.Set("form_token", b.form("/board").Get("form_token"))
				want = http.StatusUnprocessableEntity // nothing is filled in
			}
			if p.Scope != scope {
				want = http.StatusForbidden
			}
			answer := b.visit(p.Method, path, form)
			if answer.StatusCode != want {
				t.Errorf("%s %s with %s: %d, want %d", p.Method, path, scope, answer.StatusCode, want)
			}
			if want == http.StatusForbidden && !strings.Contains(text(t, answer), "asks for the scope "+string(p.Scope)) {
				t.Errorf("%s %s with %s does not say which scope it asks", p.Method, path, scope)
			}
		}
	}
}
