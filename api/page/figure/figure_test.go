package figure_test

import (
	"encoding/json"
	"errors"
	"os"
	"strings"
	"testing"

	"rideout/api/page/drawing"
	"rideout/api/page/figure"
	"rideout/api/page/measure"
	"rideout/service/physics/hull"
)

// kestrel is a plan that was computed for the demo, and what it was computed from.
func kestrel(t *testing.T) figure.Subject {
	t.Helper()
	s := figure.Subject{Units: measure.Metric}
	for file, into := range map[string]any{"plan": &s.Plan, "request": &s.Request} {
		body, err := os.ReadFile("../testdata/" + file + ".json")
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(body, into); err != nil {
			t.Fatal(err)
		}
	}
	return s
}

func draw(t *testing.T, name string, s figure.Subject) drawing.Drawing {
	t.Helper()
	d, err := figure.Named(name, s)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if d.Title == "" || d.Desc == "" || d.Name != name {
		t.Errorf("%s: title %q, desc %q, name %q", name, d.Title, d.Desc, d.Name)
	}
	for _, m := range d.Marks {
		within(t, d, m)
	}
	return d
}

// within demands that what is drawn is on the paper, with a little for the ends of letters.
func within(t *testing.T, d drawing.Drawing, m drawing.Mark) {
	t.Helper()
	const spare = 6.0
	points := []drawing.Point{}
	switch m := m.(type) {
	case drawing.Shape:
		points = m.Points
	case drawing.Label:
		points = append(points, m.At)
		if m.Text == "" {
			t.Errorf("%s has a label without text", d.Name)
		}
	}
	for _, p := range points {
		if !(p.X >= -spare && p.X <= d.Width+spare && p.Y >= -spare && p.Y <= d.Height+spare) {
			t.Errorf("%s: %+v is off the paper of %g x %g: %+v", d.Name, p, d.Width, d.Height, m)
			return
		}
	}
}

func labels(d drawing.Drawing) string {
	var all []string
	for _, m := range d.Marks {
		if l, ok := m.(drawing.Label); ok {
			all = append(all, l.Text)
		}
	}
	return strings.Join(all, "\n")
}

func TestFiguresShowThePlansNumbers(t *testing.T) {
	t.Parallel()
	s := kestrel(t)
	for _, units := range []measure.Units{measure.Metric, measure.Trade} {
		s.Units = units
		p, b := s.Plan, s.Plan.Bridle
		for name, wants := range map[string][]string{
			"rig":   {units.Length(p.Rode.PayOutM), units.Length(p.Canopy.UsedDiameterM), units.Length(p.Canopy.DepthM), units.Length(b.BowLegM), units.Length(b.AftLegM), b.BowPoint, b.AftPoint, units.Force(b.LegLoads.AftN.Mid), "trip line", "float", "shackle 16 mm"},
			"peak":  {"pay out " + units.Length(p.Rode.PayOutM), "low to high", "capacity of the rode", "slack"},
			"hours": {"wind from", "dark", "day", "gale", "strong wind", "rig", "deploy", "retrieve", "not in forecast", "UTC"},
			"drift": {"start 61°12.0'N 006°24.0'W", "50 %", "95 %", "NM", "N", "with nothing out"},
		} {
			got := labels(draw(t, name, s))
			for _, want := range wants {
				if !strings.Contains(got, want) {
					t.Errorf("%s in %s units lacks %q:\n%s", name, units, want, got)
				}
			}
		}
	}
}

// The wave is that of the phase whose rode is drawn, though another may have the greater peak.
func TestTheWholeIsOfOnePhase(t *testing.T) {
	t.Parallel()
	s := kestrel(t)
	var want []string
	for i := range s.Plan.Phases {
		p := &s.Plan.Phases[i]
		p.HsM = float64(3 + 2*i)
		if figure.Hardest(s.Plan, *p) {
			want = append(want, "significant height "+s.Units.Wave(p.HsM))
		} else {
			p.DesignPeakN *= 100
		}
	}
	if got := labels(draw(t, "rig", s)); len(want) != 1 || !strings.Contains(got, want[0]) {
		t.Errorf("the rig lacks %q:\n%s", want, got)
	}
}

// Half an inch is neither 12 nor 13 mm.
func TestRopeAndMetalKeepTheirTenths(t *testing.T) {
	t.Parallel()
	s := kestrel(t)
	s.Plan.Rode.DiameterMM, s.Request.Gear.Shackles[0].BodyMM = 12.7, 9.525
	got := labels(draw(t, "rig", s))
	for _, want := range []string{"12.7 mm three strand", "shackle 9.5 mm"} {
		if !strings.Contains(got, want) {
			t.Errorf("the rig lacks %q:\n%s", want, got)
		}
	}
}

func TestEveryHullIsDrawn(t *testing.T) {
	t.Parallel()
	seen := map[int]hull.Kind{}
	for _, kind := range hull.Kinds() {
		s := kestrel(t)
		s.Request.Vessel.Hull = kind
		d := draw(t, "rig", s)
		if other, same := seen[len(d.Marks)*1000+points(d)]; same {
			t.Errorf("%s is drawn like %s", kind, other)
		}
		seen[len(d.Marks)*1000+points(d)] = kind
	}
}

