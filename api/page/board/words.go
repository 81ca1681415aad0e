package board

import (
	"fmt"
	"html/template"
	"net/url"
	"strings"
	"time"

	"github.com/google/uuid"

	"rideout/api/page/measure"
	"rideout/service/planner"
	"rideout/service/readiness"
)

const units = measure.Metric

// verdictWords says a verdict.
func verdictWords(v readiness.Verdict) string {
	switch v {
	case readiness.Ready:
		return "Ready"
	case readiness.WithReservations:
		return "Ready with reservations"
	case readiness.NotReady:
		return "Not ready"
	}
	return string(v)
}

// severityWords says what a finding does.
func severityWords(s readiness.Severity) string {
	if s == readiness.Prevents {
		return "Makes her not ready"
	}
	return "Reservation"
}

// The marks are told apart by form: a full disc, a half one, a ring that is struck through. Beside each stand its words, so
// they are hidden from who cannot see them.
var marks = map[string]template.HTML{
	"ready":                   `<svg class="mark" viewBox="0 0 20 20" aria-hidden="true"><circle cx="10" cy="10" r="8" class="full"/></svg>`,
	"ready_with_reservations": `<svg class="mark" viewBox="0 0 20 20" aria-hidden="true"><circle cx="10" cy="10" r="8" class="ring"/><path d="M10 2a8 8 0 0 0 0 16z" class="full"/></svg>`,
	"not_ready":               `<svg class="mark" viewBox="0 0 20 20" aria-hidden="true"><circle cx="10" cy="10" r="8" class="ring"/><path d="M4.5 4.5l11 11M15.5 4.5l-11 11" class="ring"/></svg>`,
}

func mark(of any) template.HTML {
	switch v := of.(type) {
	case readiness.Verdict:
		return marks[string(v)]
	case readiness.Severity:
		if v == readiness.Reservation {
			return marks["ready_with_reservations"]
		}
		return marks["not_ready"]
	}
	return ""
}

// plain writes a word of the contract, of whatever type, as people do.
func plain(word any) string { return strings.ReplaceAll(fmt.Sprint(word), "_", " ") }

// capital writes a text with a capital at its begin.
func capital(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// here gives the page for a record of a vessel; empty: there is none.
func here(vessel uuid.UUID, href string) string {
	parts := strings.Split(strings.TrimPrefix(href, "/v1/"), "/")
	page := Root + "/vessels/" + vessel.String()
	switch {
	case len(parts) < 2:
		return ""
	case parts[0] == "plans":
		return Root + "/plans/" + parts[1] + "/sheet"
	case parts[0] == "vessels" && len(parts) == 3:
		return page + "#" + parts[2]
	case parts[0] == "vessels":
		return page
	}
	return page + "#" + anchor(parts[0], parts[1])
}

// anchor names the place of a record on its vessel's page.
func anchor(kind string, id any) string {
	text, ok := id.(string)
	if of, named := id.(uuid.UUID); named && !ok {
		text = of.String()
	}
	return strings.TrimSuffix(kind, "s") + "-" + text
}

func day(t time.Time) string   { return t.UTC().Format("2 Jan 2006") }
func when(t time.Time) string  { return measure.Date(t) }
func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// clockTime writes an instant that may be absent without its year.
func clockTime(t *time.Time) string {
	if t == nil {
		return "no hour"
	}
	return measure.Clock(*t)
}

// inField gives a time as it was sent to the field for one; what is none a browser would leave out and complain of.
func inField(text string) string {
	if _, err := time.Parse("2006-01-02T15:04", text); err != nil {
		return ""
	}
	return text
}

func metres(m float64) string            { return units.Length(m) }
func force(n float64) string             { return units.Force(n) }
func forces(b planner.Band) string       { return units.Forces(b) }
func drift(kt float64) string            { return units.Drift(kt) }
func drifts(b planner.Band) string       { return units.Drifts(b) }
func percent(share float64) string       { return measure.Percent(share) }
func position(p planner.Position) string { return measure.Position(p.LatitudeDeg, p.LongitudeDeg) }

// query writes an address with parameters, of equal ones the last, without the empty ones.
func query(path string, pairs ...string) string {
	values := url.Values{}
	for i := 0; i < len(pairs); i += 2 {
		if values.Set(pairs[i], pairs[i+1]); pairs[i+1] == "" {
			values.Del(pairs[i])
		}
	}
	if len(values) == 0 {
		return path
	}
	return path + "?" + values.Encode()
}

// Cited is a finding with the pages of its evidence.
type Cited struct {
	F     readiness.Finding
	Links []readiness.Evidence
}

// cite turns the evidence of a finding into pages; what has none is left out.
func cite(vessel uuid.UUID, f readiness.Finding) Cited {
	c := Cited{F: f}
	for _, e := range f.Evidence {
		if page := here(vessel, e.Href); page != "" {
			c.Links = append(c.Links, readiness.Evidence{What: e.What, Href: page})
		}
	}
	return c
}

// faultOf gives what is wrong with a field of the form, for the template of one.
func faultOf(p Incident, field string) WrongField { return WrongField{field, p.Fault(field)} }
