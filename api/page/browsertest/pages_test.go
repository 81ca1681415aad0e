package browsertest

import (
	"context"
	"encoding/base64"
	"fmt"
	"net/http"
	"os"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

var widths = []int64{1280, 768, 360}

// One browser and one office serve all: both take seconds to start. What changes the book comes last.
func TestInABrowser(t *testing.T) {
	t.Parallel()
	v := visit{newBrowser(t), newOffice(t)}
	t.Run("pages", v.pages)
	t.Run("keyboard", v.keyboard)
	t.Run("signing in and out", v.signing)
	t.Run("without script", v.withoutScript)
	t.Run("nobody's board", v.nobody)
	t.Run("incident", v.incident)
	t.Run("following changes", v.following)
}

type visit struct {
	browser context.Context
	office  *office
}

// Every page fits a desk, a tablet and a telephone, by day and by night, and can be used without seeing it.
func (v visit) pages(t *testing.T) {
	o := v.office
	for _, page := range []struct{ name, address string }{
		{"board", "/board"},
		{"board-narrowed", "/board?text=hamna&days=365"},
		{"board-empty", "/board?text=no+such+vessel"},
		{"board-past", "/board?valid_at=2024-06-01T12:00"},
		{"board-wrong", "/board?valid_at=yesterday"},
		{"vessel", "/board/vessels/" + o.kestrel},
		{"vessel-grounded", "/board/vessels/" + o.puffin},
		{"incident", "/board/vessels/" + o.kestrel + "/incident"},
		{"outcomes", "/board/outcomes"},
		{"not-found", "/board/vessels/" + o.plan},
		{"sheet", "/v1/plans/" + o.plan + "/sheet"},
		{"docs", "/docs"},
	} {
		t.Run(page.name, func(t *testing.T) {
			b := newTab(t, v.browser, o)
			if strings.HasPrefix(page.address, "/board") {
				b.signIn(o, o.key.Reveal())
			} else {
				b.withKey(o)
			}
			b.allowed = map[string][]string{"not-found": {"404"}, "board-wrong": {"422"}}[page.name]
			b.as(1280, "light")
			b.open(o.url + page.address)
			for _, width := range widths {
				for _, scheme := range []string{"light", "dark"} {
					b.as(width, scheme)
					b.audit()
					if scheme == "light" || width == 768 {
						b.picture(fmt.Sprintf("%s-%d-%s", page.name, width, scheme))
					}
				}
			}
			b.printed(page.name)
			b.quiet()
		})
	}
}

// Contrast 4.48 of #777 on white is the usual example of a grey that just fails (WCAG 2.2, 1.4.3, from memory).
//
// The audit finds what it is there to find: on a page with every fault, each.
func TestAuditFindsFaults(t *testing.T) {
	t.Parallel()
	browser := newBrowser(t)
	ctx, closeIt := chromedp.NewContext(browser)
	t.Cleanup(closeIt)
	faulty, err := os.ReadFile("testdata/faulty.html")
	if err != nil {
		t.Fatal(err)
	}
	b := &tab{t: t, ctx: ctx}
	b.as(360, "light")
	b.do(chromedp.Navigate("data:text/html;base64," + base64.StdEncoding.EncodeToString(faulty)))
	found := strings.Join(ask(b, chromedp.Evaluate[[]string](auditScript)), "\n")
	for _, want := range []string{
		"no language", "no title", "px wide in a window of 360", "not one main", "outside every landmark", "a landmark without a name", "not one h1",
		"level 4 after one of 2", "an empty heading", "2 things have the id twice", "names nowhere, which is not there", "leads to nothing on the page",
		"a field without a label", "a control without a name", "a picture without a text", "a drawing without a name", "a table without heads",
		"holds what is no item", "holds neither", "cannot be reached by the keyboard", "contrast 4.48 of rgb(119, 119, 119) on 255,255,255",
	} {
		if !strings.Contains(found, want) {
			t.Errorf("the audit does not find %q in:\n%s", want, found)
		}
	}
	if strings.Contains(found, "rgb(200, 200, 200)") {
		t.Errorf("light text on a dark ground is found faulty:\n%s", found)
	}
}

// The keyboard reaches every control in the order of the page, sees where it is, and gets out again.
func (v visit) keyboard(t *testing.T) {
	o := v.office
	for _, page := range []struct {
		name, address string
		width         int64
	}{
		{"sign-in", "/board/sign-in", 360},
		{"board", "/board?state=ready", 1280},
		{"board", "/board?state=ready", 360},
		{"vessel", "/board/vessels/" + o.kestrel, 768},
		{"incident", "/board/vessels/" + o.kestrel + "/incident", 360},
		{"outcomes", "/board/outcomes", 1280},
		{"sheet", "/v1/plans/" + o.plan + "/sheet", 768},
		{"docs", "/docs", 768},
	} {
		t.Run(fmt.Sprintf("%s-%d", page.name, page.width), func(t *testing.T) {
			b := newTab(t, v.browser, o)
			b.as(page.width, "light")
			switch {
			case page.name == "sign-in":
			case strings.HasPrefix(page.address, "/board"):
				b.signIn(o, o.key.Reveal())
			default:
				b.withKey(o)
			}
			b.open(o.url + page.address)
			b.tabThrough()
			b.quiet()
		})
	}
}

// mostParts is how many stops of the keyboard one field may have within it: day, month, year, hour, minute, half of the day
// and the calendar.
const mostParts = 8

func (b *tab) tabThrough() {
	b.t.Helper()
	stops := ask(b, chromedp.Evaluate[int](stopsScript))
	if stops == 0 {
		b.t.Fatal("the page has nothing to reach")
	}
	type focus struct {
		Stop int    `json:"stop"`
		Seen bool   `json:"seen"`
		What string `json:"what"`
	}
	last, same := -1, 0
	for last < stops-1 {
		b.do(chromedp.KeyEvent("\t"))
		at := ask(b, chromedp.Evaluate[focus](focusScript))
		switch {
		case at.Stop == last && same < mostParts:
			same++
			continue
		case at.Stop != last+1:
			b.t.Fatalf("after stop %d of %d the keyboard is at %d (%s)", last, stops, at.Stop, at.What)
		case !at.Seen:
			b.t.Errorf("the focus cannot be seen at stop %d: %s", at.Stop, at.What)
		}
		last, same = at.Stop, 0
	}
}

// A key opens the board for this browser alone, and is nowhere in it. Signing out ends that.
func (v visit) signing(t *testing.T) {
	o := v.office
	b := newTab(t, v.browser, o)
	b.as(1280, "light")
	b.open(o.url + "/board/vessels/" + o.kestrel)
	b.do(chromedp.WaitVisible("#key"))
	b.picture("sign-in-1280-light")
	b.audit()
	b.as(360, "dark")
	b.do(chromedp.Focus("#key"), chromedp.KeyEvent(strings.Replace(o.key.Reveal(), "ro_", "ro-", 1)), chromedp.KeyEvent("\r"), chromedp.WaitVisible("#key-fault"))
	b.audit()
	b.picture("sign-in-wrong-360-dark")
	b.do(chromedp.Focus("#key"), chromedp.KeyEvent(o.key.Reveal()), chromedp.KeyEvent("\r"), chromedp.WaitVisible("#gear"))
	told := ask(b, chromedp.Evaluate[string](`document.cookie + JSON.stringify(localStorage) + document.documentElement.outerHTML`))
	if at := ask(b, chromedp.Location()); at != o.url+"/board/vessels/"+o.kestrel {
		t.Errorf("signed in, the browser is at %s, want the page asked for", at)
	}
	if strings.Contains(told, o.key.Reveal()) || strings.Contains(told, "rideout_session") {
		t.Error("a script can read the key or the session")
	}
	c := b.cookies(o.url + "/board")["rideout_session"]
	if c == nil || !c.HTTPOnly || c.SameSite != network.CookieSameSiteStrict || c.Path != "/board" || strings.Contains(c.Value, o.key.Reveal()) {
		t.Fatalf("the session is %+v, want one that is HttpOnly, SameSite=Strict, for /board, without the key", c)
	}
	if got := b.cookies(o.url + "/v1/plans"); len(got) != 0 {
		t.Errorf("the API is sent %v", got)
	}
	b.do(chromedp.Click(".out button"), chromedp.WaitVisible("#key"))
	if left := b.cookies(o.url + "/board")["rideout_session"]; left != nil {
		t.Errorf("signed out, the browser still has %v", left)
	}
	b.allowed = []string{"422"}
	b.quiet()
}

// Of a form with faults each is named beside its field, and nothing has to be written twice. Then the note stands on the page.
func (v visit) incident(t *testing.T) {
	o := v.office
	b := newTab(t, v.browser, o)
	b.as(360, "light")
	b.signIn(o, o.key.Reveal())
	b.open(o.url + "/board/vessels/" + o.kestrel + "/incident")
	b.do(
		chromedp.SetValue("#injured", "two"), chromedp.SetValue("#what_happened", "A <b>shackle</b> opened & the trip line went over."),
		chromedp.Click(".entry button.main"), chromedp.WaitVisible(".notice"),
	)
	b.audit()
	b.picture("incident-wrong-360-light")
	b.as(1280, "light")
	b.picture("incident-wrong-1280-light")
	for _, field := range []string{"occurred_at", "kind", "severity", "injured"} {
		if ask(b, chromedp.Text("#"+field+"-fault")) == "" {
			t.Errorf("nothing is said of %s", field)
		}
	}
	kept, entered := ask(b, chromedp.Value("#what_happened")), ask(b, chromedp.Value("#injured"))
	if kept != "A <b>shackle</b> opened & the trip line went over." || entered != "two" {
		t.Errorf("what was entered came back as %q and %q", kept, entered)
	}
	b.do(
		chromedp.SetValue("#injured", "0"), chromedp.SetValue("#occurred_at", "2026-01-13T02:15"), chromedp.SetValue("#kind", "hardware_failed"),
		chromedp.SetValue("#severity", "near_miss"), chromedp.Click(`input[name=gear_ids]`), chromedp.Click(".entry button.main"), chromedp.WaitVisible(".note"),
	)
	note, state := ask(b, chromedp.Text(".note")), ask(b, chromedp.Text(".notice"))
	if !strings.Contains(note, "A <b>shackle</b> opened & the trip line went over.") || !strings.Contains(note, "near miss") || !strings.Contains(state, "recorded") {
		t.Errorf("the page shows %q and %q", note, state)
	}
	b.audit()
	b.allowed = []string{"422"}
	b.quiet()
}

// A change made elsewhere appears on an open board by itself.
func (v visit) following(t *testing.T) {
	o := v.office
	b := newTab(t, v.browser, o)
	b.signIn(o, o.key.Reveal())
	ask(b, chromedp.Poll[bool](`document.getElementById("live-state").textContent.includes("by themselves")`, chromedp.WithPollingTimeout(patience)))
	o.send(http.MethodPost, "/v1/vessels", `{"name": "Newcomer", "hull": "workboat", "loa_m": 9, "beam_m": 3, "draught_m": 1, "displacement_kg": 5000}`)
	ask(b, chromedp.Poll[bool](`document.getElementById("list").textContent.includes("Newcomer")`, chromedp.WithPollingTimeout(patience)))
	b.quiet()
}

// Without script the board shows the same and can be narrowed.
func (v visit) withoutScript(t *testing.T) {
	o := v.office
	b := newTab(t, v.browser, o)
	call(b, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	b.signIn(o, o.key.Reveal())
	b.do(chromedp.SetValue("#text", "kestrel"), chromedp.Click(".filters button"), chromedp.WaitVisible(".vessel"))
	list := ask(b, chromedp.Text("#list"))
	if !strings.Contains(list, "Kestrel of Hamna") || strings.Contains(list, "Sister 01") {
		t.Errorf("narrowed to kestrel the list is %.300q", list)
	}
	b.quiet()
}

// An office without vessels is told how to get them.
func (v visit) nobody(t *testing.T) {
	o := v.office
	b := newTab(t, v.browser, o)
	b.as(768, "light")
	b.signIn(o, o.nobody.Reveal())
	b.audit()
	b.picture("board-nobody-768-light")
	b.open(o.url + "/board/outcomes")
	b.audit()
	b.quiet()
}