func points(d drawing.Drawing) int {
	n := 0
	for _, m := range d.Marks {
		if s, ok := m.(drawing.Shape); ok {
			n += len(s.Points)
		}
	}
	return n
}

// What was not computed is said, and nothing fails for want of it.
func TestFiguresOfAPlanThatLacksThings(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		figure, want string
		take         func(*figure.Subject)
	}{
		"no position":      {"drift", "not computed", func(s *figure.Subject) { s.Request.Position = nil }},
		"no sea room":      {"drift", "not computed", func(s *figure.Subject) { s.Plan.SeaRoom = nil }},
		"no curve":         {"peak", "not computed", func(s *figure.Subject) { s.Plan.Rode.Curve = nil }},
		"no parts":         {"peak", "pay out", func(s *figure.Subject) { s.Plan.Hardware = nil }},
		"no hours":         {"hours", "not computed", func(s *figure.Subject) { s.Plan.Hours = nil }},
		"light unknown":    {"hours", "without a position", func(s *figure.Subject) { s.Request.Position = nil }},
		"no forecast":      {"hours", "not computed", func(s *figure.Subject) { s.Request.Forecast.Steps = nil }},
		"no bridle":        {"rig", "not computed", func(s *figure.Subject) { s.Plan.Bridle = nil }},
		"no gear":          {"rig", "no trip line", func(s *figure.Subject) { s.Request.Gear = nil }},
		"no strong points": {"rig", "bow bitt", func(s *figure.Subject) { s.Request.Vessel.StrongPoints = nil }},
		"no phases":        {"rig", "flat water", func(s *figure.Subject) { s.Plan.Phases = nil }},
		"one step":         {"hours", "12 Jan", func(s *figure.Subject) { s.Request.Forecast.Steps = s.Request.Forecast.Steps[:1] }},
		"southern":         {"hours", "wind from", func(s *figure.Subject) { s.Request.Position.LatitudeDeg = -50 }},
		"broken track":     {"drift", "start", func(s *figure.Subject) { s.Plan.SeaRoom.Track = []byte(`{"features":[{}]}`) }},
	} {
		s := kestrel(t)
		c.take(&s)
		if got := labels(draw(t, c.figure, s)); !strings.Contains(got, c.want) {
			t.Errorf("%s: %s does not say %q:\n%s", name, c.figure, c.want, got)
		}
	}
	if _, err := figure.Named("sail", kestrel(t)); !errors.Is(err, figure.ErrUnknown) {
		t.Errorf("an unknown figure gives %v", err)
	}
}

// The user's hazards are on the chart of the drift, by their names.
func TestHazardsAreDrawn(t *testing.T) {
	t.Parallel()
	s := kestrel(t)
	s.Request.Hazards = []byte(`{"type":"FeatureCollection","features":[
		{"type":"Feature","properties":{"name":"Hamna skerry"},"geometry":{"type":"Point","coordinates":[-6.2,61.22]}},
		{"type":"Feature","properties":{"name":"fish farm"},"geometry":{"type":"Polygon","coordinates":[[[-6.3,61.15],[-6.25,61.15],[-6.25,61.18],[-6.3,61.15]]]}},
		{"type":"Feature","properties":{"name":"far away"},"geometry":{"type":"Point","coordinates":[20,10]}}]}`)
	got := labels(draw(t, "drift", s))
	for name, want := range map[string]bool{"Hamna skerry": true, "fish farm": true, "far away": false} {
		if strings.Contains(got, name) != want {
			t.Errorf("%s is drawn: %v, want %v", name, !want, want)
		}
	}
}

// Pay-out, wind and sea may be anything a plan can hold.
func TestFiguresKeepToThePaper(t *testing.T) {
	t.Parallel()
	for _, loa := range []float64{3, 12.2, 60} {
		for _, pay := range []float64{10, 183, 1000} {
			for _, canopyM := range []float64{0.5, 5.5, 30} {
				for _, heading := range []float64{0, 45, 90} {
					s := kestrel(t)
					v := &s.Request.Vessel
					scale := loa / v.LOAM
					v.LOAM, v.BeamM, v.DraughtM = loa, v.BeamM*scale, v.DraughtM*scale
					for i := range v.StrongPoints {
						v.StrongPoints[i].FromBowM *= scale
						v.StrongPoints[i].OffCentreM *= scale
					}
					b := *s.Plan.Bridle
					b.HeadingDeg, b.BowLegM, b.AftLegM = heading, b.BowLegM*scale, b.AftLegM*scale
					s.Plan.Bridle = &b
					s.Plan.Rode.PayOutM, s.Plan.Canopy.UsedDiameterM, s.Plan.Canopy.DepthM = pay, canopyM, 1.5*canopyM
					for i := range s.Plan.Phases {
						s.Plan.Phases[i].PayOutM = pay
					}
					if heading == 45 { // in flat water
						s.Plan.Phases = nil
					}
					draw(t, "rig", s)
				}
			}
		}
	}
}
