package sheet_test

import (
	"html"
	"regexp"
	"strings"
	"testing"

	"rideout/api/page/measure"
	"rideout/api/page/sheet"
)

// What holds digits that are no figure of the plan: drawings (which have their own words), the foot with its names, the
// message that is read out as it stands, the cautions, which rule of the collision regulations asks for a light, and names of tasks.
var noFigures = regexp.MustCompile(`(?s)<svg.*?</svg>|<style>.*?</style>|<title>.*?</title>|<footer>.*?</footer>|<p class="securite">.*?</p>|<div class="sign">.*?</div>|<section class="cautions">.*?</section>|<div class="printed.*?</div>|<p class="printed">.*?</p>|<small>.*?</small>|<h1>.*?</h1>`)

// named are the digits of names: a radio channel, the second of two shackles, how many hands there are.
var named = regexp.MustCompile(`channel 16|^[a-z]+ \d$|^\d named for `)

// Each figure of the sheet's page leads to how it came about, and that says something: what went in, from where, and how sure.
func TestEachFigureLeadsToItsWorking(t *testing.T) {
	t.Parallel()
	for name, k := range demoPlans(t) {
		k.Units = measure.Metric
		s := made(t, k)
		page, err := s.HTML()
		if err != nil {
			t.Fatal(err)
		}
		body := string(page.Body)
		links(t, body)
		shown, explained, _ := strings.Cut(body, "<h2>How the numbers came about</h2>")
		linked, within := 0, ""
		for _, piece := range regexp.MustCompile(`<[^>]*>|[^<]+`).FindAllString(noFigures.ReplaceAllString(shown, ""), -1) {
			switch {
			case strings.HasPrefix(piece, `<a href="#from-`):
				within = piece
			case piece == "</a>":
				within = ""
			case strings.HasPrefix(piece, "<"):
			case !strings.ContainsAny(html.UnescapeString(piece), "0123456789"):
			case within != "":
				linked++
			case !named.MatchString(piece):
				t.Errorf("%s: a figure leads nowhere: %q", name, html.UnescapeString(piece))
			}
		}
		if linked < 50 {
			t.Errorf("%s: %d figures lead to their working", name, linked)
		}
		for _, o := range s.Origins {
			if !strings.Contains(explained, `id="`+o.ID+`"`) || len(o.Text) == 0 || o.Text[0] == "" {
				t.Errorf("%s: %s explains nothing", name, o.ID)
			}
		}
		for _, drives := range []string{"from-steady", "from-peak", "from-drift", "from-part"} {
			_, article, _ := strings.Cut(html.UnescapeString(explained), `id="`+drives+`"`)
			article, _, _ = strings.Cut(article, "</article>")
			if !strings.Contains(article, s.Subject.Plan.Bands.Text) || !strings.Contains(article, `href="#step-`) {
				t.Errorf("%s: %s does not say what drives it, or where it is worked: %s", name, drives, article)
			}
		}
		sameSteps(t, name, k, explained)
	}
}

// sameSteps demands that each step of the working stands at the same place on the page of the working alone, with its
// formula and its source.
func sameSteps(t *testing.T, name string, k sheet.Kept, explained string) {
	t.Helper()
	alone, err := sheet.WorkingHTML("01945d2c-7c00-7000-8000-000000000001", k.Working)
	if err != nil {
		t.Fatal(err)
	}
	step := regexp.MustCompile(`(?s)<article class="step" id="(step-\d+)">.*?</article>`)
	here, there := step.FindAllStringSubmatch(explained, -1), step.FindAllStringSubmatch(string(alone.Body), -1)
	if len(here) == 0 || len(here) != len(there) {
		t.Fatalf("%s: %d steps on the sheet, %d alone", name, len(here), len(there))
	}
	for i := range here {
		if here[i][0] != there[i][0] {
			t.Errorf("%s: %s differs from %s alone", name, here[i][1], there[i][1])
		}
		for _, part := range []string{`<p class="formula">`, "Source: ", "<td"} {
			if !strings.Contains(here[i][0], part) {
				t.Errorf("%s: %s lacks %s", name, here[i][1], part)
			}
		}
	}
}

func TestLinkedProse(t *testing.T) {
	t.Parallel()
	s := made(t, kept(t))
	for text, want := range map[string]string{
		"wind 45 kt gusting 58, sea 6.0 m.":  `wind <a href="#from-weather">45 kt</a> gusting <a href="#from-weather">58</a>, sea <a href="#from-weather">6.0 m</a>.`,
		"On a canopy of 5.5 m pay out 183 m": `On a canopy of <a href="#from-canopy">5.5 m</a> pay out <a href="#from-pay-out">183 m</a>`,
		"may be 7.9 to 18 kN <b>":            `may be <a href="#from-peak">7.9 to 18 kN</a> &lt;b&gt;`,
		"by 12 Jan 16:00 UTC.":               `by <a href="#from-steps">12 Jan 16:00 UTC</a>.`,
		"on channel 16, by R-17":             `on channel 16, by R-17`,
		"after -90 degrees":                  `after -<a href="#from-steps">90 degrees</a>`,
		"at 108 % of it":                     `at <a href="#from-steps">108 %</a> of it`,
		"nothing":                            `nothing`,
	} {
		if got := string(s.Linked("from-steps", text)); got != want {
			t.Errorf("%q:\ngot  %s\nwant %s", text, got, want)
		}
	}
}
